#include "pages/study_routes.hpp"

#include <memory>
#include <utility>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "app/results.hpp"
#include "app/why.hpp"
#include "pages/detail/answers.hpp"
#include "pages/detail/packed.hpp"
#include "report/json.hpp"
#include "report/json_stream.hpp"

namespace backeddy::pages {

namespace {

using server::Bytes;
using server::Handler;
using server::json_response;
using server::Method;
using server::Policy;
using server::problem;
using server::Request;
using server::Response;
using server::Right;
using server::Route;

Response no_answer() {
    return problem(404, "this study has no answer yet",
                   "wait until /api/state says \"ready\"; where it says \"stopped\", its complaints say why");
}

// Revisions begin anew with each start of the program; the moment keeps them apart.
std::string revision_text(std::uint64_t revision, Instant at) {
    return fmt::format("{}-{}", at.unix_nanoseconds(), revision);
}

std::string_view content_type_of(std::string_view name) {
    if (name.ends_with(".json")) {
        return "application/json";
    }
    if (name.ends_with(".html")) {
        return "text/html; charset=utf-8";
    }
    return "text/csv; charset=utf-8";
}

Response file_of(const app::Desk& desk, const Request& request, std::string_view name, PackedFiles& packed) {
    const auto answer = desk.answer();
    if (!answer) {
        return no_answer();
    }
    const auto* file = answer->results.file(name);
    if (file == nullptr) {
        return problem(404, fmt::format("the results hold no file \"{}\"", name), "/api/files lists them");
    }
    const auto revision = revision_text(answer->revision, answer->at);
    Response out{.content_type = std::string(content_type_of(name)),
                 .body = Bytes(answer, file->bytes),
                 .etag = '"' + revision + '"',
                 .policy = name.ends_with(".html") ? Policy::report : Policy::page};
    if (is_elsewhere(request.asker)) {
        out.gzip = packed.of(revision, file->name, file->bytes);
    }
    return out;
}

Response files(const app::Desk& desk) {
    const auto answer = desk.answer();
    report::JsonStream out(0);
    out.begin_array();
    if (answer) {
        for (const auto& file : answer->results.all(Threads{})) {
            out.begin_object();
            out.key("name");
            out.value(file.name);
            out.key("bytes");
            out.value(std::uint64_t{file.bytes.size()});
            out.end_object();
        }
    }
    out.end_array();
    return json_response(std::move(out).take());
}

Expected<Instant> moment_of(const Request& request, std::string_view name) {
    const auto text = request.asked(name);
    if (const auto moment = text ? parse_iso(*text) : std::nullopt) {
        return *moment;
    }
    return fail({.code = ErrorCode::bad_time,
                 .found = text ? fmt::format("{} = \"{}\"", name, *text) : fmt::format("no {}", name),
                 .expected = "a moment in ISO 8601 with its offset",
                 .remedy = fmt::format("ask with {}=2026-06-14T21:05:03Z", name)});
}

Response trace(const app::Desk& desk, const Request& request) {
    const auto from = moment_of(request, "from");
    const auto to = moment_of(request, "to");
    if (!from || !to) {
        return refusal(from ? to.error() : from.error());
    }
    if (*to < *from) {
        return problem(400, "`to` lies before `from`", "ask for a stretch that begins before it ends");
    }
    const auto stretch = desk.trace(std::string(request.part("stay")), *from, *to);
    return stretch ? json_response(report::stretch_text(*stretch)) : refusal(stretch.error());
}

Response why_words() {
    report::JsonStream out(0);
    out.begin_array();
    for (const auto& word : app::why_metrics()) {
        out.value(word);
    }
    out.end_array();
    return json_response(std::move(out).take());
}

Response why(const app::Desk& desk, const Request& request) {
    const auto text = desk.why(std::string(request.part("fish")), std::string(request.part("number")));
    if (!text) {
        return refusal(text.error());
    }
    report::JsonStream out(0);
    out.begin_object();
    out.key("text");
    out.value(*text);
    out.end_object();
    return json_response(std::move(out).take());
}

using Json = nlohmann::json;

// {"entries": [{"act": "...", "content": {...}, "reason": "..."}]}, or nothing.
std::optional<std::vector<app::Wished>> wishes_of(const std::string& body) {
    const Json document = Json::parse(body, nullptr, false);
    const auto entries = document.is_object() ? document.find("entries") : document.end();
    if (!document.is_object() || entries == document.end() || !entries->is_array() || entries->empty()) {
        return std::nullopt;
    }
    std::vector<app::Wished> out;
    for (const auto& each : *entries) {
        if (!each.is_object() || !each.contains("act") || !each["act"].is_string() ||
            !each.contains("content") || !each["content"].is_object() ||
            (each.contains("reason") && !each["reason"].is_string())) {
            return std::nullopt;
        }
        out.push_back({.act = each["act"].get<std::string>(),
                       .content = each["content"].dump(),
                       .reason = each.value("reason", std::string())});
    }
    return out;
}

Response write(app::Desk& desk, const Request& request) {
    const auto wishes = wishes_of(request.body);
    if (!wishes) {
        return problem(400, "the body is no list of entries",
                       R"(send {"entries": [{"act": "add", "content": {...}, "reason": "..."}]})");
    }
    const auto ids = desk.write(*wishes, author_of(request));
    if (!ids) {
        return change_refused(ids.error());
    }
    Json out{{"ids", Json::array()}};
    for (const auto& id : *ids) {
        out["ids"].push_back(app::id_text(id));
    }
    return json_response(out.dump());
}

Response entries(const app::Desk& desk) {
    const auto journal = desk.journal();
    report::JsonStream out(0);
    const auto field = [&](std::string_view name, const auto& value) {
        out.key(name);
        out.value(value);
    };
    out.begin_object();
    out.key("entries");
    out.begin_array();
    for (std::size_t i = 0; i < journal.entries.size(); ++i) {
        const auto& entry = journal.entries[i];
        out.begin_object();
        field("number", std::uint64_t{i + 1});
        field("id", app::id_text(entry.id));
        field("at", app::moment_of(entry));
        field("author", entry.author);
        field("role", store::name_of(entry.role));
        field("act", entry.act);
        out.key("content");
        out.literal(Json::accept(entry.content) ? entry.content : "null");
        field("reason", entry.reason);
        field("is_undone", journal.read.entries[i].is_undone);
        out.end_object();
    }
    out.end_array();
    out.key("complaints");
    out.begin_array();
    for (const auto& complaint : journal.complaints) {
        report::put_complaint(out, app::complaint_of(complaint));
    }
    out.end_array();
    out.end_object();
    return json_response(std::move(out).take());
}

} // namespace

std::string state_json(const app::DeskState& state) {
    report::JsonStream out(0);
    const auto field = [&](std::string_view name, const auto& value) {
        out.key(name);
        out.value(value);
    };
    out.begin_object();
    field("phase", app::word(state.phase));
    field("what", state.what);
    field("done", std::uint64_t{state.done});
    field("total", std::uint64_t{state.total});
    field("unit", state.unit);
    field("revision", state.answered_at ? revision_text(state.revision, *state.answered_at) : std::string());
    out.key("answered_at");
    state.answered_at ? out.value(*state.answered_at) : out.null();
    field("entries", std::uint64_t{state.entries});
    out.key("complaints");
    out.begin_array();
    for (const auto& complaint : state.complaints) {
        report::put_complaint(out, app::complaint_of(complaint));
    }
    out.end_array();
    field("complaints_left_out", std::uint64_t{state.followers});
    out.end_object();
    return std::move(out).take();
}

std::string copy_json(const std::string& folder, const store::CopyState& state) {
    report::JsonStream out(0);
    out.begin_object();
    out.key("folder");
    out.value(folder);
    out.key("behind");
    out.value(static_cast<std::uint64_t>(state.behind));
    out.key("trouble");
    out.value(state.trouble ? state.trouble->text() : std::string());
    out.key("complete");
    state.complete ? out.value(*state.complete) : out.null();
    out.end_object();
    return std::move(out).take();
}

std::vector<Route> copy_routes(const app::JournalCopy* copy) {
    return {{.method = Method::get, .pattern = "/api/copy", .handler = [copy](const Request&) {
                 return json_response(copy == nullptr
                                          ? std::string("null")
                                          : copy_json(copy->copy_folder().string(), copy->state()));
             }}};
}

std::vector<Route> study_routes(app::Desk& desk) {
    const auto get = [](std::string pattern, Handler handler) {
        return Route{.method = Method::get, .pattern = std::move(pattern), .handler = std::move(handler)};
    };
    const auto packed = std::make_shared<PackedFiles>();
    return {
        get("/api/state", [&desk](const Request&) { return json_response(state_json(desk.state())); }),
        get("/api/results",
            [&desk, packed](const Request& request) {
                return file_of(desk, request, "results.json", *packed);
            }),
        get("/api/files", [&desk](const Request&) { return files(desk); }),
        get("/api/files/{name}",
            [&desk, packed](const Request& request) {
                return file_of(desk, request, request.part("name"), *packed);
            }),
        get("/api/stays/{stay}/trace", [&desk](const Request& request) { return trace(desk, request); }),
        get("/api/why", [](const Request&) { return why_words(); }),
        get("/api/entries", [&desk](const Request&) { return entries(desk); }),
        {.method = Method::post,
         .pattern = "/api/entries",
         .right = Right::log,
         .handler = [&desk](const Request& request) { return write(desk, request); },
         .body_limit = std::size_t{1} << 20},
        get("/api/why/{fish}/{number}", [&desk](const Request& request) { return why(desk, request); }),
    };
}

} // namespace backeddy::pages
