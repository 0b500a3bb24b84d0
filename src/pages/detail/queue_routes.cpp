// Queue files: what a device could not send, brought by hand.

#include <algorithm>

#include <nlohmann/json.hpp>

#include "app/queue.hpp"
#include "pages/detail/answers.hpp"
#include "pages/detail/deck_parts.hpp"
#include "pages/detail/edit_parts.hpp"
#include "pages/detail/taken_in.hpp"

namespace backeddy::pages::detail {

namespace {

using Json = nlohmann::json;
using server::json_response;
using server::Method;
using server::Request;
using server::Response;
using server::Right;

Json first_and_last(const std::vector<store::Entry>& entries) {
    if (entries.empty()) {
        return {{"first_at", nullptr}, {"last_at", nullptr}};
    }
    const auto [first, last] = std::ranges::minmax_element(entries, {}, app::moment_of);
    return {{"first_at", iso_text(app::moment_of(*first))}, {"last_at", iso_text(app::moment_of(*last))}};
}

Response look(app::Desk& desk, const Request& request) {
    const auto file = store::read_queue_file(request.body);
    const auto identity = desk.identity();
    if (!file || !identity) {
        return refusal(file ? identity.error() : file.error());
    }
    const auto seen = app::look_at_queue(desk.folder(), *file, desk.journal().entries, *identity);
    Json out{{"study", file->study},
             {"is_of_this_study", seen.is_of_this_study},
             {"device", file->device},
             {"made_at", iso_text(Instant::unix_nanoseconds(file->made_us * 1000))},
             {"authors", seen.authors},
             {"entries", file->entries.size()},
             {"added", seen.added},
             {"duplicates", seen.duplicates},
             {"differing", seen.differing},
             {"photos", file->photos.size()},
             {"photos_added", seen.photos_added}};
    out.update(first_and_last(file->entries));
    return json_response(text_of(out));
}

Response take(app::Desk& desk, const Request& request) {
    const auto file = store::read_queue_file(request.body);
    const auto identity = desk.identity();
    if (!file || !identity) {
        return refusal(file ? identity.error() : file.error());
    }
    if (auto ours = app::is_of_study(*file, *identity); !ours && request.asked("of_another_study") != "yes") {
        return refusal(ours.error());
    }
    const auto taken = desk.take_in(file->entries);
    if (!taken) {
        return change_refused(taken.error());
    }
    const auto photos = app::take_in_photos(desk.folder(), *file);
    auto out = taken_in_json<Json>(*taken);
    out["photos_added"] = photos.added;
    out["photos_were_there"] = photos.were_there;
    out["photos_refused"] = photos.refused;
    return json_response(text_of(out));
}

} // namespace

std::vector<server::Route> queue_routes(app::Desk& desk) {
    return {{.method = Method::post,
             .pattern = "/api/entries/queue",
             .right = Right::edit,
             .handler = [&desk](const Request& request) { return take(desk, request); },
             .body_limit = app::most_queue_bytes},
            {.method = Method::post,
             .pattern = "/api/entries/queue/look",
             .right = Right::edit,
             .handler = [&desk](const Request& request) { return look(desk, request); },
             .body_limit = app::most_queue_bytes}};
}

} // namespace backeddy::pages::detail
