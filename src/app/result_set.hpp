#pragma once
// The files of one result set, each written when it is first asked for: a page that waits for the numbers
// need not wait for the report.

#include <array>
#include <mutex>
#include <string>
#include <string_view>
#include <vector>

#include "app/result_folder.hpp"
#include "base/parallel.hpp"
#include "report/results.hpp"

namespace backeddy::app {

struct StudyRun;

/// What it gives never changes. May be asked from any thread.
class ResultSet {
  public:
    /// Takes from `run` all that the files need.
    explicit ResultSet(const StudyRun& run);
    ResultSet(const ResultSet&) = delete;
    ResultSet& operator=(const ResultSet&) = delete;

    /// Nothing when there is no such file; the ten that every run has, and refused_rows.csv where rows were
    /// refused.
    [[nodiscard]] const ResultFile* file(std::string_view name) const;

    /// All of them, results.json first.
    [[nodiscard]] const std::vector<ResultFile>& all(Threads threads) const;

  private:
    void write(std::size_t i) const;

    static constexpr std::size_t written_late = 10; ///< those that are made of results_
    report::Results results_;
    mutable std::vector<ResultFile> files_; ///< names from the start, bytes once written
    mutable std::array<std::once_flag, written_late> once_;
};

} // namespace backeddy::app
