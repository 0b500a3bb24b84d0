#include "pages/deck_routes.hpp"

#include <algorithm>
#include <iterator>
#include <utility>

#include <nlohmann/json.hpp>

#include "app/deck.hpp"
#include "pages/detail/answers.hpp"
#include "pages/detail/deck_parts.hpp"
#include "pages/detail/edit_parts.hpp"
#include "study/words.hpp"

namespace backeddy::pages {

namespace {

using Json = nlohmann::json;
using server::json_response;
using server::Request;
using server::Response;
using study::words_of;

template <typename Number>
Json or_null(const std::optional<Number>& value) {
    return value ? Json(*value) : Json();
}

/// In units of so many seconds; through nanoseconds, since 60 s are to read as 60.
Json length_in(double seconds, const std::optional<Duration>& length) {
    return length ? Json(static_cast<double>(length->nanoseconds()) / (seconds * 1e9)) : Json();
}

Json permit_json(const study::Brief& brief) {
    return {{"number", brief.study.permit},
            {"fish", or_null(brief.permit.fish)},
            {"chases_per_fish", or_null(brief.permit.chases_per_fish)},
            {"air_s", length_in(1.0, brief.permit.air)},
            {"at_death", brief.permit.at_death},
            {"watched_by", brief.permit.watched_by}};
}

Json blood_json(const study::Brief& brief) {
    return {{"ceiling_ml_per_kg", or_null(brief.blood.ceiling_ml_per_kg)},
            {"ceiling_within_h", length_in(3600.0, brief.blood.ceiling_within)},
            {"due_min", length_in(60.0, brief.deck.blood_due)}};
}

template <typename Choice>
Json words_for(const std::vector<Choice>& choices) {
    Json out = Json::array();
    for (const auto choice : choices) {
        out.push_back(study::word_of(choice));
    }
    return out;
}

Json words_json() {
    return {{"event", words_of(study::EventKind{})},          {"role", words_of(uptake::StayRole{})},
            {"ended", words_of(study::StayEnding{})},         {"fate", words_of(condition::FateKind{})},
            {"fate_stage", words_of(condition::FateStage{})}, {"tag_place", words_of(condition::TagPlace{})},
            {"occasion", words_of(condition::Occasion{})},    {"analyte", words_of(condition::Analyte{})},
            {"matrix", words_of(condition::Matrix{})}};
}

Json rows_json(const app::DeckFacts& facts) {
    Json out = Json::object();
    for (const auto& [table, rows] : facts.rows) {
        Json list = Json::array();
        for (const auto& row : rows) {
            list.push_back({{"cells", row.cells}, {"in_file", row.in_file}});
        }
        out[std::string(study::table(table).word())] = std::move(list);
    }
    return out;
}

Json facts_json(const app::DeckFacts& facts, const std::string& identity) {
    const auto& brief = facts.brief;
    Json assemblies = Json::array();
    for (const auto& each : facts.assemblies) {
        assemblies.push_back({{"assembly", each.name}, {"volume_l", each.volume.litres()}});
    }
    return {{"study", brief.study.title},
            {"zone", brief.study.zone},
            {"identity", identity},
            {"simulated", brief.study.simulated},
            {"permit", permit_json(brief)},
            {"rods", facts.offers.rods},
            {"rigs", facts.offers.rigs},
            {"unhooking", facts.offers.unhooking},
            {"landing", facts.offers.landing},
            {"hook_locations", words_of(condition::HookPlace{})},
            {"lost_reasons", brief.deck.lost_reasons},
            {"handling", brief.deck.handling},
            {"species", facts.offers.species},
            {"anaesthetics", brief.deck.anaesthetics},
            {"blood", blood_json(brief)},
            {"seal_within_s", length_in(1.0, brief.deck.seal_within)},
            {"assemblies", std::move(assemblies)},
            {"fins", {{"fins", words_for(brief.fins.options.fins)}, {"scale", brief.fins.scale.levels}}},
            {"body",
             {{"areas", words_for(brief.body.areas)},
              {"scale", brief.body.scale.levels},
              {"hook_wound", words_of(condition::Bleeding{})}}},
            {"reflexes", brief.reflexes.tests},
            {"words", words_json()},
            {"rows", rows_json(facts)}};
}

Response deck(app::Desk& desk) {
    const auto identity = desk.identity();
    if (!identity) {
        return refusal(identity.error());
    }
    const auto facts = app::deck_facts(desk.folder(), desk.journal().read.edits());
    return facts ? json_response(detail::text_of(facts_json(*facts, *identity))) : refusal(facts.error());
}

Response clock(const app::Desk& desk) {
    return json_response(Json{{"now_us", desk.now().unix_nanoseconds() / 1000}}.dump());
}

} // namespace

std::vector<server::Route> deck_routes(app::Desk& desk, RoleOfName role_of_name) {
    std::vector<server::Route> out{
        {.pattern = "/api/deck", .handler = [&desk](const Request&) { return deck(desk); }},
        {.pattern = "/api/clock", .handler = [&desk](const Request&) { return clock(desk); }}};
    for (auto more : {detail::carried_routes(desk, std::move(role_of_name)), detail::queue_routes(desk),
                      detail::photo_routes(desk)}) {
        std::ranges::move(more, std::back_inserter(out));
    }
    return out;
}

} // namespace backeddy::pages
