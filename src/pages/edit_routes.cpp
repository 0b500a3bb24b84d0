#include "pages/edit_routes.hpp"

#include <algorithm>
#include <cstdlib>
#include <deque>
#include <filesystem>
#include <mutex>
#include <utility>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "app/brief_text.hpp"
#include "app/bring_in.hpp"
#include "app/edits.hpp"
#include "app/results.hpp"
#include "base/file.hpp"
#include "base/hash.hpp"
#include "intake/grid.hpp"
#include "pages/detail/answers.hpp"
#include "report/json.hpp"
#include "report/json_stream.hpp"
#include "study/describe.hpp"

namespace backeddy::pages {

namespace {

namespace fs = std::filesystem;
using Json = nlohmann::json;
using server::json_response;
using server::Method;
using server::problem;
using server::Request;
using server::Response;
using server::Right;
using server::Route;

// ---------------------------------------------------------------- tables

std::string table_word(const study::TableDefinition& table) {
    return table.file.substr(0, table.file.rfind('.'));
}

std::string_view kind_word(study::CellKind kind) {
    switch (kind) {
    case study::CellKind::text:
        return "text";
    case study::CellKind::key:
        return "name";
    case study::CellKind::number:
        return "number";
    case study::CellKind::time:
        return "time";
    case study::CellKind::word:
        return "word";
    case study::CellKind::channel:
        return "channel";
    case study::CellKind::value_or_limit:
        return "number or limit";
    }
    return "";
}

Json number_or_null(const std::optional<double>& value) {
    return value ? Json(*value) : Json();
}

Json column_json(const study::ColumnDefinition& column) {
    Json out{{"name", column.name},
             {"kind", kind_word(column.kind)},
             {"needed", column.need == study::Need::required},
             {"unit", column.unit},
             {"what", column.what},
             {"words", column.words},
             {"least", number_or_null(column.least)},
             {"may_equal_least", column.may_equal_least},
             {"most", number_or_null(column.most)}};
    return out;
}

Response tables(const Request& request) {
    Json out = Json::array();
    for (const auto& table : study::tables()) {
        Json columns = Json::array();
        for (const auto& column : table.columns) {
            columns.push_back(column_json(column));
        }
        out.push_back({{"table", table_word(table)},
                       {"file", table.file},
                       {"what", table.what},
                       {"needed", table.need == study::Need::required},
                       {"may_edit", app::may_edit(author_of(request).role, table.name)},
                       {"columns", std::move(columns)}});
    }
    return json_response(out.dump());
}

Expected<study::TableName> table_named(std::string_view word) {
    std::vector<std::string> words;
    for (const auto& table : study::tables()) {
        words.push_back(table_word(table));
        if (words.back() == word) {
            return table.name;
        }
    }
    const auto near = nearest_name(word, words);
    return fail({.code = ErrorCode::unknown_name,
                 .found = fmt::format("no table \"{}\"", word),
                 .expected = "one of those that /api/tables lists",
                 .remedy = near ? fmt::format("did you mean \"{}\"?", *near) : ""});
}

Response grid(const app::Desk& desk, const Request& request) {
    const auto name = table_named(request.part("table"));
    const auto read = name ? intake::read_grid(desk.folder(), *name, desk.journal().read.edits())
                           : Expected<intake::Grid>(fail(name.error()));
    if (!read) {
        return refusal(read.error());
    }
    report::JsonStream out(0);
    const auto texts = [&](std::string_view key, const std::vector<std::string>& list) {
        out.key(key);
        out.begin_array();
        for (const auto& text : list) {
            out.value(text);
        }
        out.end_array();
    };
    out.begin_object();
    out.key("file");
    out.value(read->file);
    out.key("exists");
    out.value(read->exists);
    out.key("has_decimal_comma");
    out.value(read->has_decimal_comma);
    texts("columns", read->columns);
    out.key("rows");
    out.begin_array();
    for (const auto& row : read->rows) {
        out.begin_object();
        out.key("line");
        out.value(row.line);
        out.key("added_by");
        out.value(row.added_by);
        texts("cells", row.cells);
        texts("in_file", row.in_file);
        out.end_object();
    }
    out.end_array();
    out.end_object();
    return json_response(std::move(out).take());
}

// ---------------------------------------------------------------- the brief

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
                            {"least", number_or_null(setting.least)},
                            {"most", number_or_null(setting.most)},
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
    return json_response(Json{{"text", text->text}, {"sha256", text->sha256}}.dump(
        -1, ' ', false, Json::error_handler_t::replace));
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

// Written down before it is done: after a power cut the journal may tell of a change that did not come about,
// but none comes about untold.
Expected<void> record(app::Desk& desk, const Request& request, const Json& content) {
    auto ids =
        desk.write({{.act = std::string(app::act_record), .content = content.dump()}}, author_of(request));
    return ids ? Expected<void>() : fail(std::move(ids).error());
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
        if (auto told = record(desk, request, content); !told) {
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

// ---------------------------------------------------------------- files that are offered

// A leaf, so that it can stand at the end of a place inside the study.
bool is_file_name(std::string_view name) {
    return !name.empty() && name.size() <= 200 && name.front() != '.' &&
           std::ranges::none_of(name, [](const char c) {
               return static_cast<unsigned char>(c) < 0x20 || c == '/' || c == '\\' || c == '\x7F';
           });
}

// The last few files that were offered, in a folder of their own that goes with this.
class OfferedFiles {
  public:
    OfferedFiles() = default;
    OfferedFiles(const OfferedFiles&) = delete;
    OfferedFiles& operator=(const OfferedFiles&) = delete;
    ~OfferedFiles() {
        std::error_code ignored;
        if (!folder_.empty()) {
            fs::remove_all(folder_, ignored);
        }
    }

    /// Its id. Fails with cannot_write.
    Expected<std::string> keep(std::string name, std::string_view bytes) {
        const std::lock_guard lock(guard_);
        if (auto made = make_folder(); !made) {
            return fail(std::move(made).error());
        }
        auto id = sha256_hex(bytes).substr(0, 32);
        const auto path = folder_ / id;
        std::erase_if(files_, [&](const auto& each) { return each.first == id; });
        if (std::error_code none; !fs::exists(path, none)) {
            if (auto written = write_new_file(path, bytes); !written) {
                return fail(std::move(written).error());
            }
        }
        files_.emplace_back(id, app::OfferedFile{.path = path, .name = std::move(name)});
        if (files_.size() > most_files) {
            std::error_code ignored;
            fs::remove(files_.front().second.path, ignored);
            files_.pop_front();
        }
        return id;
    }

    [[nodiscard]] Expected<app::OfferedFile> find(std::string_view id) const {
        const std::lock_guard lock(guard_);
        const auto found = std::ranges::find_if(files_, [&](const auto& each) { return each.first == id; });
        if (found == files_.end()) {
            return fail({.code = ErrorCode::unknown_name,
                         .found = "this file is not held any more",
                         .expected = fmt::format("one of the last {} that were offered", most_files),
                         .remedy = "offer it again"});
        }
        return found->second;
    }

  private:
    static constexpr std::size_t most_files = 8;

    Expected<void> make_folder() {
        std::error_code bad;
        if (!folder_.empty() && fs::is_directory(folder_, bad)) {
            return {};
        }
        std::string pattern = (fs::temp_directory_path(bad) / "backeddy_offered_XXXXXX").string();
        if (bad || ::mkdtemp(pattern.data()) == nullptr) {
            return fail({.code = ErrorCode::cannot_write,
                         .found = "no folder for temporary files can be made",
                         .expected = "a folder for temporary files with room in it",
                         .remedy = "free space there, or copy the file below raw/ by hand"});
        }
        folder_ = pattern;
        return {};
    }

    mutable std::mutex guard_;
    fs::path folder_;
    std::deque<std::pair<std::string, app::OfferedFile>> files_;
};

Json texts_or_null(const std::vector<std::optional<double>>& values) {
    Json out = Json::array();
    for (const auto& value : values) {
        out.push_back(number_or_null(value));
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
                                     {"values", texts_or_null(row.values)}});
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

// Text that a file holds may be in no encoding at all.
Response look_answer(const app::FileLook& look, const std::string& id) {
    return json_response(look_json(look, id).dump(-1, ' ', false, Json::error_handler_t::replace));
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
    auto done = record(desk, request, content);
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

std::vector<Route> edit_routes(app::Desk& desk) {
    const auto files = std::make_shared<OfferedFiles>();
    const auto change = [](Method method, std::string pattern, server::Handler handler, std::size_t most) {
        return Route{.method = method,
                     .pattern = std::move(pattern),
                     .right = Right::edit,
                     .handler = std::move(handler),
                     .body_limit = most};
    };
    constexpr std::size_t most_brief = std::size_t{1} << 20;
    return {
        {.method = Method::get, .pattern = "/api/tables", .handler = tables},
        {.method = Method::get,
         .pattern = "/api/tables/{table}",
         .handler = [&desk](const Request& request) { return grid(desk, request); }},
        {.method = Method::get, .pattern = "/api/settings", .handler = settings},
        {.method = Method::get,
         .pattern = "/api/brief",
         .handler = [&desk](const Request&) { return brief(desk); }},
        change(
            Method::put, "/api/brief", [&desk](const Request& r) { return save_brief(desk, r); }, most_brief),
        change(
            Method::post, "/api/brief/try", [&desk](const Request& r) { return try_brief(desk, r); },
            most_brief),
        change(
            Method::post, "/api/offered", [&desk, files](const Request& r) { return offer(desk, *files, r); },
            most_offered_bytes),
        change(
            Method::post, "/api/offered/{id}/look",
            [&desk, files](const Request& r) { return look_again(desk, *files, r); },
            server::usual_body_limit),
        change(
            Method::post, "/api/offered/{id}/take",
            [&desk, files](const Request& r) { return take_offered(desk, *files, r); },
            server::usual_body_limit),
    };
}

} // namespace backeddy::pages
