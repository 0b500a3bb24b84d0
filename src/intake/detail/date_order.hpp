#pragma once
// Day first or month first: what a file's dates say together.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "intake/detail/moment.hpp"
#include "intake/dialect.hpp"

namespace backeddy::intake {

/// Gathers dates in file order and says which readings they leave.
class DateOrderEvidence {
  public:
    /// A date and the clock beside it (nanoseconds since midnight), from line `line`.
    void add(std::string_view date, std::int64_t clock_ns, std::uint64_t line);

    /// What comes next does not follow what came before.
    void break_here() { last_date_.clear(); }

    /// The order, or nothing while more than one reading is left. With evidence in words.
    [[nodiscard]] std::optional<Finding<DateOrder>> decided() const;

    /// Whether what decided() says rests on dates that read differently in another order (and not on years in
    /// front, named months, or days equal to their months): it then tells of the logger's other files.
    [[nodiscard]] bool is_proof() const { return !all_certain_ && differ_; }

    /// Both readings of a date that has two, and what to set.
    [[nodiscard]] Error ambiguous(const std::string& file, const std::string& column) const;
    [[nodiscard]] bool has_dates() const { return dates_ > 0; }

  private:
    static constexpr int orders = 3;
    std::uint64_t dates_ = 0;
    bool all_certain_ = true;
    bool differ_ = false; ///< some date reads differently under two orders that are possible for it
    std::uint64_t impossible_[orders] = {0, 0,
                                         0}; ///< line of the first date that is none in this order; 0: none
    std::string impossible_text_[orders];
    bool any_short_year_in_front_ =
        false; ///< separator '-', two digits everywhere: the year may stand in front
    std::string example_;
    std::uint64_t example_line_ = 0;
    // Steps over a change of date: under the right reading they are as long as the steps within a day.
    std::string last_date_;
    std::int64_t last_clock_ = 0;
    std::int64_t usual_step_ = 0;
    std::uint64_t votes_[orders] = {0, 0, 0};
    std::string vote_text_[orders];
    bool four_digit_year_ = false;
};

} // namespace backeddy::intake
