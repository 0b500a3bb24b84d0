#pragma once
// Numbers to text and back, without the locale. The one formatter: CSV, JSON, page and report round the same
// way.

#include <optional>
#include <string>
#include <string_view>

namespace backeddy {

/// The whole text as a number, with '.' as decimal point; nothing when any of it is not part of one. Accepts
/// a leading
/// '+', surrounding blanks do not count as part; "nan" and "inf" are refused (a missing value is a missing
/// value).
[[nodiscard]] std::optional<double> parse_number(std::string_view text);

/// The whole text as a whole number.
[[nodiscard]] std::optional<long long> parse_whole(std::string_view text);

/// The shortest text that reads back as the same double (round trip exact); "" for NaN and infinities, which
/// no file of ours may hold.
[[nodiscard]] std::string exact_text(double value);

/// `value` rounded half to even on its decimal expansion to `digits` decimals (0-17): "12.30". "" for NaN.
[[nodiscard]] std::string fixed_text(double value, int digits);

/// `value` rounded to `digits` significant digits (1-17), plain notation, no exponent: "0.0123", "12300".
[[nodiscard]] std::string significant_text(double value, int digits);

/// A number without uncertainty for people: a whole one with all its digits, any other with at most `most`
/// significant ones and no zeros at its end: "1234", "0.699", "12.5". "" for NaN.
[[nodiscard]] std::string short_text(double value, int most = 3);

/// "412 ± 18": rounded so that the uncertainty shows two significant digits (JCGM 100:2008, 7.2.6).
/// `uncertainty` must be finite and at least 0; 0 prints the value with six significant digits and no "±".
[[nodiscard]] std::string measured_text(double value, double uncertainty);

} // namespace backeddy
