#include "report/detail/page_parts.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "report/detail/html_parts.hpp"

namespace backeddy::report::detail {

namespace {

/// Two digits of `half`, as the number itself is printed.
int digits_of(double half) {
    return half > 0.0 ? std::clamp(1 - static_cast<int>(std::floor(std::log10(half))), 0, 6) : 2;
}

} // namespace

std::string quantity(const Number& number, const std::string& at) {
    if (!number.has_value()) {
        return fmt::format("<span class=\"none\">{}</span>",
                           html(number.reason.empty() ? "not recorded" : number.reason));
    }
    const std::string unit =
        number.unit.empty() ? ""
                            : fmt::format(" <span class=\"unit\">{}</span>", html(shown_unit(number.unit)));
    return fmt::format("<span class=\"quantity\" data-at=\"{}\">{}{}</span>", html(at),
                       html(bare_text_of(number)), unit);
}

std::string quantity(const Number& number) {
    return number.has_value() ? fmt::format("<span class=\"quantity\">{}</span>", html(text_of(number)))
                              : fmt::format("<span class=\"none\">{}</span>", html(text_of(number)));
}

std::string interval_of(const Number& number) {
    if (!number.has_value() || !number.interval) {
        return "";
    }
    const auto& interval = *number.interval;
    if (!std::isfinite(interval.high)) {
        return fmt::format("<span class=\"quantity\">{} or more</span>",
                           fixed_text(interval.low, digits_of(*number.value - interval.low)));
    }
    const int digits = digits_of(0.5 * (interval.high - interval.low));
    return fmt::format("<span class=\"quantity\">{} to {}</span>", fixed_text(interval.low, digits),
                       fixed_text(interval.high, digits));
}

std::string quantity_with_interval(const Number& number, const std::string& at) {
    const std::string text = quantity(number, at);
    // Without an uncertainty the number's own text holds the interval.
    const std::string interval = number.standard_uncertainty ? interval_of(number) : "";
    return interval.empty() ? text : fmt::format("{} ({})", text, interval);
}

std::string shown_time(Instant at) {
    std::string shown = iso_text(at);
    shown.resize(shown.find_first_of(".Z"));
    shown[shown.find('T')] = ' ';
    return shown;
}

std::string moment(const std::optional<Instant>& at) {
    return at ? fmt::format("<time datetime=\"{}\">{}</time>", iso_text(*at), shown_time(*at))
              : std::string("<span class=\"none\">unknown</span>");
}

std::string anchor(std::size_t fish) {
    return fmt::format("fish-{}", fish + 1);
}

std::string group_sign(const Results& results, std::string_view key) {
    if (key.empty()) {
        return "";
    }
    const auto found = std::ranges::find(results.groups, key, &Group::key);
    const auto place = static_cast<std::size_t>(found - results.groups.begin());
    return group_mark(place, found != results.groups.end() ? found->label : std::string(key));
}

} // namespace backeddy::report::detail
