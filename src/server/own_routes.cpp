#include "server/own_routes.hpp"

#include <chrono>

#include <nlohmann/json.hpp>

#include "server/service.hpp"

extern "C" {
extern const char backeddy_openapi_begin[];
extern const char backeddy_openapi_end[];
extern const char backeddy_openapi_gzip_begin[];
extern const char backeddy_openapi_gzip_end[];
}

namespace backeddy::server {

namespace {

constexpr std::size_t sign_in_body_limit = 4 << 10;

Moment now() {
    return std::chrono::steady_clock::now();
}

Response api_document() {
    static const Response document =
        program_file("application/json", openapi_document(),
                     {backeddy_openapi_gzip_begin,
                      static_cast<std::size_t>(backeddy_openapi_gzip_end - backeddy_openapi_gzip_begin)});
    return document;
}

Response not_by_websocket() {
    Response out = problem(426, "changes are told over a WebSocket", "open this address as a WebSocket");
    out.fields.emplace_back("Upgrade", "websocket");
    return out;
}

} // namespace

std::string_view openapi_document() {
    return {backeddy_openapi_begin, static_cast<std::size_t>(backeddy_openapi_end - backeddy_openapi_begin)};
}

std::vector<Route> own_routes(Gate& gate, std::string version) {
    const std::string about = nlohmann::ordered_json{{"program", "backeddy"}, {"version", version}}.dump();
    return {
        {.pattern = "/api/about",
         .right = Right::anyone,
         .handler = [about](const Request&) { return json_response(about); }},
        {.pattern = "/api/openapi.json",
         .right = Right::anyone,
         .handler = [](const Request&) { return api_document(); }},
        {.pattern = "/api/session",
         .right = Right::read,
         .handler = [&gate](const Request& request) { return gate.session(request); }},
        {.method = Method::post,
         .pattern = "/api/sign-in",
         .right = Right::anyone,
         .handler = [&gate](const Request& request) { return gate.sign_in(request, now()); },
         .body_limit = sign_in_body_limit},
        {.method = Method::post,
         .pattern = "/api/sign-out",
         .right = Right::read,
         .handler = [&gate](const Request& request) { return gate.sign_out(request); }},
        {.pattern = std::string(changes_path),
         .right = Right::read,
         .handler = [](const Request&) { return not_by_websocket(); }},
    };
}

} // namespace backeddy::server
