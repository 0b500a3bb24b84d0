#include "app/deck.hpp"

#include <algorithm>
#include <utility>

#include "app/brief_text.hpp"
#include "base/file.hpp"
#include "intake/brief.hpp"
#include "intake/tables.hpp"

namespace backeddy::app {

namespace {

using study::TableName;

void add_new(std::vector<std::string>& list, const std::string& text) {
    if (!text.empty() && std::ranges::find(list, text) == list.end()) {
        list.push_back(text);
    }
}

/// What the brief offers; else what each row has.
template <typename Rows, typename Member>
std::vector<std::string> offered(const std::vector<std::string>& listed, const Rows& rows, Member member) {
    std::vector<std::string> out = listed;
    if (out.empty()) {
        for (const auto& row : rows) {
            add_new(out, row.*member);
        }
    }
    return out;
}

std::vector<std::string> offered_species(const study::Brief& brief, const study::Tables& tables) {
    std::vector<std::string> out;
    for (const auto* list : {&brief.study.species, &brief.deck.species}) {
        for (const auto& each : *list) {
            add_new(out, each);
        }
    }
    for (const auto& fish : tables.fish) {
        add_new(out, fish.species);
    }
    return out;
}

std::vector<DeckAssembly> assemblies_of(const study::Tables& tables) {
    std::vector<DeckAssembly> out;
    for (const auto& row : tables.assemblies) {
        auto found = std::ranges::find(out, row.id.text(), &DeckAssembly::name);
        if (found == out.end()) {
            found = out.insert(out.end(), {.name = row.id.text()});
        }
        found->volume = row.chamber_and_loop();
    }
    return out;
}

} // namespace

const std::vector<TableName>& deck_tables() {
    static const std::vector<TableName> all{TableName::fish,  TableName::encounters, TableName::events,
                                            TableName::stays, TableName::blood,      TableName::fins,
                                            TableName::body,  TableName::reflexes,   TableName::fates};
    return all;
}

Expected<DeckFacts> deck_facts(const std::filesystem::path& folder, const study::Edits& edits) {
    const auto text = read_file(folder / brief_name, most_brief_bytes);
    if (!text) {
        return fail(text.error());
    }
    DeckFacts out{.brief = intake::read_brief(*text, brief_name).brief};
    const auto tables = intake::read_tables(folder, out.brief, edits).tables;
    const auto& deck = out.brief.deck;
    out.offers = {.rods = offered(deck.rods, tables.events, &study::Event::rod),
                  .rigs = offered(deck.rigs, tables.encounters, &study::Encounter::rig),
                  .unhooking = offered(deck.unhooking, tables.encounters, &study::Encounter::unhooking),
                  .landing = offered(deck.landing, tables.encounters, &study::Encounter::landing),
                  .species = offered_species(out.brief, tables)};
    out.assemblies = assemblies_of(tables);
    for (const auto name : deck_tables()) {
        auto rows = intake::read_file_rows(folder, name, out.brief.study.zone);
        if (!rows) {
            return fail(std::move(rows).error());
        }
        out.rows.emplace(name, std::move(*rows));
    }
    return out;
}

} // namespace backeddy::app
