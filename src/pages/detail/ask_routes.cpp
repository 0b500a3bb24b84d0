// Questions that are tried on the open study before anybody keeps them, and the brief's text with one more,
// one changed or one less.

#include <algorithm>
#include <cmath>
#include <iterator>
#include <memory>
#include <optional>
#include <utility>

#include <nlohmann/json.hpp>

#include "app/ask.hpp"
#include "app/results.hpp"
#include "intake/question_text.hpp"
#include "pages/detail/answers.hpp"
#include "pages/detail/edit_parts.hpp"
#include "pages/detail/one_try.hpp"
#include "report/json.hpp"
#include "report/json_stream.hpp"
#include "study/settings.hpp"
#include "study/words.hpp"

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

// ---------------------------------------------------------------- a question's keys, to and from JSON

template <typename T>
std::vector<T> list_of(const Json& json) {
    std::vector<T> out;
    for (const auto& each : json) {
        out.push_back(each.get<T>());
    }
    return out;
}

// Nothing for what no setting can be. The kind is the brief's reader's to judge.
std::optional<study::SettingValue> value_of(const Json& json) {
    if (json.is_string()) {
        return json.get<std::string>();
    }
    if (json.is_boolean()) {
        return json.get<bool>();
    }
    if (json.is_number()) {
        return json.get<double>();
    }
    const auto all = [&](auto is) { return std::ranges::all_of(json, is); };
    if (json.is_array() && all([](const Json& each) { return each.is_string(); })) {
        return list_of<std::string>(json);
    }
    if (json.is_array() && all([](const Json& each) { return each.is_number(); })) {
        return list_of<double>(json);
    }
    return std::nullopt;
}

std::size_t place_of(const std::string& key) {
    const auto& known = study::question_settings();
    const auto found = std::ranges::find_if(known, [&](const auto& setting) { return setting.key == key; });
    return static_cast<std::size_t>(found - known.begin());
}

/// {"name": "rig_peak", "outcome": ...}, in the order of the settings; null says nothing.
std::optional<intake::QuestionKeys> keys_of(const Json& json) {
    if (!json.is_object()) {
        return std::nullopt;
    }
    intake::QuestionKeys out;
    for (const auto& [key, value] : json.items()) {
        if (value.is_null()) {
            continue;
        }
        auto read = value_of(value);
        if (!read) {
            return std::nullopt;
        }
        out.emplace_back(key, std::move(*read));
    }
    std::ranges::stable_sort(out, {}, [](const auto& key) { return place_of(key.first); });
    return out;
}

Json json_of(const study::SettingValue& value) {
    return std::visit(
        [](const auto& held) -> Json {
            if constexpr (std::is_same_v<std::decay_t<decltype(held)>, std::monostate>) {
                return nullptr;
            } else {
                return held;
            }
        },
        value);
}

// What it says beside what goes without saying.
Json json_of(const study::Question& question) {
    const study::Question usual;
    Json out = Json::object();
    for (const auto& setting : study::question_settings()) {
        if (const auto value = setting.get(question); value != setting.get(usual)) {
            out[setting.key] = json_of(value);
        }
    }
    return out;
}

// ---------------------------------------------------------------- what can be asked

Response columns(const app::Desk& desk) {
    const auto study = desk.asked_study();
    if (!study) {
        return refusal(study.error());
    }
    Json kinds = Json::array();
    for (const auto& rows : study->rows.rows) {
        kinds.push_back({{"noun", rows.noun()}, {"nouns", rows.nouns()}, {"rows", rows.rows()}});
    }
    Json all = Json::array();
    for (const auto& column : app::askable_columns(*study)) {
        all.push_back({{"name", column.name},
                       {"title", column.title},
                       {"unit", column.unit},
                       {"stage", study::word_of(column.stage)},
                       {"what", column.what},
                       {"is_own", column.is_own},
                       {"is_words", column.is_words},
                       {"rows", column.rows},
                       {"filled", column.filled},
                       {"levels", column.levels},
                       {"level_count", column.level_count}});
    }
    Json questions = Json::array();
    for (const auto& question : study->questions) {
        questions.push_back(json_of(question));
    }
    return json_response(text_of(
        Json{{"kinds", std::move(kinds)}, {"columns", std::move(all)}, {"questions", std::move(questions)}}));
}

// ---------------------------------------------------------------- a question is tried

// Whose try it is: a person may have several pages open, each with a word of its own.
std::string who(const Request& request) {
    return request.asker.session + '\n' + request.asker.name + '\n' +
           std::string(request.asked("page").value_or(""));
}

Response no_question() {
    return problem(
        400, "the body holds no question",
        R"(send its keys: {"name": "rig_peak", "outcome": "peak_after_capture", "compare": "rig"})");
}

Response busy(std::string_view detail, std::string_view remedy) {
    auto out = problem(503, detail, remedy);
    out.fields.emplace_back("Retry-After", "2");
    return out;
}

std::string tried_json(const app::Tried& tried, const std::string& text) {
    report::JsonStream out(0);
    out.begin_object();
    out.key("complaints");
    out.begin_array();
    for (const auto& complaint : tried.complaints) {
        report::put_complaint(out, app::complaint_of(complaint));
    }
    out.end_array();
    out.key("text");
    out.value(text);
    out.key("finding");
    tried.finding ? out.literal(report::finding_text(*tried.finding)) : out.null();
    out.end_object();
    return std::move(out).take();
}

Response try_question(const app::Desk& desk, OneTry& one, const Request& request) {
    const auto keys = keys_of(Json::parse(request.body, nullptr, false));
    if (!keys) {
        return no_question();
    }
    if (!one.begin(who(request))) {
        return busy("another question is being computed", "wait a moment: one is computed at a time");
    }
    OneTry::Turn turn(one, one.token());
    const auto study = desk.asked_study();
    if (!study) {
        return refusal(study.error());
    }
    const auto text = intake::question_text(*keys);
    const auto tried = app::try_question(
        *study, {.text = text,
                 .instead = std::string(request.asked("instead").value_or("")),
                 .stop = turn.stop(),
                 .simulated = [&](std::size_t done, std::size_t total) { turn.tell(done, total); }});
    if (turn.stop().stop_requested()) {
        return one.was_too_long()
                   ? problem(422, "this question takes longer than two minutes",
                             "make it smaller, or keep it: the study computes it in its own time")
                   : busy("this question was given up before it was answered", "ask it again");
    }
    return json_response(tried_json(tried, text));
}

Response how_far(const OneTry& one, const Request& request) {
    const auto far = one.far(who(request));
    return json_response(
        far ? Json{{"done", far->done}, {"total", far->total}, {"is_own", far->is_own}}.dump() : "null");
}

Response give_up(OneTry& one, const Request& request) {
    one.stop(who(request));
    return {.status = 204};
}

// ---------------------------------------------------------------- the brief's text with it

/// {"brief": "...", "name": "rig_peak", "question": {...}, "remark": "..."}: no name, a new question; no
/// question, one less.
Expected<std::string> changed_brief(const Json& body, const std::optional<intake::QuestionKeys>& keys) {
    const auto brief = body["brief"].get<std::string>();
    const auto name = body.value("name", std::string());
    if (name.empty()) {
        return intake::with_question(brief, *keys, body.value("remark", std::string()));
    }
    return keys ? intake::with_question_changed(brief, name, *keys) : intake::without_question(brief, name);
}

Response brief_with_question(const Request& request) {
    const Json body = Json::parse(request.body, nullptr, false);
    const auto is_text = [&](const char* key) { return !body.contains(key) || body[key].is_string(); };
    if (!body.is_object() || !body.contains("brief") || !is_text("brief") || !is_text("name") ||
        !is_text("remark")) {
        return no_question();
    }
    const bool has_question = body.contains("question") && !body["question"].is_null();
    const auto keys = has_question ? keys_of(body["question"]) : std::nullopt;
    if (has_question != keys.has_value() || (!keys && body.value("name", std::string()).empty())) {
        return no_question();
    }
    const auto text = changed_brief(body, keys);
    return text ? json_response(text_of(Json{{"text", *text}})) : refusal(text.error());
}

constexpr std::size_t most_brief_body = std::size_t{1} << 20;

} // namespace

std::vector<Route> ask_routes(app::Desk& desk) {
    const auto one = std::make_shared<OneTry>();
    return {{.method = Method::get,
             .pattern = "/api/questions/columns",
             .handler = [&desk](const Request&) { return columns(desk); }},
            {.method = Method::post,
             .pattern = "/api/findings/try",
             .handler = [&desk, one](const Request& request) { return try_question(desk, *one, request); }},
            {.method = Method::get,
             .pattern = "/api/findings/try",
             .handler = [one](const Request& request) { return how_far(*one, request); }},
            {.method = Method::remove,
             .pattern = "/api/findings/try",
             .handler = [one](const Request& request) { return give_up(*one, request); }},
            {.method = Method::post,
             .pattern = "/api/brief/question",
             .right = Right::edit,
             .handler = brief_with_question,
             .body_limit = most_brief_body}};
}

} // namespace backeddy::pages::detail
