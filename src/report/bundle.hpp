#pragma once
// The built pages of web/, as they were when this program was built.
//
// They are kept as plain text: the report needs them as text, the two files are well under a megabyte, and so
// no decompressor stands between the program and its report.

#include <string_view>

namespace backeddy::report {

/// Draws the figures: one script without imports.
[[nodiscard]] std::string_view bundle_script();
/// The look, day and night and on paper.
[[nodiscard]] std::string_view bundle_style();

} // namespace backeddy::report
