#include "watch/kept.hpp"

#include <array>
#include <charconv>
#include <cmath>
#include <utility>

#include <fmt/format.h>

#include "base/number_text.hpp"

namespace backeddy::watch {

namespace {

void keep_alarms(std::vector<KeptAlarm>& into, const Alarms& group, std::optional<std::size_t> chamber,
                 const Now& now) {
    for (std::size_t c = 0; c < group.size(); ++c) {
        const auto& alarm = group[c];
        if (alarm.state == AlarmState::normal) {
            continue;
        }
        KeptAlarm kept{.id = {.cause = static_cast<Cause>(c), .chamber = chamber},
                       .state = alarm.state,
                       .shelved_until = std::nullopt,
                       .words = alarm.words,
                       .by = alarm.by};
        if (alarm.shelved_until_s) {
            kept.shelved_until = now.wall + Duration::seconds(*alarm.shelved_until_s - now.steady_s);
        }
        into.push_back(std::move(kept));
    }
}

Alarm alarm_of(const KeptAlarm& kept, const Now& now) {
    Alarm alarm;
    alarm.state = kept.state;
    alarm.active = alarm.raw =
        kept.state == AlarmState::unacknowledged || kept.state == AlarmState::acknowledged;
    alarm.is_suppressed = kept.state == AlarmState::suppressed;
    alarm.raw_since_s = alarm.since_s = now.steady_s;
    alarm.words = kept.words;
    alarm.by = kept.by;
    if (kept.shelved_until) {
        alarm.shelved_until_s = now.steady_s + (*kept.shelved_until - now.wall).seconds();
    }
    return alarm;
}

} // namespace

Kept keep(const State& state, const Plan& plan) {
    Kept kept{.at = state.last.wall};
    for (std::size_t i = 0; i < state.chambers.size(); ++i) {
        const auto& chamber = state.chambers[i];
        kept.chambers.push_back(
            {.name = plan.chambers[i].name, .stay = chamber.stay, .inflow_percent = chamber.inflow_percent});
        keep_alarms(kept.alarms, chamber.alarms, i, state.last);
    }
    keep_alarms(kept.alarms, state.station_alarms, std::nullopt, state.last);
    return kept;
}

State resume(const Kept& kept, const Plan& plan, const Now& now) {
    State state;
    state.kept_at = kept.at;
    state.chambers.resize(plan.chambers.size());
    std::vector<std::optional<std::size_t>> place(kept.chambers.size());
    for (std::size_t k = 0; k < kept.chambers.size(); ++k) {
        for (std::size_t i = 0; i < plan.chambers.size(); ++i) {
            if (plan.chambers[i].name == kept.chambers[k].name) {
                place[k] = i;
                state.chambers[i].stay = kept.chambers[k].stay;
                state.chambers[i].inflow_percent = kept.chambers[k].inflow_percent;
            }
        }
    }
    for (const auto& each : kept.alarms) {
        const auto cause = static_cast<std::size_t>(each.id.cause);
        if (!each.id.chamber) {
            state.station_alarms[cause] = alarm_of(each, now);
        } else if (*each.id.chamber < place.size() && place[*each.id.chamber]) {
            state.chambers[*place[*each.id.chamber]].alarms[cause] = alarm_of(each, now);
        }
    }
    return state;
}

// ---- as text: one line per thing, fields between tabs, what people wrote escaped

namespace {

constexpr std::string_view heading = "backeddy watch 1";
constexpr std::string_view none = "-";

std::string escaped(std::string_view text) {
    std::string out = "'"; // so that an empty text and "-" stay what they are
    for (const char c : text) {
        if (c == '\t' || c == '\n' || c == '\r' || c == '%') {
            out += fmt::format("%{:02x}", static_cast<unsigned>(static_cast<unsigned char>(c)));
        } else {
            out += c;
        }
    }
    return out;
}

std::string number(double value) {
    return fmt::format("{}", value); // the shortest text that reads back the same
}
std::string number(std::optional<double> value) {
    return value ? number(*value) : std::string(none);
}
std::string moment(Instant value) {
    return fmt::format("{}", value.unix_nanoseconds());
}
std::string moment(std::optional<Instant> value) {
    return value ? moment(*value) : std::string(none);
}

constexpr std::array uses{Use::empty, Use::fish, Use::water, Use::cleaning};
constexpr std::array due_kinds{Due::seal, Due::blood, Due::other};

/// The fields of one line, taken one by one; any that is not as it should be marks the whole as bad.
class Fields {
  public:
    explicit Fields(std::string_view line) : rest_(line) {}

    std::string_view next() {
        if (is_at_end_) {
            is_bad_ = true;
            return {};
        }
        const auto tab = rest_.find('\t');
        const auto field = rest_.substr(0, tab);
        is_at_end_ = tab == std::string_view::npos;
        rest_ = is_at_end_ ? std::string_view() : rest_.substr(tab + 1);
        return field;
    }
    double number() { return checked(parse_real(next())); }
    std::optional<double> maybe_number() {
        const auto field = next();
        return field == none ? std::nullopt : std::optional(checked(parse_real(field)));
    }
    Instant moment() { return checked(parse_moment(next())); }
    std::optional<Instant> maybe_moment() {
        const auto field = next();
        return field == none ? std::nullopt : std::optional(checked(parse_moment(field)));
    }
    std::string text() { return checked(unescaped(next())); }
    template <typename T, std::size_t N>
    T one_of(const std::array<T, N>& all) {
        const auto field = next();
        for (const T each : all) {
            if (word(each) == field) {
                return each;
            }
        }
        is_bad_ = true;
        return all[0];
    }
    template <typename T>
    T checked(std::optional<T> value) {
        is_bad_ = is_bad_ || !value;
        return std::move(value).value_or(T());
    }
    [[nodiscard]] bool is_good() const { return !is_bad_ && is_at_end_; }

  private:
    static std::optional<double> parse_real(std::string_view field) {
        double value = 0.0;
        const auto [end, error] = std::from_chars(field.data(), field.data() + field.size(), value);
        const bool is_good =
            error == std::errc() && end == field.data() + field.size() && std::isfinite(value);
        return is_good ? std::optional(value) : std::nullopt;
    }
    static std::optional<Instant> parse_moment(std::string_view field) {
        const auto value = parse_whole(field);
        return value ? std::optional(Instant::unix_nanoseconds(*value)) : std::nullopt;
    }
    static std::optional<std::string> unescaped(std::string_view field) {
        if (field.empty() || field.front() != '\'') {
            return std::nullopt;
        }
        std::string out;
        for (std::size_t i = 1; i < field.size(); ++i) {
            if (field[i] != '%') {
                out += field[i];
                continue;
            }
            unsigned code = 0;
            const char* from = field.data() + i + 1;
            if (field.size() < i + 3 || std::from_chars(from, from + 2, code, 16).ptr != from + 2) {
                return std::nullopt;
            }
            out += static_cast<char>(code);
            i += 2;
        }
        return out;
    }

    std::string_view rest_;
    bool is_at_end_ = false;
    bool is_bad_ = false;
};

std::string chamber_lines(const KeptChamber& chamber) {
    const auto& stay = chamber.stay;
    auto out = fmt::format("chamber\t{}\t{}\t{}\t{}\t{}\t{}\t{}\n", escaped(chamber.name), word(stay.use),
                           uptake::word(stay.role), number(stay.mass_kg), moment(stay.handled_at),
                           moment(stay.cleaning_until), number(chamber.inflow_percent));
    for (const auto& spell : stay.spells) {
        out +=
            fmt::format("spell\t{}\t{}\t{}\t{}\t{}\t{}\t{}\n", moment(spell.from), number(spell.sealed_s),
                        number(spell.uptake_mg_per_h), number(spell.error_mg_per_h),
                        number(spell.end_mg_per_h), number(spell.late_share), number(spell.late_share_error));
    }
    for (const auto& due : stay.dues) {
        out += fmt::format("due\t{}\t{}\n", word(due.what), moment(due.at));
    }
    return out;
}

KeptChamber read_chamber(Fields& fields) {
    KeptChamber chamber;
    chamber.name = fields.text();
    chamber.stay.use = fields.one_of(uses);
    chamber.stay.role = fields.checked(uptake::role_from(fields.next()));
    chamber.stay.mass_kg = fields.maybe_number();
    chamber.stay.handled_at = fields.moment();
    chamber.stay.cleaning_until = fields.maybe_moment();
    chamber.inflow_percent = fields.number();
    return chamber;
}

Spell read_spell(Fields& fields) {
    Spell spell;
    spell.from = fields.moment();
    spell.sealed_s = fields.number();
    spell.uptake_mg_per_h = fields.number();
    spell.error_mg_per_h = fields.number();
    spell.end_mg_per_h = fields.number();
    spell.late_share = fields.number();
    spell.late_share_error = fields.number();
    return spell;
}

KeptAlarm read_alarm(Fields& fields) {
    KeptAlarm alarm;
    alarm.id.cause = fields.checked(cause_from(fields.next()));
    if (const auto chamber = fields.maybe_number()) {
        alarm.id.chamber = static_cast<std::size_t>(*chamber);
    }
    alarm.state = fields.checked(alarm_state_from(fields.next()));
    alarm.shelved_until = fields.maybe_moment();
    alarm.words = fields.text();
    alarm.by = fields.text();
    return alarm;
}

/// False when the line is none of ours.
bool read_line(Kept& kept, std::string_view line) {
    Fields fields(line);
    const auto kind = fields.next();
    if (kind == "at") {
        kept.at = fields.moment();
    } else if (kind == "chamber") {
        kept.chambers.push_back(read_chamber(fields));
    } else if (kind == "spell" && !kept.chambers.empty()) {
        kept.chambers.back().stay.spells.push_back(read_spell(fields));
    } else if (kind == "due" && !kept.chambers.empty()) {
        const Due what = fields.one_of(due_kinds);
        kept.chambers.back().stay.dues.push_back({.what = what, .at = fields.moment()});
    } else if (kind == "alarm") {
        kept.alarms.push_back(read_alarm(fields));
    } else {
        return false;
    }
    return fields.is_good();
}

Error bad_line(std::size_t number, std::string_view line) {
    return {.code = ErrorCode::bad_row,
            .found = std::string(line.substr(0, 80)),
            .expected = "a line of a kept watch, as this version writes it",
            .remedy = "start the watch without it and enter which fish is in which chamber",
            .place = {.line = number}};
}

} // namespace

std::string to_text(const Kept& kept) {
    auto out = fmt::format("{}\nat\t{}\n", heading, moment(kept.at));
    for (const auto& chamber : kept.chambers) {
        out += chamber_lines(chamber);
    }
    for (const auto& alarm : kept.alarms) {
        out += fmt::format("alarm\t{}\t{}\t{}\t{}\t{}\t{}\n", info(alarm.id.cause).word,
                           alarm.id.chamber ? fmt::format("{}", *alarm.id.chamber) : std::string(none),
                           word(alarm.state), moment(alarm.shelved_until), escaped(alarm.words),
                           escaped(alarm.by));
    }
    return out + "end\n"; // a file cut short is seen
}

Expected<Kept> kept_from(std::string_view text) {
    Kept kept;
    std::size_t number = 0;
    bool has_ended = false;
    while (!text.empty()) {
        const auto line = text.substr(0, text.find('\n'));
        text.remove_prefix(std::min(text.size(), line.size() + 1));
        ++number;
        if (number == 1 ? line != heading : has_ended || !(line == "end" || read_line(kept, line))) {
            return fail(bad_line(number, line));
        }
        has_ended = line == "end";
    }
    if (!has_ended) {
        return fail(bad_line(number, "(it ends before its last line)"));
    }
    return kept;
}

} // namespace backeddy::watch
