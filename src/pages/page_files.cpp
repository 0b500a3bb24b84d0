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
BACKEDDY_PAGE(deck)
BACKEDDY_PAGE(deck_script)
BACKEDDY_PAGE(deck_style)
BACKEDDY_PAGE(deck_worker)
BACKEDDY_PAGE(deck_manifest)
BACKEDDY_PAGE(deck_icon)
BACKEDDY_PAGE(deck_icon_192)
BACKEDDY_PAGE(deck_icon_512)
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

constexpr auto html = "text/html; charset=utf-8";
constexpr auto script = "text/javascript; charset=utf-8";
constexpr auto style = "text/css; charset=utf-8";
constexpr auto svg = "image/svg+xml";
constexpr auto png = "image/png";

#define BACKEDDY_FILE(type, name)                                                                            \
    program_file(type, between(backeddy_page_##name##_begin, backeddy_page_##name##_end),                    \
                 between(backeddy_page_##name##_gzip_begin, backeddy_page_##name##_gzip_end))

/// Deck: a page of its own with its worker, which keeps them on the phone. The worker's scope is /deck.
std::vector<Route> deck_files() {
    return {page("/deck", BACKEDDY_FILE(html, deck)),
            page("/deck.js", BACKEDDY_FILE(script, deck_script)),
            page("/deck.css", BACKEDDY_FILE(style, deck_style)),
            page("/deck-worker.js", BACKEDDY_FILE(script, deck_worker)),
            page("/deck.webmanifest", BACKEDDY_FILE("application/manifest+json", deck_manifest)),
            page("/deck-icon.svg", BACKEDDY_FILE(svg, deck_icon)),
            page("/deck-icon-192.png", BACKEDDY_FILE(png, deck_icon_192)),
            page("/deck-icon-512.png", BACKEDDY_FILE(png, deck_icon_512))};
}

} // namespace

std::vector<Route> page_routes() {
    const Response index = BACKEDDY_FILE(html, index);
    std::vector<Route> routes{page("/", index),
                              page("/app.js", BACKEDDY_FILE(script, script)),
                              page("/app.css", BACKEDDY_FILE(style, style)),
                              page("/icon.svg", BACKEDDY_FILE(svg, icon)),
                              page("/fish", index),
                              page("/fish/{fish}", index),
                              page("/fish/{fish}/beside/{other}", index),
                              page("/traces", index),
                              page("/traces/{stay}", index),
                              page("/traces/{stay}/{spell}", index),
                              page("/findings", index),
                              page("/findings/{finding}", index),
                              page("/ask", index),
                              page("/ask/{finding}", index),
                              page("/report", index),
                              page("/watch", index),
                              page("/set-up", index),
                              page("/set-up/{part}", index),
                              page("/set-up/tables/{table}", index),
                              page("/set-up/brief/{key}", index),
                              page("/set-up/paper/{part}", index)};
    auto deck = deck_files();
    routes.insert(routes.end(), deck.begin(), deck.end());
    return routes;
}

#undef BACKEDDY_FILE

} // namespace backeddy::pages
