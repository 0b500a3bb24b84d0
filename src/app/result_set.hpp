#pragma once
// The files of one result set, each written when it is first asked for: a page that waits for the numbers
// need not wait for the report.

#include <array>
#include <mutex>
#include <string>
#include <string_view>
#include <vector>

#include "app/result_folder.hpp"
#include "app/results.hpp"
#include "base/parallel.hpp"
#include "report/results.hpp"

namespace backeddy::app {

struct StudyRun;

/// What it gives never changes. May be asked from any thread.
class ResultSet {
  public:
    /// Takes from `run` all that the files need. What of it stood in the set of an earlier answer, and was
    /// not computed anew since, is taken from there.
    explicit ResultSet(const StudyRun& run, const ResultSet* earlier = nullptr);
    /// A set that was written before.
    explicit ResultSet(std::vector<ResultFile> written);
    ResultSet(const ResultSet&) = delete;
    ResultSet& operator=(const ResultSet&) = delete;

    /// Nothing when there is no such file; the ten that every run has, and refused_rows.csv where rows were
    /// refused.
    [[nodiscard]] const ResultFile* file(std::string_view name) const;

    /// All of them, results.json first.
    [[nodiscard]] const std::vector<ResultFile>& all(Threads threads) const;

    [[nodiscard]] bool was_written_before() const { return is_written_; }
    /// What the study's answers were made of; empty of a set that was written before.
    [[nodiscard]] const std::vector<report::Input>& inputs() const { return document_.results.inputs; }

  private:
    void write(std::size_t i) const;

    static constexpr std::size_t written_late = 10; ///< those that are made of the document
    bool is_written_ = false;
    Threads threads_;
    mutable Document document_;             ///< its texts are there once results.json is
    mutable std::vector<ResultFile> files_; ///< names from the start, bytes once written
    mutable std::array<std::once_flag, written_late> once_;
};

} // namespace backeddy::app
