#pragma once
// What the boat's log has to know of a study, to go on by itself where there is no network.

#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "intake/grid.hpp"
#include "quantity/quantity.hpp"
#include "study/brief.hpp"
#include "study/columns.hpp"

namespace backeddy::app {

struct DeckAssembly {
    std::string name;
    Volume volume = Volume::litres(0.0); ///< chamber and loop, as they stand last
};

/// What is offered to tap: as the brief lists it; where it lists nothing, what the tables have already.
struct DeckOffers {
    std::vector<std::string> rods;
    std::vector<std::string> rigs;
    std::vector<std::string> unhooking;
    std::vector<std::string> landing;
    std::vector<std::string> species; ///< the study's, then what else may come up
};

struct DeckFacts {
    study::Brief brief;
    DeckOffers offers;
    std::vector<DeckAssembly> assemblies; ///< in the order of the table
    /// Of the files, without the journal, whose entries are laid over them in their order: the tables that
    /// are written on deck.
    std::map<study::TableName, std::vector<intake::FileRow>> rows;
};

/// The tables of DeckFacts::rows.
[[nodiscard]] const std::vector<study::TableName>& deck_tables();

/// Reads them. A brief or table that is wrong in part gives what can be read of it. Fails where the brief or
/// a table's file cannot be read at all.
[[nodiscard]] Expected<DeckFacts> deck_facts(const std::filesystem::path& folder, const study::Edits& edits);

} // namespace backeddy::app
