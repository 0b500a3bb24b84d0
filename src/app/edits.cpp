#include "app/edits.hpp"

#include <algorithm>
#include <charconv>
#include <map>
#include <set>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

namespace backeddy::app {

namespace {

using Json = nlohmann::json;
using study::Edit;
using study::TableDefinition;
using study::TableName;

// What is wrong with an entry, as text to be thrown within this file: an entry is read whole or not at all.
struct Unreadable {
    std::string found;
    std::string expected;
};

std::string text_at(const Json& object, const char* key) {
    const auto found = object.find(key);
    if (found == object.end() || !found->is_string()) {
        throw Unreadable{fmt::format("no text \"{}\" in its content", key), "one"};
    }
    return found->get<std::string>();
}

void check_column(const TableDefinition& table, const std::string& column) {
    if (column.empty() || column.find_first_of("\r\n") != std::string::npos) {
        throw Unreadable{fmt::format("a cell of {} without a column", table.file), "a column's name"};
    }
}

study::RowText row_at(const Json& content, const TableDefinition& table) {
    study::RowText out;
    const auto found = content.find("row");
    if (found == content.end() || !found->is_object() || found->empty()) {
        throw Unreadable{"no \"row\" in its content", "the row's cells"};
    }
    for (const auto& [column, cell] : found->items()) {
        check_column(table, column);
        if (!cell.is_string()) {
            throw Unreadable{fmt::format("a cell \"{}\" that is no text", column),
                             "a text, also of a number"};
        }
        out.emplace(column, cell.get<std::string>());
    }
    return out;
}

std::map<std::string, study::CellChange> cells_at(const Json& content, const TableDefinition& table) {
    std::map<std::string, study::CellChange> out;
    const auto found = content.find("cells");
    if (found == content.end() || !found->is_object() || found->empty()) {
        throw Unreadable{"no \"cells\" in its content", "the cells that change"};
    }
    for (const auto& [column, change] : found->items()) {
        check_column(table, column);
        if (!change.is_object()) {
            throw Unreadable{fmt::format("a change of \"{}\" that is none", column),
                             "{\"was\": ..., \"now\": ...}"};
        }
        out.emplace(column, study::CellChange{.was = text_at(change, "was"), .now = text_at(change, "now")});
    }
    return out;
}

Edit edit_of(const store::Entry& entry, std::uint64_t number) {
    const Json content = Json::parse(entry.content, nullptr, false);
    if (!content.is_object()) {
        throw Unreadable{"content that is no JSON object", "one, as docs/journal.md says"};
    }
    const std::string word = text_at(content, "table");
    const auto* table = study::table_of_word(word);
    if (table == nullptr) {
        throw Unreadable{fmt::format("a table \"{}\"", word), "one of the study's tables"};
    }
    if (!may_edit(entry.role, table->name)) {
        throw Unreadable{
            fmt::format("a change of {} by {} ({})", table->file, entry.author, store::name_of(entry.role)),
            "a scientist, who may change this table"};
    }
    Edit out{.number = number, .id = id_text(entry.id), .author = entry.author, .table = table->name};
    if (entry.act == act_add) {
        out.row = row_at(content, *table);
        if (table->name == TableName::decisions) {
            out.row.try_emplace("author", entry.author);
            out.row.try_emplace("at", iso_text(moment_of(entry)));
            out.row.try_emplace("reason", entry.reason);
        }
        return out;
    }
    out.act = entry.act == act_set ? Edit::Act::set : Edit::Act::withdraw;
    if (content.contains("added_by")) {
        out.added_by = text_at(content, "added_by");
    } else {
        out.row = row_at(content, *table);
    }
    if (out.act == Edit::Act::set) {
        out.cells = cells_at(content, *table);
    }
    return out;
}

void check_record(const store::Entry& entry) {
    const Json content = Json::parse(entry.content, nullptr, false);
    if (!content.is_object()) {
        throw Unreadable{"content that is no JSON object", "one, as docs/journal.md says"};
    }
    (void)text_at(content, "file");
    if (entry.role != store::Role::scientist) {
        throw Unreadable{
            fmt::format("a change of a file by {} ({})", entry.author, store::name_of(entry.role)),
            "a scientist, who may change files"};
    }
}

std::optional<store::EntryId> undone_by(const store::Entry& entry) {
    const Json content = Json::parse(entry.content, nullptr, false);
    const auto found = content.is_object() ? content.find("entry") : content.end();
    if (!content.is_object() || found == content.end() || !found->is_string()) {
        throw Unreadable{"no \"entry\" in its content", "the entry that it undoes"};
    }
    const auto id = parse_entry_id(found->get<std::string>());
    if (!id) {
        throw Unreadable{fmt::format("an entry \"{}\"", found->get<std::string>()),
                         "a device and a number, as 00c0ffee00c0ffee:12"};
    }
    return id;
}

class Reader {
  public:
    explicit Reader(std::span<const store::Entry> entries) : entries_(entries) {
        out_.entries.resize(entries.size());
        for (std::size_t i = 0; i < entries.size(); ++i) {
            places_.emplace(entries[i].id, i);
        }
    }

    ReadEntries read() && {
        // Undoing from the last: what undoes it comes later and has been seen.
        for (std::size_t i = entries_.size(); i-- > 0;) {
            out_.entries[i].number = i + 1;
            reading(i, [&] { read_one(i); });
        }
        for (std::size_t i = 0; i < entries_.size(); ++i) {
            reading(i, [&] { check_addition(i); });
        }
        study::sort_by_place(out_.complaints);
        return std::move(out_);
    }

  private:
    void read_one(std::size_t i) {
        const auto& entry = entries_[i];
        auto& read = out_.entries[i];
        if (entry.act == act_undo) {
            undo(i);
        } else if (entry.act == act_add || entry.act == act_set || entry.act == act_withdraw) {
            read.edit = edit_of(entry, i + 1);
        } else if (entry.act == act_record) {
            check_record(entry);
        } else {
            throw Unreadable{fmt::format("an act \"{}\"", entry.act),
                             "one that this version of the program knows"};
        }
    }

    // A change of a row that another entry added has to find that one before it; left out itself, or undone,
    // it leaves nothing to change.
    void check_addition(std::size_t i) {
        auto& edit = out_.entries[i].edit;
        if (!edit || edit->added_by.empty()) {
            return;
        }
        const auto id = parse_entry_id(edit->added_by);
        const auto target = id ? places_.find(*id) : places_.end();
        const std::string what =
            fmt::format("a change of a row that entry {} added, which ", edit->added_by.substr(0, 60));
        const auto refuse = [&](const char* found, const char* expected) {
            edit.reset();
            throw Unreadable{what + found, expected};
        };
        if (target == places_.end()) {
            refuse("is not here", "an entry of this journal; it may still be on another device");
        }
        if (target->second >= i) {
            refuse("comes later", "an entry from before; the clock of one of the two devices is far off");
        }
        const auto& adding = out_.entries[target->second].edit;
        const bool adds_here = !adding || (adding->act == Edit::Act::add && adding->table == edit->table);
        if (!adds_here) {
            refuse("added none of this table", "the entry that added the row");
        }
    }

    void undo(std::size_t i) {
        const auto target = places_.find(*undone_by(entries_[i]));
        if (target == places_.end()) {
            throw Unreadable{fmt::format("an undo of {}, which is not here", content_entry(i)),
                             "an entry of this journal; it may still be on another device"};
        }
        if (target->second >= i) {
            throw Unreadable{fmt::format("an undo of {}, which comes later", content_entry(i)),
                             "an entry from before"};
        }
        if (entries_[i].role != store::Role::scientist &&
            (entries_[i].role == store::Role::viewer ||
             entries_[target->second].role == store::Role::scientist)) {
            throw Unreadable{fmt::format("{} ({}) undoes what a {} did", entries_[i].author,
                                         store::name_of(entries_[i].role),
                                         store::name_of(entries_[target->second].role)),
                             "a scientist"};
        }
        if (!out_.entries[i].is_undone) {
            out_.entries[target->second].is_undone = true;
        }
    }

    [[nodiscard]] std::string content_entry(std::size_t i) const { return id_text(*undone_by(entries_[i])); }

    template <typename Work>
    void reading(std::size_t i, const Work& work) {
        try {
            work();
        } catch (const Unreadable& unreadable) {
            out_.complaints.push_back(
                {study::Severity::warning,
                 {.code = ErrorCode::bad_relation,
                  .found = fmt::format("entry {} of {} holds {}", id_text(entries_[i].id), entries_[i].author,
                                       unreadable.found),
                  .expected = unreadable.expected,
                  .remedy = "it counts for nothing; undo it, or make it again",
                  .place = {.file = study::journal_name, .line = i + 1}}});
        }
    }

    std::span<const store::Entry> entries_;
    std::map<store::EntryId, std::size_t> places_;
    ReadEntries out_;
};

} // namespace

std::string id_text(const store::EntryId& id) {
    return fmt::format("{}:{}", id.device.text(), id.sequence);
}

std::optional<store::EntryId> parse_entry_id(std::string_view text) {
    const auto colon = text.find(':');
    if (colon == std::string_view::npos) {
        return std::nullopt;
    }
    const auto device = store::DeviceId::parse(text.substr(0, colon));
    const auto digits = text.substr(colon + 1);
    std::uint64_t sequence = 0;
    const auto [end, error] = std::from_chars(digits.data(), digits.data() + digits.size(), sequence);
    if (!device || error != std::errc() || end != digits.data() + digits.size() || sequence == 0) {
        return std::nullopt;
    }
    return store::EntryId{.device = *device, .sequence = sequence};
}

Instant moment_of(const store::Entry& entry) {
    const auto us = entry.moment.wall_us + entry.moment.clock_offset_us.value_or(0);
    return Instant::unix_nanoseconds(us / 1'000'000 * 1'000'000'000);
}

std::string_view act_of(const Edit& edit) {
    switch (edit.act) {
    case Edit::Act::add:
        return act_add;
    case Edit::Act::set:
        return act_set;
    case Edit::Act::withdraw:
        return act_withdraw;
    }
    return "";
}

std::string content_of(const Edit& edit) {
    Json out{{"table", study::table(edit.table).word()}};
    if (!edit.added_by.empty()) {
        out["added_by"] = edit.added_by;
    } else {
        out["row"] = edit.row;
    }
    for (const auto& [column, change] : edit.cells) {
        out["cells"][column] = {{"was", change.was}, {"now", change.now}};
    }
    return out.dump();
}

study::Edits ReadEntries::edits() const {
    study::Edits out;
    for (const auto& entry : entries) {
        if (entry.edit && !entry.is_undone) {
            out.push_back(*entry.edit);
        }
    }
    return out;
}

ReadEntries read_entries(std::span<const store::Entry> entries) {
    return Reader(entries).read();
}

bool may_edit(store::Role role, TableName table) {
    switch (role) {
    case store::Role::scientist:
        return true;
    case store::Role::viewer:
        return false;
    case store::Role::crew:
        break;
    }
    switch (table) {
    case TableName::decisions:
    case TableName::declarations:
    case TableName::assemblies:
    case TableName::calibrations:
    case TableName::plates:
    case TableName::wells:
        return false;
    default:
        return true;
    }
}

} // namespace backeddy::app
