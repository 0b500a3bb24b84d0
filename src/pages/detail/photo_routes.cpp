// Photos, in and out by their hashes.

#include <nlohmann/json.hpp>

#include "app/photos.hpp"
#include "pages/detail/answers.hpp"
#include "pages/detail/deck_parts.hpp"

namespace backeddy::pages::detail {

namespace {

using Json = nlohmann::json;
using server::Method;
using server::Request;
using server::Response;
using server::Right;

Response keep(const app::Desk& desk, const Request& request) {
    const std::string sha256(request.part("sha256"));
    const auto kept = app::keep_photo(desk.folder(), sha256, request.body);
    if (!kept) {
        return refusal(kept.error());
    }
    auto out = server::json_response(Json{{"sha256", sha256}}.dump());
    out.status = *kept == app::PhotoKept::is_new ? 201 : 200;
    return out;
}

Response show(const app::Desk& desk, const Request& request) {
    const std::string sha256(request.part("sha256"));
    auto photo = app::read_photo(desk.folder(), sha256);
    if (!photo) {
        return refusal(photo.error());
    }
    return {.content_type = std::string(app::content_type_of(photo->kind)),
            .body = std::move(photo->bytes),
            .etag = '"' + sha256 + '"'};
}

} // namespace

std::vector<server::Route> photo_routes(app::Desk& desk) {
    return {{.method = Method::put,
             .pattern = "/api/photos/{sha256}",
             .right = Right::log,
             .handler = [&desk](const Request& request) { return keep(desk, request); },
             .body_limit = app::most_photo_bytes},
            {.method = Method::get,
             .pattern = "/api/photos/{sha256}",
             .handler = [&desk](const Request& request) { return show(desk, request); }}};
}

} // namespace backeddy::pages::detail
