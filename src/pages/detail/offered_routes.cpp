// Files that are looked at before they are taken in.

#include <memory>
#include <utility>

#include <nlohmann/json.hpp>

#include "app/bring_in.hpp"
#include "pages/detail/answers.hpp"
#include "pages/detail/edit_parts.hpp"
#include "pages/detail/offered_files.hpp"
#include "pages/edit_routes.hpp"

namespace backeddy::pages::detail {

namespace {

using Json = nlohmann::json;
using server::json_response;
using server::Method;
using server::problem;
using server::Request;
using server::Response;
using server::Right;
using server::Route;

Json numbers_or_nulls(const std::vector<std::optional<double>>& values) {
    Json out = Json::array();
    for (const auto& value : values) {
        out.push_back(number_or_null<Json>(value));
    }
    return out;
}

Json look_json(const app::FileLook& look, const std::string& id) {
    Json out{{"id", id},
             {"name", look.name},
             {"bytes", look.bytes},
             {"sha256", look.sha256},
             {"stop", nullptr},
             {"understood", look.understood},
             {"told", look.told},
             {"columns", Json::array()},
             {"readings", look.readings},
             {"first_rows", Json::array()},
             {"streams", Json::array()},
             {"places", Json::array()}};
    if (look.stop) {
        out["stop"] = {{"text", look.stop->text()},
                       {"found", look.stop->found},
                       {"expected", look.stop->expected},
                       {"remedy", look.stop->remedy},
                       {"column", look.stop->place.column}};
    }
    for (const auto& column : look.columns) {
        out["columns"].push_back({{"index", column.index},
                                  {"header", column.header},
                                  {"use", column.use},
                                  {"unit", column.unit},
                                  {"channel", column.channel},
                                  {"why", column.why},
                                  {"is_set", column.is_set}});
    }
    for (const auto& row : look.first_rows) {
        out["first_rows"].push_back({{"line", row.line},
                                     {"stream", row.stream},
                                     {"at", iso_text(row.at)},
                                     {"values", numbers_or_nulls(row.values)}});
    }
    for (const auto& stream : look.streams) {
        out["streams"].push_back({{"name", stream.name},
                                  {"rows", stream.rows},
                                  {"first", iso_text(stream.first)},
                                  {"last", iso_text(stream.last)},
                                  {"usual_interval_s", stream.usual_interval_s}});
    }
    for (const auto& place : look.places) {
        out["places"].push_back({{"trace", place.trace}, {"place", place.place}});
    }
    return out;
}

Response look_answer(const app::FileLook& look, const std::string& id) {
    return json_response(text_of(look_json(look, id)));
}

Response look(const app::Desk& desk, const app::OfferedFile& file, const std::string& id,
              const app::LookWish& wish) {
    const auto seen = app::look_into(desk.folder(), file, wish, Threads{});
    return seen ? look_answer(*seen, id) : refusal(seen.error());
}

Response offer(const app::Desk& desk, OfferedFiles& files, const Request& request) {
    const std::string name(request.asked("name").value_or(""));
    if (!is_file_name(name)) {
        return problem(400, "the file has no name that can be used", "ask with ?name=day9.csv");
    }
    const auto id = files.keep(name, request.body);
    const auto file = id ? files.find(*id) : Expected<app::OfferedFile>(fail(id.error()));
    return file ? look(desk, *file, *id, {}) : refusal(file.error());
}

// What a wish about an offered file says; `settings` as its own JSON text.
struct OfferedWish {
    std::string trace;
    std::string place;
    std::string settings;
};

std::optional<OfferedWish> offered_wish(const Request& request) {
    const Json body = Json::parse(request.body, nullptr, false);
    if (!body.is_object()) {
        return std::nullopt;
    }
    OfferedWish out;
    for (const auto& [key, value] : body.items()) {
        if (key == "settings" && value.is_object()) {
            out.settings = value.dump();
        } else if (key == "trace" && value.is_string()) {
            out.trace = value.get<std::string>();
        } else if (key == "place" && value.is_string()) {
            out.place = value.get<std::string>();
        } else if (!value.is_null()) {
            return std::nullopt;
        }
    }
    return out;
}

Response look_again(const app::Desk& desk, const OfferedFiles& files, const Request& request) {
    const auto wish = offered_wish(request);
    if (!wish) {
        return problem(400, "the body does not say how to read the file",
                       R"(send {"trace": "boat"} or {"settings": {...}})");
    }
    const auto file = files.find(request.part("id"));
    return file ? look(desk, *file, std::string(request.part("id")),
                       {.trace = wish->trace, .settings = wish->settings})
                : refusal(file.error());
}

Expected<app::Taking> take(app::Desk& desk, const OfferedFiles& files, const Request& request,
                           const OfferedWish& wish) {
    const auto file = files.find(request.part("id"));
    auto taking =
        file ? app::plan_taking(desk.folder(), *file, {.place = wish.place, .settings = wish.settings})
             : Expected<app::Taking>(fail(file.error()));
    if (!taking) {
        return taking;
    }
    const Json content{{"file", taking->place}, {"now", {{"sha256", taking->sha256}}}};
    auto done = record(desk, request, text_of(content));
    done = done ? app::take_in(desk.folder(), *taking) : std::move(done);
    return done ? std::move(taking) : fail(std::move(done).error());
}

Response take_offered(app::Desk& desk, const OfferedFiles& files, const Request& request) {
    const auto wish = offered_wish(request);
    if (!wish || wish->place.empty()) {
        return problem(400, "the body does not say where the file goes",
                       R"(send {"place": "raw/boat/day9.csv", "settings": {...}})");
    }
    const auto taken = take(desk, files, request, *wish);
    if (!taken) {
        return refusal(taken.error());
    }
    return json_response(Json{{"place", taken->place}, {"sha256", taken->sha256}}.dump());
}

} // namespace

std::vector<Route> offered_routes(app::Desk& desk) {
    const auto files = std::make_shared<OfferedFiles>();
    return {
        {.method = Method::post,
         .pattern = "/api/offered",
         .right = Right::edit,
         .handler = [&desk, files](const Request& request) { return offer(desk, *files, request); },
         .body_limit = most_offered_bytes},
        {.method = Method::post,
         .pattern = "/api/offered/{id}/look",
         .right = Right::edit,
         .handler = [&desk, files](const Request& request) { return look_again(desk, *files, request); }},
        {.method = Method::post,
         .pattern = "/api/offered/{id}/take",
         .right = Right::edit,
         .handler = [&desk, files](const Request& request) { return take_offered(desk, *files, request); }}};
}

} // namespace backeddy::pages::detail
