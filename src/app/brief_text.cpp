#include "app/brief_text.hpp"

#include <algorithm>
#include <optional>
#include <utility>

#include "app/journal.hpp"
#include "base/file.hpp"
#include "base/hash.hpp"
#include "intake/brief.hpp"
#include "intake/tables.hpp"
#include "study/relations.hpp"

namespace backeddy::app {

namespace fs = std::filesystem;

Expected<BriefText> read_brief_text(const fs::path& folder) {
    auto text = read_file(folder / brief_name, most_brief_bytes);
    if (!text) {
        return fail(std::move(text).error());
    }
    auto sha256 = sha256_hex(*text);
    return BriefText{.text = std::move(*text), .sha256 = std::move(sha256)};
}

std::vector<study::Complaint> complaints_of_brief(const fs::path& folder, std::string_view text) {
    auto read = intake::read_brief(text, brief_name);
    auto out = std::move(read.complaints);
    if (study::stops_a_run(out)) {
        return out; // what follows would only be of what could not be read
    }
    auto tables = intake::read_tables(folder, read.brief, read_journal(folder).read.edits());
    std::ranges::move(tables.complaints, std::back_inserter(out));
    std::ranges::move(study::check_relations(read.brief, tables.tables), std::back_inserter(out));
    return out;
}

std::optional<Error> made_worse_by(const fs::path& folder, const std::vector<study::Complaint>& complaints) {
    const auto standing = read_brief_text(folder);
    const auto before =
        standing ? complaints_of_brief(folder, standing->text) : std::vector<study::Complaint>();
    for (const auto& complaint : complaints) {
        if (complaint.severity == study::Severity::stops_the_run &&
            std::ranges::find(before, complaint) == before.end()) {
            return complaint.error;
        }
    }
    return std::nullopt;
}

Expected<void> replace_brief(const fs::path& folder, const std::string& was, std::string_view text) {
    const auto standing = read_brief_text(folder);
    if (!standing) {
        return fail(standing.error());
    }
    if (standing->sha256 != was) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = "somebody has saved another study.toml since this one was opened",
                     .expected = "the one that was opened",
                     .remedy = "keep a copy of your text, open the brief again, and make the change in it"});
    }
    return write_file_whole(folder / brief_name, text);
}

} // namespace backeddy::app
