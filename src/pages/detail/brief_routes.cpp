// The brief as text, and the settings that it may hold.

#include <utility>

#include <nlohmann/json.hpp>

#include "app/brief_text.hpp"
#include "app/results.hpp"
#include "base/hash.hpp"
#include "pages/detail/answers.hpp"
#include "pages/detail/edit_parts.hpp"
#include "report/json.hpp"
#include "report/json_stream.hpp"
#include "study/describe.hpp"

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

Response settings(const Request&) {
    Json out = Json::array();
    for (const auto& section : study::described_settings()) {
        Json keys = Json::array();
        for (const auto& setting : section.settings) {
            keys.push_back({{"key", setting.key},
                            {"kind", setting.kind},
                            {"usual", setting.usual},
                            {"unit", setting.unit},
                            {"words", setting.words},
                            {"choices", setting.choices},
                            {"least", number_or_null<Json>(setting.least)},
                            {"most", number_or_null<Json>(setting.most)},
                            {"why", setting.why}});
        }
        out.push_back({{"section", section.name},
                       {"is_list", section.is_list},
                       {"what", section.what},
                       {"settings", std::move(keys)}});
    }
    return json_response(out.dump());
}

Response brief(const app::Desk& desk) {
    const auto text = app::read_brief_text(desk.folder());
    if (!text) {
        return refusal(text.error());
    }
    return json_response(text_of(Json{{"text", text->text}, {"sha256", text->sha256}}));
}

/// {"text": "...", "was_sha256": "..."}, the second only for saving.
struct BriefWish {
    std::string text;
    std::string was_sha256;
};

std::optional<BriefWish> brief_wish(const Request& request) {
    const Json body = Json::parse(request.body, nullptr, false);
    if (!body.is_object() || !body.contains("text") || !body["text"].is_string() ||
        (body.contains("was_sha256") && !body["was_sha256"].is_string())) {
        return std::nullopt;
    }
    return BriefWish{.text = body["text"].get<std::string>(),
                     .was_sha256 = body.value("was_sha256", std::string())};
}

Response no_brief() {
    return problem(400, "the body holds no brief", R"(send {"text": "...", "was_sha256": "..."})");
}

Response complaints_answer(const std::vector<study::Complaint>& complaints) {
    report::JsonStream out(0);
    out.begin_array();
    for (const auto& complaint : complaints) {
        report::put_complaint(out, app::complaint_of(complaint));
    }
    out.end_array();
    return json_response(std::move(out).take());
}

Response try_brief(const app::Desk& desk, const Request& request) {
    const auto wish = brief_wish(request);
    return wish ? complaints_answer(app::complaints_of_brief(desk.folder(), wish->text)) : no_brief();
}

Expected<void> change_brief(app::Desk& desk, const Request& request, const BriefWish& wish) {
    const auto standing = app::read_brief_text(desk.folder());
    if (!standing) {
        return fail(standing.error());
    }
    if (standing->sha256 == wish.was_sha256) {
        const auto complaints = app::complaints_of_brief(desk.folder(), wish.text);
        if (auto worse = app::made_worse_by(desk.folder(), complaints)) {
            return fail(std::move(*worse));
        }
        const Json content{{"file", app::brief_name},
                           {"was", {{"sha256", standing->sha256}, {"text", standing->text}}},
                           {"now", {{"sha256", sha256_hex(std::string_view(wish.text))}}}};
        if (auto told = record(desk, request, text_of(content)); !told) {
            return told;
        }
    }
    return app::replace_brief(desk.folder(), wish.was_sha256, wish.text);
}

Response save_brief(app::Desk& desk, const Request& request) {
    const auto wish = brief_wish(request);
    if (!wish || wish->was_sha256.empty()) {
        return no_brief();
    }
    if (auto changed = change_brief(desk, request, *wish); !changed) {
        return change_refused(changed.error());
    }
    return brief(desk);
}

constexpr std::size_t most_bytes = std::size_t{1} << 20;

} // namespace

std::vector<Route> brief_routes(app::Desk& desk) {
    return {{.method = Method::get, .pattern = "/api/settings", .handler = settings},
            {.method = Method::get,
             .pattern = "/api/brief",
             .handler = [&desk](const Request&) { return brief(desk); }},
            {.method = Method::put,
             .pattern = "/api/brief",
             .right = Right::edit,
             .handler = [&desk](const Request& request) { return save_brief(desk, request); },
             .body_limit = most_bytes},
            {.method = Method::post,
             .pattern = "/api/brief/try",
             .right = Right::edit,
             .handler = [&desk](const Request& request) { return try_brief(desk, request); },
             .body_limit = most_bytes}};
}

} // namespace backeddy::pages::detail
