#pragma once
// One line to one row: the general way, for every dialect. detail/plain_row is the fast way for plain lines
// and must agree with this cell by cell.

#include <cstdint>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "intake/detail/fields.hpp"
#include "intake/detail/moment.hpp"
#include "intake/detail/plan.hpp"

namespace backeddy::intake {

enum class RowState : std::uint8_t { kept, refused, set_aside };

/// What one line gave. For a kept row: its time (and the second reading, where its local hour came twice),
/// its chamber and its readings in the units of the trace.
struct RowRead {
    RowState state = RowState::kept;
    std::int64_t time_ns = 0;
    bool is_twice = false;
    std::int64_t later_ns = 0;
    std::string_view chamber; ///< into the line or the reader: use before the next line
    std::vector<double> values;
    Error reason;     ///< refused; without its line
    std::string what; ///< set aside
};

/// A cell of a reading that is no number and no word for a missing one.
struct UnreadableCell {
    std::size_t reading = 0;
    Error reason; ///< without its line
};

/// The missing cells of one reading column so far.
struct MissingCount {
    std::uint64_t count = 0;
    std::map<std::string, std::uint64_t, std::less<>> words;
    std::uint64_t unreadable = 0;
};

class RowReader {
  public:
    explicit RowReader(const Plan& plan);

    /// Reads one line (without its line end, not blank). `unreadable` gets cells that are neither number nor
    /// word.
    void read(std::string_view line, RowRead& row, std::vector<UnreadableCell>& unreadable);

    /// Per reading; the caller takes and clears them.
    std::vector<MissingCount> missing;

  private:
    bool read_time(RowRead& row);
    bool read_calendar(RowRead& row);
    bool set_local(RowRead& row, std::int64_t local_ns, std::string_view text, std::size_t field);
    void read_values(RowRead& row, std::vector<UnreadableCell>& unreadable);
    bool refuse(RowRead& row, ErrorCode code, std::string found, std::string expected, std::string remedy,
                std::string column = {});
    bool is_furniture(std::string_view line, RowRead& row) const;
    bool refuse_time(RowRead& row, std::string_view text, std::size_t field);
    std::optional<std::int64_t> day_of(std::string_view text);

    const Plan* plan_;
    Zone zone_;
    Fields fields_;
    std::string joined_clock_;
    std::string day_text_; ///< the last date read, and its day
    std::int64_t day_ = 0;
};

/// How times are written, for messages: "calendar times, day first (guessed)".
[[nodiscard]] std::string times_in_words(const Dialect& dialect);

} // namespace backeddy::intake
