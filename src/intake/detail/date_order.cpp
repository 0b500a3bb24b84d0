#include "intake/detail/date_order.hpp"

#include <array>
#include <vector>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace backeddy::intake {

namespace {

constexpr std::array<DateOrder, 3> all_orders{DateOrder::day_month_year, DateOrder::month_day_year,
                                              DateOrder::year_month_day};

std::string_view in_words(DateOrder order) {
    switch (order) {
    case DateOrder::day_month_year:
        return "day first";
    case DateOrder::month_day_year:
        return "month first";
    case DateOrder::year_month_day:
        return "year first";
    }
    return "";
}

} // namespace

void DateOrderEvidence::add(std::string_view date, std::int64_t clock_ns, std::uint64_t line) {
    if (date == last_date_) {
        const std::int64_t step = clock_ns - last_clock_;
        if (step > 0 && (usual_step_ == 0 || step < usual_step_)) {
            usual_step_ = step;
        }
        last_clock_ = clock_ns;
        return;
    }
    const auto written = written_date(date);
    if (!written) {
        return;
    }
    ++dates_;
    if (written->is_certain()) {
        last_date_ = date;
        last_clock_ = clock_ns;
        return;
    }
    all_certain_ = false;
    four_digit_year_ = four_digit_year_ || written->digits[2] == 4;
    any_short_year_in_front_ =
        any_short_year_in_front_ || (written->separator == '-' && written->digits[2] != 4);
    std::array<std::optional<std::int64_t>, orders> days;
    for (std::size_t i = 0; i < orders; ++i) {
        days[i] = day_number(*written, all_orders[i]);
        if (!days[i] && impossible_[i] == 0) {
            impossible_[i] = line == 0 ? 1 : line;
            impossible_text_[i] = date;
        }
    }
    if (days[0] && days[1] && days[0] != days[1] && example_.empty()) {
        example_ = date;
        example_line_ = line;
    }
    differ_ = differ_ || days[0] != days[1];
    if (const auto before = last_date_.empty() ? std::nullopt : written_date(last_date_);
        before && !before->is_certain() && usual_step_ > 0) {
        int fitting = -1;
        int how_many = 0;
        for (std::size_t i = 0; i < orders; ++i) {
            const auto earlier = day_number(*before, all_orders[i]);
            // Three usual steps are less than three days; centuries apart would not fit into 64 bits.
            if (!days[i] || !earlier || *days[i] < *earlier || *days[i] > *earlier + 3) {
                continue;
            }
            const std::int64_t step = ((*days[i] - *earlier) * nanoseconds_per_day) + clock_ns - last_clock_;
            if (step >= 0 && step <= 3 * usual_step_) {
                fitting = static_cast<int>(i);
                ++how_many;
            }
        }
        if (how_many == 1) {
            const auto i = static_cast<std::size_t>(fitting);
            if (votes_[i]++ == 0) {
                vote_text_[i] = fmt::format("{} is followed by {} without a gap", last_date_, date);
            }
        }
    }
    last_date_ = date;
    last_clock_ = clock_ns;
}

std::optional<Finding<DateOrder>> DateOrderEvidence::decided() const {
    if (dates_ == 0 || all_certain_) {
        return Finding<DateOrder>{.value = DateOrder::year_month_day,
                                  .origin = Origin::guessed,
                                  .evidence = "the year stands in front, or the month is named"};
    }
    std::vector<std::size_t> left;
    for (std::size_t i = 0; i < orders; ++i) {
        const bool year_in_front = all_orders[i] == DateOrder::year_month_day;
        // A year of two digits in front is looked for where the date is written with '-', or nothing else is
        // left.
        if (impossible_[i] == 0 && (!year_in_front || any_short_year_in_front_)) {
            left.push_back(i);
        }
    }
    if (left.empty() && impossible_[2] == 0) {
        left.push_back(2);
    }
    const auto why_not_others = [&](std::size_t chosen) {
        std::string why;
        for (std::size_t i = 0; i < orders; ++i) {
            if (i != chosen && impossible_[i] != 0 && all_orders[i] != DateOrder::year_month_day) {
                why += fmt::format("{}{} is no date {}", why.empty() ? "" : "; ", impossible_text_[i],
                                   in_words(all_orders[i]));
            }
        }
        return why;
    };
    if (left.size() == 1) {
        return Finding<DateOrder>{
            .value = all_orders[left[0]], .origin = Origin::guessed, .evidence = why_not_others(left[0])};
    }
    if (left.empty()) {
        return std::nullopt;
    }
    std::vector<std::size_t> voted;
    for (const std::size_t i : left) {
        if (votes_[i] > 0) {
            voted.push_back(i);
        }
    }
    if (voted.size() == 1) {
        return Finding<DateOrder>{
            .value = all_orders[voted[0]], .origin = Origin::guessed, .evidence = vote_text_[voted[0]]};
    }
    if (!differ_ && left.size() == 2 && left[1] == 1) {
        return Finding<DateOrder>{.value = DateOrder::day_month_year,
                                  .origin = Origin::guessed,
                                  .evidence = "day and month are the same number in every date"};
    }
    return std::nullopt;
}

Error DateOrderEvidence::ambiguous(const std::string& file, const std::string& column) const {
    std::vector<std::string> readings;
    std::string which = example_;
    std::uint64_t line = example_line_;
    bool every_one_impossible = true;
    for (std::size_t i = 0; i < orders; ++i) {
        every_one_impossible = every_one_impossible && impossible_[i] != 0;
    }
    if (every_one_impossible || which.empty()) {
        which = impossible_text_[0].empty() ? last_date_ : impossible_text_[0];
        return {.code = ErrorCode::bad_time,
                .found = fmt::format(
                    "dates that contradict each other: \"{}\" is no date {} and \"{}\" is none {}",
                    impossible_text_[0], in_words(all_orders[0]), impossible_text_[1],
                    in_words(all_orders[1])),
                .expected = "one order of day and month in the whole file",
                .remedy = "set date_order; the dates that do not fit it are then refused row by row",
                .place = {.file = file, .line = impossible_[1], .column = column}};
    }
    const auto written = written_date(which);
    for (std::size_t i = 0; i < orders; ++i) {
        const auto day = day_number(*written, all_orders[i]);
        const bool asked = all_orders[i] != DateOrder::year_month_day || any_short_year_in_front_;
        if (day && asked) {
            readings.push_back(fmt::format("{} ({})", day_in_words(*day), in_words(all_orders[i])));
        }
    }
    Error error{.code = ErrorCode::ambiguous_time,
                .found = fmt::format("\"{}\" may be {}", which, fmt::join(readings, " or ")),
                .expected = "nothing in the whole file tells which",
                .remedy = "set date_order = \"day_month_year\" or \"month_day_year\"",
                .place = {.file = file, .column = column}};
    if (line != 0) {
        error.place.line = line;
    }
    return error;
}

} // namespace backeddy::intake
