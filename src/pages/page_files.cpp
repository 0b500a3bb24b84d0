#include "pages/page_files.hpp"

#include <string_view>

// Begin and end of each file and of its packed form (embed.S.in).
#define BACKEDDY_PAGE(name)                                                                                  \
    extern const char backeddy_page_##name##_begin[];                                                        \
    extern const char backeddy_page_##name##_end[];                                                          \
    extern const char backeddy_page_##name##_gzip_begin[];                                                   \
    extern const char backeddy_page_##name##_gzip_end[];
extern "C" {
BACKEDDY_PAGE(index)
BACKEDDY_PAGE(script)
BACKEDDY_PAGE(style)
BACKEDDY_PAGE(icon)
}
#undef BACKEDDY_PAGE

namespace backeddy::pages {

namespace {

using server::program_file;
using server::Request;
using server::Response;
using server::Right;
using server::Route;

std::string_view between(const char* begin, const char* end) {
    return {begin, static_cast<std::size_t>(end - begin)};
}

Route page(std::string pattern, const Response& file) {
    return {.pattern = std::move(pattern), .right = Right::anyone, .handler = [file](const Request&) {
                return file;
            }};
}

} // namespace

std::vector<Route> page_routes() {
    const Response index =
        program_file("text/html; charset=utf-8", between(backeddy_page_index_begin, backeddy_page_index_end),
                     between(backeddy_page_index_gzip_begin, backeddy_page_index_gzip_end));
    const Response script = program_file(
        "text/javascript; charset=utf-8", between(backeddy_page_script_begin, backeddy_page_script_end),
        between(backeddy_page_script_gzip_begin, backeddy_page_script_gzip_end));
    const Response style =
        program_file("text/css; charset=utf-8", between(backeddy_page_style_begin, backeddy_page_style_end),
                     between(backeddy_page_style_gzip_begin, backeddy_page_style_gzip_end));
    const Response icon =
        program_file("image/svg+xml", between(backeddy_page_icon_begin, backeddy_page_icon_end),
                     between(backeddy_page_icon_gzip_begin, backeddy_page_icon_gzip_end));
    return {page("/", index),
            page("/app.js", script),
            page("/app.css", style),
            page("/icon.svg", icon),
            page("/fish", index),
            page("/fish/{fish}", index),
            page("/fish/{fish}/beside/{other}", index),
            page("/traces", index),
            page("/traces/{stay}", index),
            page("/traces/{stay}/{spell}", index),
            page("/findings", index),
            page("/findings/{finding}", index),
            page("/report", index),
            page("/set-up", index),
            page("/set-up/{part}", index),
            page("/set-up/tables/{table}", index),
            page("/set-up/paper/{part}", index)};
}

} // namespace backeddy::pages
