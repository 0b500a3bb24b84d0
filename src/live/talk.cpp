#include "live/talk.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <map>
#include <utility>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "uptake/role.hpp"
#include "watch/alarm_list.hpp"

namespace backeddy::live {

namespace {

using nlohmann::json;
using namespace watch;

std::string_view phase_word(Phase phase) {
    return phase == Phase::sealed ? "sealed" : "flush";
}

json number(std::optional<double> value) {
    return value && std::isfinite(*value) ? json(*value) : json(nullptr);
}

json chamber_name(std::optional<std::size_t> chamber, const Plan& plan) {
    return chamber && *chamber < plan.chambers.size() ? json(plan.chambers[*chamber].name) : json(nullptr);
}

json spells_json(const Stay& stay) {
    json out = json::array();
    for (const Spell& spell : stay.spells) {
        out.push_back({{"from", iso_text(spell.from)},
                       {"sealed_s", spell.sealed_s},
                       {"mg_per_h", spell.uptake_mg_per_h},
                       {"error_mg_per_h", spell.error_mg_per_h}});
    }
    return out;
}

json chamber_json(const watch::Watch& watch, std::size_t index) {
    const Glance glance = watch.glance(index);
    const Stay& stay = watch.state().chambers[index].stay;
    json dues = json::array();
    for (const DueAt& due : stay.dues) {
        dues.push_back({{"what", word(due.what)}, {"at", iso_text(due.at)}});
    }
    json out{{"name", glance.name},
             {"use", word(glance.use)},
             {"role", stay.is_used() ? json(uptake::word(stay.role)) : json(nullptr)},
             {"mass_kg", number(stay.mass_kg)},
             {"handled_at", stay.is_used() ? json(iso_text(stay.handled_at)) : json(nullptr)},
             {"phase", phase_word(glance.phase)},
             {"why", word(glance.why)},
             {"why_in_words", in_words(glance.why)},
             {"by_hand", glance.by_hand},
             {"oxygen_percent", number(glance.oxygen_percent)},
             {"floor_percent", glance.floor_percent},
             {"celsius", number(glance.celsius)},
             {"next_change_s", number(glance.next_change_s)},
             {"uptake", nullptr},
             {"spells", spells_json(stay)},
             {"dues", std::move(dues)},
             {"worst", glance.worst ? json(info(*glance.worst).word) : json(nullptr)},
             {"sounds", glance.sounds}};
    if (glance.uptake) {
        out["uptake"] = {{"mg_per_h", glance.uptake->mg_per_h},
                         {"error_mg_per_h", glance.uptake->error_mg_per_h}};
    }
    return out;
}

void add_alarms(const Alarms& group, std::optional<std::size_t> chamber, const watch::Watch& watch,
                double now_s, json& out) {
    for (std::size_t i = 0; i < causes; ++i) {
        const Alarm& alarm = group[i];
        if (!is_listed(alarm) && alarm.state != AlarmState::shelved) {
            continue;
        }
        const CauseInfo& row = info(static_cast<Cause>(i));
        out.push_back({{"chamber", chamber_name(chamber, watch.plan())},
                       {"cause", row.word},
                       {"title", row.title},
                       {"to_do", row.to_do},
                       {"priority", word(row.priority)},
                       {"state", word(alarm.state)},
                       {"is_active", alarm.active},
                       {"since_s", std::max(0.0, now_s - alarm.since_s)},
                       {"words", alarm.words},
                       {"by", alarm.by},
                       {"first_out", alarm.first_out},
                       {"sounds", sounds(alarm, rule_of(row.cause), now_s)},
                       {"may_be_shelved", row.priority != Priority::fish_at_risk}});
    }
}

std::string line(const json& document) {
    return document.dump(-1, ' ', false, json::error_handler_t::replace);
}

struct EventWriter {
    const Plan& plan;
    json& out;

    void operator()(const PhaseBegan& e) const {
        out.update({{"event", "phase"},
                    {"phase", phase_word(e.phase)},
                    {"why", word(e.why)},
                    {"planned_s", e.planned_s},
                    {"below_start_floor", e.below_start_floor}});
    }
    void operator()(const SpellEnded& e) const {
        out.update({{"event", "spell"},
                    {"sealed_s", e.sealed_s},
                    {"planned_s", e.planned_s},
                    {"why", word(e.why)},
                    {"slope_mg_per_l_h", number(e.slope_mg_per_l_h)},
                    {"slope_error_mg_per_l_h", number(e.slope_error_mg_per_l_h)},
                    {"uptake_mg_per_h", number(e.uptake_mg_per_h)},
                    {"usable", e.usable}});
    }
    void operator()(const AlarmChanged& e) const {
        out.update({{"event", "alarm"},
                    {"cause", info(e.alarm.cause).word},
                    {"from", word(e.from)},
                    {"to", word(e.to)},
                    {"announce", e.announce},
                    {"first_out", e.first_out},
                    {"words", e.words},
                    {"by", e.by}});
    }
    void operator()(const Flood& e) const { out.update({{"event", "flood"}, {"began", e.began}}); }
    void operator()(const HandAnswered& e) const {
        out.update({{"event", "hand"}, {"done", e.done}, {"by", e.by}, {"words", e.words}});
    }
    void operator()(const Gap& e) const {
        out.update({{"event", "gap"}, {"temperature", e.temperature}, {"length_s", e.length_s}});
    }
};

struct EventTeller {
    std::string operator()(const PhaseBegan& e) const {
        return e.phase == Phase::sealed
                   ? fmt::format("sealed for {:.0f} min: {}{}", e.planned_s / 60.0, in_words(e.why),
                                 e.below_start_floor ? "; below the oxygen it should start from" : "")
                   : fmt::format("flush: {}", in_words(e.why));
    }
    std::string operator()(const SpellEnded& e) const {
        return e.usable ? fmt::format("{:.0f} mg/h in the spell that ended (background not taken off)",
                                      e.uptake_mg_per_h)
                        : std::string("the spell that ended is too short for a slope");
    }
    std::string operator()(const AlarmChanged& e) const {
        const CauseInfo& row = info(e.alarm.cause);
        switch (e.to) {
        case AlarmState::unacknowledged:
            return fmt::format("ALARM, {}: {}{}{}. {}", word(row.priority), row.title,
                               e.words.empty() ? "" : ": ", e.words, row.to_do);
        case AlarmState::acknowledged:
        case AlarmState::shelved:
            return fmt::format("{}: {} by {}", row.title, word(e.to), e.by);
        case AlarmState::returned:
            return fmt::format("{}: over, and nobody has acknowledged it", row.title);
        case AlarmState::normal:
            return e.from == AlarmState::acknowledged ? fmt::format("{}: over", row.title) : std::string();
        case AlarmState::suppressed:
            return {};
        }
        return {};
    }
    std::string operator()(const Flood& e) const {
        return e.began ? "many alarms at once: the first of each chamber says where to look"
                       : "the flood of alarms is over";
    }
    std::string operator()(const HandAnswered& e) const {
        return e.words.empty() ? std::string() : fmt::format("{}: {}", e.by, e.words);
    }
    std::string operator()(const Gap& e) const {
        return fmt::format("no {} for {:.0f} s", e.temperature ? "temperature" : "oxygen", e.length_s);
    }
};

// ---------------------------------------------------------------- hands

Error bad(std::string found, std::string expected) {
    return {.code = ErrorCode::bad_row,
            .found = std::move(found),
            .expected = std::move(expected),
            .remedy = "say it again as expected; nothing was done"};
}

/// Fields of a hand's object; the first fault is remembered, so that acts read like lists.
class Fields {
  public:
    explicit Fields(const json& object) : object_(object) {}

    double positive(const char* name) {
        const auto value = maybe_positive(name);
        if (!value) {
            miss(name, "a number above 0");
        }
        return value.value_or(0.0);
    }
    std::optional<double> maybe_positive(const char* name) {
        const auto found = object_.find(name);
        if (found == object_.end() || found->is_null()) {
            return {};
        }
        if (!found->is_number() || !(found->get<double>() > 0.0) || !std::isfinite(found->get<double>())) {
            miss(name, "a number above 0");
            return {};
        }
        return found->get<double>();
    }
    std::string text(const char* name, std::size_t most = 1'000) {
        const auto found = object_.find(name);
        if (found == object_.end() || !found->is_string() ||
            found->get_ref<const std::string&>().size() > most) {
            miss(name, "a text");
            return {};
        }
        return found->get<std::string>();
    }
    template <typename T>
    T word_of(const char* name, const std::function<std::optional<T>(std::string_view)>& read,
              const char* expected) {
        const auto said = text(name);
        const auto value = read(said);
        if (!value) {
            miss(name, expected);
        }
        return value.value_or(T{});
    }

    [[nodiscard]] const std::optional<Error>& fault() const { return fault_; }

  private:
    void miss(const char* name, const char* expected) {
        if (!fault_) {
            const auto found = object_.find(name);
            fault_ = bad(found == object_.end() ? fmt::format("there is no \"{}\"", name)
                                                : fmt::format("\"{}\" is {}", name, line(*found)),
                         fmt::format("{} as \"{}\"", expected, name));
        }
    }
    const json& object_;
    std::optional<Error> fault_;
};

Cause cause_of(Fields& fields) {
    return fields.word_of<Cause>("cause", cause_from, "the word of an alarm's cause");
}

Due due_of(Fields& fields) {
    return fields.word_of<Due>(
        "what",
        [](std::string_view said) -> std::optional<Due> {
            for (const Due each : {Due::seal, Due::blood, Due::other}) {
                if (word(each) == said) {
                    return each;
                }
            }
            return {};
        },
        "seal, blood or other");
}

using ReadAct = std::function<Act(Fields&)>;

const std::map<std::string, ReadAct, std::less<>>& acts() {
    static const std::map<std::string, ReadAct, std::less<>> table{
        {"put_in",
         [](Fields& f) -> Act {
             return hand::PutIn{.role =
                                    f.word_of<StayRole>("role", uptake::role_from, "a role, as in stays.csv"),
                                .mass_kg = f.maybe_positive("mass_kg")};
         }},
        {"taken_out", [](Fields&) -> Act { return hand::TakenOut{}; }},
        {"disturbed", [](Fields&) -> Act { return hand::Disturbed{}; }},
        {"weighed", [](Fields& f) -> Act { return hand::Weighed{.mass_kg = f.positive("mass_kg")}; }},
        {"clean", [](Fields& f) -> Act { return hand::Clean{.minutes = f.positive("minutes")}; }},
        {"hold", [](Fields& f) -> Act { return hand::Hold{.minutes = f.positive("minutes")}; }},
        {"flush", [](Fields& f) -> Act { return hand::Flush{.minutes = f.positive("minutes")}; }},
        {"resume", [](Fields&) -> Act { return hand::Resume{}; }},
        {"expect",
         [](Fields& f) -> Act {
             return hand::Expect{.what = due_of(f),
                                 .at =
                                     f.word_of<Instant>("at", parse_iso, "a moment (2026-06-14T21:05:00Z)")};
         }},
        {"done", [](Fields& f) -> Act { return hand::Done{.what = due_of(f)}; }},
        {"acknowledge", [](Fields& f) -> Act { return hand::Acknowledge{.cause = cause_of(f)}; }},
        {"quiet", [](Fields& f) -> Act { return hand::Quiet{.cause = cause_of(f)}; }},
        {"shelve",
         [](Fields& f) -> Act {
             return hand::Shelve{
                 .cause = cause_of(f), .minutes = f.positive("minutes"), .reason = f.text("reason")};
         }},
        {"unshelve", [](Fields& f) -> Act { return hand::Unshelve{.cause = cause_of(f)}; }},
    };
    return table;
}

std::string all_acts() {
    std::string out;
    for (const auto& [name, read] : acts()) {
        out += (out.empty() ? "" : ", ") + name;
    }
    return out;
}

Expected<std::optional<std::size_t>> chamber_of(const json& object, const Plan& plan) {
    const auto said = object.find("chamber");
    if (said == object.end() || said->is_null()) {
        return std::optional<std::size_t>();
    }
    std::vector<std::string> names;
    for (std::size_t i = 0; i < plan.chambers.size(); ++i) {
        if (*said == plan.chambers[i].name) {
            return std::optional(i);
        }
        names.push_back(plan.chambers[i].name);
    }
    return fail(bad("chamber " + line(*said), fmt::format("one of {}", fmt::join(names, ", "))));
}

} // namespace

std::string now_json(const watch::Watch& watch, const Now& now, const Surroundings& around) {
    json chambers = json::array();
    json alarms = json::array();
    for (std::size_t i = 0; i < watch.plan().chambers.size(); ++i) {
        chambers.push_back(chamber_json(watch, i));
        add_alarms(watch.state().chambers[i].alarms, i, watch, now.steady_s, alarms);
    }
    add_alarms(watch.state().station_alarms, {}, watch, now.steady_s, alarms);
    return line({{"at", iso_text(now.wall)},
                 {"through", around.through},
                 {"devices_lost", around.devices},
                 {"samples_fault", around.samples_fault},
                 {"chambers", std::move(chambers)},
                 {"alarms", std::move(alarms)},
                 {"flood", watch.state().flood.is_on}});
}

std::string event_json(const Event& event, const Plan& plan) {
    json out{{"at", iso_text(event.at)}, {"chamber", chamber_name(event.chamber, plan)}};
    std::visit(EventWriter{plan, out}, event.what);
    return line(out);
}

std::string event_words(const Event& event, const Plan& plan) {
    const std::string words = std::visit(EventTeller{}, event.what);
    return words.empty() || !event.chamber ? words : plan.chambers[*event.chamber].name + ": " + words;
}

Expected<Hand> hand_from(std::string_view text, const Plan& plan) {
    const json object = json::parse(text, nullptr, false);
    if (!object.is_object()) {
        return fail(bad("no JSON object",
                        R"(an object like {"chamber":"1","by":"A. Keen","act":"hold","minutes":5})"));
    }
    Fields fields(object);
    const auto chamber = chamber_of(object, plan);
    if (!chamber) {
        return fail(chamber.error());
    }
    Hand out{.chamber = *chamber, .by = fields.text("by", 200), .act = hand::TakenOut{}};
    const std::string act = fields.text("act");
    const auto known = acts().find(act);
    if (!fields.fault() && known == acts().end()) {
        return fail(bad(fmt::format("act \"{}\"", act), "one of " + all_acts()));
    }
    if (known != acts().end()) {
        out.act = known->second(fields);
    }
    if (fields.fault()) {
        return fail(*fields.fault());
    }
    return out;
}

} // namespace backeddy::live
