#pragma once
// What people did in the program, as edits of the study's tables: the one reading of journal entries, for
// run, serve and watch alike.

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "series/instant.hpp"
#include "store/entry.hpp"
#include "study/complaint.hpp"
#include "study/edit.hpp"

namespace backeddy::app {

// Acts whose content this program reads, as JSON:
//   add       {"table": "events", "row": {"at": "...", "event": "landed", "fish": "T01"}}
//   set       {"table": "fish", "row": {"fish": "T01"}, "cells": {"mass_g": {"was": "", "now": "512"}}}
//   withdraw  {"table": "events", "added_by": "00c0ffee00c0ffee:12"}
//   undo      {"entry": "00c0ffee00c0ffee:12"}
//   record    {"file": "study.toml", "was": {"sha256": "...", "text": "..."}, "now": {"sha256": "..."}}
// `row` of set and withdraw holds the cells by which a row of the file is found; `added_by` names the entry
// that added the row instead. All cells are texts; see study/edit.hpp. A record says what was done to a file
// of the folder; it changes no table, and undoing it does nothing to the file.
inline constexpr std::string_view act_add = "add";
inline constexpr std::string_view act_set = "set";
inline constexpr std::string_view act_withdraw = "withdraw";
inline constexpr std::string_view act_undo = "undo";
inline constexpr std::string_view act_record = "record";

/// "00c0ffee00c0ffee:12", and back.
[[nodiscard]] std::string id_text(const store::EntryId& id);
[[nodiscard]] std::optional<store::EntryId> parse_entry_id(std::string_view text);

/// When it was done, by the server's clock as far as the device's offset is known; whole seconds.
[[nodiscard]] Instant moment_of(const store::Entry& entry);

/// The content of an entry that makes this edit (its number and id do not enter).
[[nodiscard]] std::string content_of(const study::Edit& edit);
[[nodiscard]] std::string_view act_of(const study::Edit& edit);

/// What became of one entry.
struct ReadEntry {
    std::uint64_t number = 0; ///< its place in the order, from 1
    bool is_undone = false;
    /// Nothing for an undo or a record, and for an entry that has no effect: then a complaint says why.
    std::optional<study::Edit> edit;
};

struct ReadEntries {
    std::vector<ReadEntry> entries; ///< one for each, in their order
    /// Entries that were left out: content that is none of the above, a table or column that is not there, an
    /// act that the author's role may not do. Warnings, at the entry's number.
    std::vector<study::Complaint> complaints;

    /// Those that count, in their order.
    [[nodiscard]] study::Edits edits() const;
};

/// `entries` in their order (store::comes_before). An entry is undone when an undo of it is not undone
/// itself, so that an undo of an undo does it again.
[[nodiscard]] ReadEntries read_entries(std::span<const store::Entry> entries);

/// Whether somebody in this role may change this table: crew all that is logged on deck and ashore, a
/// scientist also what judges and what measures (decisions, assemblies, calibrations, plates); a viewer
/// nothing.
[[nodiscard]] bool may_edit(store::Role role, study::TableName table);

} // namespace backeddy::app
