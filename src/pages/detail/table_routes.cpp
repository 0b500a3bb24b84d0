// The study's tables: what their columns are, and each as it stands.

#include <utility>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "app/edits.hpp"
#include "intake/grid.hpp"
#include "pages/detail/answers.hpp"
#include "pages/detail/edit_parts.hpp"
#include "report/json_stream.hpp"

namespace backeddy::pages::detail {

namespace {

using Json = nlohmann::json;
using server::json_response;
using server::Method;
using server::Request;
using server::Response;
using server::Route;

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

Json column_json(const study::ColumnDefinition& column) {
    Json out{{"name", column.name},
             {"kind", kind_word(column.kind)},
             {"needed", column.need == study::Need::required},
             {"unit", column.unit},
             {"what", column.what},
             {"words", column.words},
             {"least", number_or_null<Json>(column.least)},
             {"may_equal_least", column.may_equal_least},
             {"most", number_or_null<Json>(column.most)}};
    return out;
}

Response tables(const Request& request) {
    Json out = Json::array();
    for (const auto& table : study::tables()) {
        Json columns = Json::array();
        for (const auto& column : table.columns) {
            columns.push_back(column_json(column));
        }
        out.push_back({{"table", table.word()},
                       {"file", table.file},
                       {"what", table.what},
                       {"needed", table.need == study::Need::required},
                       {"may_edit", app::may_edit(author_of(request).role, table.name)},
                       {"columns", std::move(columns)}});
    }
    return json_response(out.dump());
}

Expected<study::TableName> table_named(std::string_view word) {
    if (const auto* table = study::table_of_word(word)) {
        return table->name;
    }
    std::vector<std::string> words;
    for (const auto& table : study::tables()) {
        words.emplace_back(table.word());
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

} // namespace

std::vector<Route> table_routes(app::Desk& desk) {
    return {{.method = Method::get, .pattern = "/api/tables", .handler = tables},
            {.method = Method::get,
             .pattern = "/api/tables/{table}",
             .handler = [&desk](const Request& request) { return grid(desk, request); }}};
}

} // namespace backeddy::pages::detail
