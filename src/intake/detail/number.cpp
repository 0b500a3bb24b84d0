#include "intake/detail/number.hpp"

#include <cmath>
#include <limits>

namespace backeddy::intake {

namespace {

bool is_digit(char c) {
    return c >= '0' && c <= '9';
}

} // namespace

std::optional<double> decimal_number(std::string_view text, char mark) {
    const std::string_view whole = text;
    bool negative = false;
    if (!text.empty() && (text.front() == '-' || text.front() == '+')) {
        negative = text.front() == '-';
        text.remove_prefix(1);
    }
    std::uint64_t mantissa = 0;
    int digits = 0; // significant, without leading zeros
    int decimals = 0;
    bool any = false;
    bool seen_mark = false;
    std::size_t i = 0;
    for (; i < text.size(); ++i) {
        const char c = text[i];
        if (is_digit(c)) {
            any = true;
            if (digits < 19) {
                mantissa = (mantissa * 10) + static_cast<std::uint64_t>(c - '0');
            }
            digits += mantissa != 0 ? 1 : 0;
            decimals += seen_mark ? 1 : 0;
        } else if (c == mark && !seen_mark) {
            seen_mark = true;
        } else {
            break;
        }
    }
    if (!any) {
        return std::nullopt;
    }
    if (i == text.size() && digits <= 19 && mantissa <= (std::uint64_t{1} << 53) && decimals <= 22) {
        const double value =
            static_cast<double>(mantissa) / exact_powers_of_ten[static_cast<std::size_t>(decimals)];
        return negative ? -value : value;
    }
    if (i < text.size()) { // only an exponent may follow
        std::size_t k = i;
        if (text[k] != 'e' && text[k] != 'E') {
            return std::nullopt;
        }
        ++k;
        if (k < text.size() && (text[k] == '-' || text[k] == '+')) {
            ++k;
        }
        if (k == text.size()) {
            return std::nullopt;
        }
        for (; k < text.size(); ++k) {
            if (!is_digit(text[k])) {
                return std::nullopt;
            }
        }
    }
    // The slow and always right way.
    std::array<char, 512> copy{};
    std::string_view plain = whole;
    if (plain.front() == '+') {
        plain.remove_prefix(1);
    }
    if (plain.size() > copy.size()) {
        return std::nullopt;
    }
    for (std::size_t k = 0; k < plain.size(); ++k) {
        copy[k] = plain[k] == mark ? '.' : plain[k];
    }
    double value = 0.0;
    const auto [end, status] = std::from_chars(copy.data(), copy.data() + plain.size(), value);
    if (end != copy.data() + plain.size()) {
        return std::nullopt;
    }
    if (status == std::errc::result_out_of_range) {
        return std::nullopt;
    }
    return status == std::errc{} && std::isfinite(value) ? std::optional(value) : std::nullopt;
}

std::optional<std::int64_t> scaled_whole(std::string_view text, char mark, std::int64_t unit) {
    bool negative = false;
    if (!text.empty() && (text.front() == '-' || text.front() == '+')) {
        negative = text.front() == '-';
        text.remove_prefix(1);
    }
    __extension__ using Wide = __int128;
    Wide mantissa = 0;
    Wide scale = 1;
    bool any = false;
    bool seen_mark = false;
    int digits = 0;
    for (const char c : text) {
        if (is_digit(c)) {
            any = true;
            if (digits >= 22 || scale >= Wide{1'000'000'000'000'000'000} *
                                             1'000'000'000) { // beyond what any clock writes; further
                                                              // decimals change less than a nanosecond
                if (!seen_mark) {
                    return std::nullopt;
                }
                continue;
            }
            mantissa = (mantissa * 10) + (c - '0');
            digits += mantissa != 0 ? 1 : 0;
            if (seen_mark) {
                scale *= 10;
            }
        } else if (c == mark && !seen_mark) {
            seen_mark = true;
        } else {
            return std::nullopt;
        }
    }
    if (!any) {
        return std::nullopt;
    }
    // whole * unit + rounded fraction * unit, so that nothing overflows before it is known to fit
    const Wide whole = mantissa / scale;
    const Wide part = mantissa % scale;
    constexpr Wide largest = std::numeric_limits<std::int64_t>::max();
    if (whole > largest / unit) {
        return std::nullopt;
    }
    const Wide fraction = scale <= Wide{1'000'000'000'000'000'000}
                              ? ((part * unit) + (scale / 2)) / scale
                              : ((part / 10'000) * unit + (scale / 20'000)) / (scale / 10'000);
    const Wide value = (whole * unit) + fraction;
    if (value > largest) {
        return std::nullopt;
    }
    return static_cast<std::int64_t>(negative ? -value : value);
}

} // namespace backeddy::intake
