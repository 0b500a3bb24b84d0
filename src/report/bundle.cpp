#include "report/bundle.hpp"

#include "report/json.hpp"

// Made by the assembler from the files themselves (embed.S.in).
extern "C" {
extern const char backeddy_report_script_begin[];
extern const char backeddy_report_script_end[];
extern const char backeddy_report_style_begin[];
extern const char backeddy_report_style_end[];
extern const char backeddy_results_schema_begin[];
extern const char backeddy_results_schema_end[];
}

namespace backeddy::report {

namespace {

std::string_view between(const char* begin, const char* end) {
    return {begin, static_cast<std::size_t>(end - begin)};
}

} // namespace

std::string_view bundle_script() {
    return between(backeddy_report_script_begin, backeddy_report_script_end);
}

std::string_view bundle_style() {
    return between(backeddy_report_style_begin, backeddy_report_style_end);
}

std::string_view schema_text() {
    return between(backeddy_results_schema_begin, backeddy_results_schema_end);
}

} // namespace backeddy::report
