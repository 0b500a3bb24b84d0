#include "base/number_text.hpp"

#include <array>
#include <charconv>
#include <cmath>
#include <cstdlib>

#include <fmt/format.h>

namespace backeddy {

namespace {

std::string_view trimmed(std::string_view text) {
    const auto blank = [](char c) { return c == ' ' || c == '\t'; };
    while (!text.empty() && blank(text.front())) {
        text.remove_prefix(1);
    }
    while (!text.empty() && blank(text.back())) {
        text.remove_suffix(1);
    }
    return text;
}

template <typename T>
std::optional<T> parse_all(std::string_view text) {
    text = trimmed(text);
    if (text.size() > 1 && text.front() == '+' && text[1] != '-' && text[1] != '+') {
        text.remove_prefix(1);
    }
    T value{};
    const auto [end, status] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (status != std::errc{} || end != text.data() + text.size()) {
        return std::nullopt;
    }
    return value;
}

} // namespace

std::optional<double> parse_number(std::string_view text) {
    const auto value = parse_all<double>(text);
    return value && std::isfinite(*value) ? value : std::nullopt;
}

std::optional<long long> parse_whole(std::string_view text) {
    return parse_all<long long>(text);
}

std::string exact_text(double value) {
    if (!std::isfinite(value)) {
        return {};
    }
    if (value == 0.0) {
        return "0"; // one zero: "-0" in a table helps nobody
    }
    std::array<char, 64> buffer{};
    const auto [end, status] = std::to_chars(buffer.data(), buffer.data() + buffer.size(), value);
    return status == std::errc{} ? std::string(buffer.data(), end) : std::string{};
}

std::string fixed_text(double value, int digits) {
    if (!std::isfinite(value)) {
        return {};
    }
    std::string text = fmt::format("{:.{}f}", value, digits);
    if (text.front() == '-' && text.find_first_not_of("-0.") == std::string::npos) {
        text.erase(0, 1); // -0.00
    }
    return text;
}

std::string significant_text(double value, int digits) {
    if (!std::isfinite(value)) {
        return {};
    }
    if (value == 0.0) {
        return fixed_text(0.0, digits - 1);
    }
    // The exponent after rounding: 9.996 to three digits is 10.0, not 10.00.
    const std::string rounded = fmt::format("{:.{}e}", value, digits - 1);
    const int exponent = std::atoi(rounded.c_str() + rounded.find('e') + 1);
    const int decimals = digits - 1 - exponent;
    return decimals >= 0 ? fixed_text(value, decimals) : fixed_text(std::strtod(rounded.c_str(), nullptr), 0);
}

std::string short_text(double value, int most) {
    if (value == std::nearbyint(value) && std::abs(value) < 1e15) {
        return fixed_text(value, 0);
    }
    std::string text = significant_text(value, most);
    if (text.find('.') != std::string::npos) {
        text.erase(text.find_last_not_of('0') + 1);
        if (text.back() == '.') {
            text.pop_back();
        }
    }
    return text;
}

std::string measured_text(double value, double uncertainty) {
    if (!std::isfinite(value) || !std::isfinite(uncertainty) || uncertainty < 0.0) {
        return {};
    }
    if (uncertainty == 0.0) {
        return significant_text(value, 6);
    }
    const std::string spread = significant_text(uncertainty, 2);
    if (const auto point = spread.find('.'); point != std::string::npos) {
        return fixed_text(value, static_cast<int>(spread.size() - point - 1)) + " ± " + spread;
    }
    const double step = spread.size() > 2 ? std::pow(10.0, static_cast<double>(spread.size()) - 2.0) : 1.0;
    return fixed_text(std::nearbyint(value / step) * step, 0) + " ± " + spread;
}

} // namespace backeddy
