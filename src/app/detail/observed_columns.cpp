#include <map>

#include "app/detail/observed_rows.hpp"
#include "study/observed.hpp"
#include "study/words.hpp"

namespace backeddy::app::detail {

namespace {

struct Described {
    const char* title;
    const char* unit;
    study::Stage stage;
};

// Columns of the tables themselves; one that is not here is called by its own name.
const std::map<std::string, Described>& table_columns() {
    using study::Stage;
    static const std::map<std::string, Described> all{
        {"fish", {"fish", "", Stage::before}},
        {"species", {"species", "", Stage::before}},
        {"mass_g", {"mass", "g", Stage::before}},
        {"fork_length_mm", {"fork length", "mm", Stage::before}},
        {"where", {"place", "", Stage::before}},
        {"who", {"who", "", Stage::before}},
        {"water_temperature_c", {"water temperature at capture", "degC", Stage::before}},
        {"landing", {"landing", "", Stage::during}},
        {"hook_location", {"hook location", "", Stage::during}}};
    return all;
}

} // namespace

void describe_columns(const study::Brief& brief, findings::Observations& rows) {
    for (const auto& name : rows.names()) {
        auto& column = rows.column_of(name);
        if (const auto* observed = study::find_observed(name)) {
            column.title = observed->title;
            column.unit = observed->unit;
            column.stage = observed->stage;
        } else if (const auto known = table_columns().find(name); known != table_columns().end()) {
            column.title = known->second.title;
            column.unit = known->second.unit;
            column.stage = known->second.stage;
        }
        if (const auto said = brief.column_stages.find(name); said != brief.column_stages.end()) {
            column.stage = study::value_of<study::Stage>(said->second).value_or(study::Stage::unknown);
        }
    }
}

} // namespace backeddy::app::detail
