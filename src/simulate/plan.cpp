#include "simulate/plan.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <numeric>
#include <sstream>
#include <utility>

#include <fmt/format.h>
#include <toml++/toml.h>

#include "base/file.hpp"
#include "base/lines.hpp"
#include "base/number_text.hpp"
#include "simulate/condition.hpp"

namespace backeddy::simulate {

namespace {

template <typename Choice>
using Words = std::vector<std::pair<std::string_view, Choice>>;

const Words<ChamberKind> chamber_kinds{{"tube", ChamberKind::tube}, {"shore", ChamberKind::shore}};
const Words<TimeStyle> time_styles{
    {"iso_utc", TimeStyle::iso_utc},        {"iso_local", TimeStyle::iso_local},
    {"day_first", TimeStyle::day_first},    {"month_first_12h", TimeStyle::month_first_12h},
    {"elapsed", TimeStyle::elapsed},        {"epoch", TimeStyle::epoch},
    {"spreadsheet", TimeStyle::spreadsheet}};
const Words<Encoding> encodings{{"utf8", Encoding::utf8},
                                {"utf8_bom", Encoding::utf8_bom},
                                {"utf16", Encoding::utf16},
                                {"latin1", Encoding::latin1}};
const Words<Shape> shapes{{"wide", Shape::wide}, {"long", Shape::long_form}};
const Words<PumpRecord> pump_records{
    {"none", PumpRecord::none}, {"column", PumpRecord::column}, {"log", PumpRecord::log}};
const Words<FileSplit> file_splits{{"by_day", FileSplit::by_day}, {"by_session", FileSplit::by_session}};
const Words<FaultKind> fault_kinds{{"dead_pump", FaultKind::dead_pump},
                                   {"bubble", FaultKind::bubble},
                                   {"sensor_bubble", FaultKind::sensor_bubble},
                                   {"leak", FaultKind::leak},
                                   {"gap", FaultKind::gap},
                                   {"torn_file", FaultKind::torn_file},
                                   {"clock_slip", FaultKind::clock_slip},
                                   {"sensor_swap", FaultKind::sensor_swap},
                                   {"death", FaultKind::death},
                                   {"mistyped_fight", FaultKind::mistyped_fight}};
const Words<MeterAnalyte> meter_analytes{{"lactate", MeterAnalyte::lactate},
                                         {"glucose", MeterAnalyte::glucose}};
const Words<ExportShape> export_shapes{{"grid", ExportShape::grid}, {"list", ExportShape::list}};
const Words<char> separators{{"comma", ','}, {"semicolon", ';'}, {"tab", '\t'}};
const Words<char> decimals{{"point", '.'}, {"comma", ','}};

/// What a number of the brief may be, both ends included: far beyond what is usual, within what can be made.
struct Limits {
    double lowest = 0.0;
    double highest = 0.0;
    [[nodiscard]] bool hold(double value) const { return value >= lowest && value <= highest; }
    [[nodiscard]] std::string text() const { return fmt::format("from {} to {}", lowest, highest); }
};

/// One table of the brief. The first error of the whole brief is kept; every later read is then idle.
class Section {
  public:
    Section(const toml::table& table, std::string name, std::string file, std::optional<Error>& error)
        : table_(table), name_(std::move(name)), file_(std::move(file)), error_(error) {}

    void read(const char* key, double& target, Limits limits) {
        if (const auto* node = find(key)) {
            const auto value = node->value<double>();
            if (value && limits.hold(*value)) {
                target = *value;
            } else {
                wrong(*node, key, "a number " + limits.text());
            }
        }
    }
    void read(const char* key, std::optional<double>& target, Limits limits) {
        double value = 0.0;
        if (table_.contains(key)) {
            read(key, value, limits);
            target = value;
        } else {
            known_.emplace_back(key);
        }
    }
    void read(const char* key, int& target, Limits limits) {
        if (const auto* node = find(key)) {
            const auto value = node->value<int>();
            if (value && node->is_integer() && limits.hold(*value)) {
                target = *value;
            } else {
                wrong(*node, key, "a whole number " + limits.text());
            }
        }
    }
    void read(const char* key, bool& target) {
        if (const auto* node = find(key)) {
            if (node->is_boolean()) {
                target = **node->as_boolean();
            } else {
                wrong(*node, key, "true or false");
            }
        }
    }
    void read(const char* key, std::string& target) {
        if (const auto* node = find(key)) {
            if (node->is_string()) {
                target = **node->as_string();
            } else {
                wrong(*node, key, "text in quotes");
            }
        }
    }
    void read(const char* key, Range& target, Limits limits) {
        std::vector<double> pair;
        if (const auto* node = find(key)) {
            numbers(*node, key, pair);
            if (pair.size() == 2 && pair[0] <= pair[1] && limits.hold(pair[0]) && limits.hold(pair[1])) {
                target = {pair[0], pair[1]};
            } else {
                wrong(*node, key, "[from, to], each " + limits.text());
            }
        }
    }
    void read(const char* key, std::vector<int>& target, Limits limits, std::size_t most) {
        const auto* node = find(key);
        if (node == nullptr) {
            return;
        }
        std::vector<int> values;
        const auto* array = node->as_array();
        bool good = array != nullptr && !array->empty() && array->size() <= most;
        for (std::size_t i = 0; good && i < array->size(); ++i) {
            const auto value = array->get(i)->value<int>();
            good = value && array->get(i)->is_integer() && limits.hold(*value);
            values.push_back(value.value_or(0));
        }
        if (good) {
            target = std::move(values);
        } else {
            wrong(*node, key, fmt::format("a list of 1 to {} whole numbers {}", most, limits.text()));
        }
    }
    void read(const char* key, std::vector<double>& target, Limits limits, std::size_t most) {
        if (const auto* node = find(key)) {
            std::vector<double> values;
            numbers(*node, key, values);
            const bool good =
                !values.empty() && values.size() <= most &&
                std::all_of(values.begin(), values.end(), [&](double value) { return limits.hold(value); });
            if (good) {
                target = std::move(values);
            } else {
                wrong(*node, key, fmt::format("a list of 1 to {} numbers {}", most, limits.text()));
            }
        }
    }
    /// [year, month, day], a day of the calendar.
    void read_date(const char* key, std::vector<int>& target) {
        const auto* node = table_.get(key);
        std::vector<int> read_values = target;
        read(key, read_values, {1, 2200}, 3);
        const auto is_day = [](const std::vector<int>& d) {
            using namespace std::chrono;
            return d.size() == 3 && d[0] >= 1900 && d[0] <= 2200 &&
                   year_month_day(year(d[0]), month(static_cast<unsigned>(d[1])),
                                  day(static_cast<unsigned>(d[2])))
                       .ok();
        };
        if (is_day(read_values)) {
            target = std::move(read_values);
        } else if (node != nullptr) {
            wrong(*node, key, "[year, month, day] of a day from 1900 to 2200");
        }
    }
    void read(const char* key, std::vector<std::string>& target) {
        if (const auto* node = find(key)) {
            target.clear();
            if (const auto* array = node->as_array()) {
                for (const auto& element : *array) {
                    if (element.is_string()) {
                        target.push_back(**element.as_string());
                    }
                }
            }
            if (target.empty()) {
                wrong(*node, key, "a list of names");
            }
        }
    }
    void read(const char* key, CyclePlan& target, Limits limits) {
        std::vector<double> pair;
        if (const auto* node = find(key)) {
            numbers(*node, key, pair);
            if (pair.size() == 2 && limits.hold(pair[0]) && limits.hold(pair[1]) && pair[1] >= 1.0) {
                target = {.flush_s = pair[0], .sealed_s = pair[1]};
            } else {
                wrong(*node, key,
                      "[flush seconds, sealed seconds], each " + limits.text() + ", sealed at least 1");
            }
        }
    }
    template <typename Choice>
    void read(const char* key, const Words<Choice>& words, Choice& target) {
        std::string word;
        read(key, word);
        if (word.empty()) {
            return;
        }
        const auto found =
            std::find_if(words.begin(), words.end(), [&](const auto& pair) { return pair.first == word; });
        if (found != words.end()) {
            target = found->second;
            return;
        }
        std::vector<std::string> names;
        for (const auto& pair : words) {
            names.emplace_back(pair.first);
        }
        const auto near = nearest_name(word, names);
        complain({.code = ErrorCode::bad_setting,
                  .found = fmt::format("{} = \"{}\"", key, word),
                  .expected = fmt::format("one of {}", fmt::join(names, ", ")),
                  .remedy = near ? fmt::format("did you mean \"{}\"?", *near) : "choose one of them",
                  .place = place(table_[key].node())});
    }

    /// Whatever key was not read is unknown.
    void done() {
        for (const auto& [key, node] : table_) {
            const std::string word(key.str());
            if (std::find(known_.begin(), known_.end(), word) == known_.end()) {
                const auto near = nearest_name(word, known_);
                complain({.code = ErrorCode::unknown_name,
                          .found = fmt::format("\"{}\" in {}", word, name_),
                          .expected = fmt::format("one of {}", fmt::join(known_, ", ")),
                          .remedy = near ? fmt::format("did you mean \"{}\"?", *near) : "take it out",
                          .place = place(&node)});
            }
        }
    }

    void known(const char* key) { known_.emplace_back(key); }

  private:
    const toml::node* find(const char* key) {
        known_.emplace_back(key);
        return table_.get(key);
    }
    void numbers(const toml::node& node, const char* key, std::vector<double>& target) {
        if (const auto* array = node.as_array()) {
            for (const auto& element : *array) {
                const auto value = element.value<double>();
                if (!value) {
                    target.clear(); // half a list is no list
                    break;
                }
                target.push_back(*value);
            }
        }
        if (target.empty()) {
            wrong(node, key, "a list of numbers");
        }
    }
    [[nodiscard]] Place place(const toml::node* node) const {
        Place where{.file = file_};
        if (node != nullptr) {
            where.line = node->source().begin.line;
        }
        return where;
    }
    void wrong(const toml::node& node, const char* key, std::string_view expected) {
        std::string text;
        if (const auto* real = node.as_floating_point(); real != nullptr && std::isfinite(real->get())) {
            text = exact_text(real->get());
        } else {
            std::ostringstream value;
            node.visit([&](const auto& inner) { value << inner; });
            text = std::move(value).str();
        }
        if (text.size() > 80) {
            text = text.substr(0, 80) + "...";
        }
        complain({.code = ErrorCode::bad_setting,
                  .found = fmt::format("{} = {} in {}", key, text, name_),
                  .expected = std::string(expected),
                  .remedy = "write it so",
                  .place = place(&node)});
    }
    void complain(Error error) {
        if (!error_) {
            error_ = std::move(error);
        }
    }

    const toml::table& table_;
    std::string name_;
    std::string file_;
    std::optional<Error>& error_;
    std::vector<std::string> known_;
};

void read(Section& s, StudyPlan& p) {
    s.read("title", p.title);
    s.read("place", p.place);
    s.read("zone", p.zone);
    s.read("species", p.species);
    s.read("permit", p.permit);
    std::vector<int> date{p.first_year, p.first_month, p.first_day};
    s.read_date("first_day", date);
    p.first_year = date[0];
    p.first_month = date[1];
    p.first_day = date[2];
    s.read("fish_per_day", p.fish_per_day, {0, 1000}, 1000);
}

void read(Section& s, WaterPlan& p) {
    s.read("temperature_c", p.temperature_c, {-2, 40});
    s.read("warming_c_per_day", p.warming_c_per_day, {-2, 2});
    s.read("tide_c", p.tide_c, {0, 10});
    s.read("day_c", p.day_c, {0, 10});
    s.read("salinity", p.salinity, {0, 45});
    s.read("pressure_kpa", p.pressure_kpa, {50, 110});
    s.read("inflow_percent", p.inflow_percent, {1, 300});
    s.read("inflow_tide_percent", p.inflow_tide_percent, {0, 50});
}

void read(Section& s, FishPlan& p) {
    s.read("mass_kg", p.mass_kg, {0.001, 100});
    s.read("density_kg_per_l", p.density_kg_per_l, {0.51, 2});
    s.read("density_spread", p.density_spread, {0, 0.1});
    s.read("resting_mg_per_kg_h", p.resting_mg_per_kg_h, {1, 2000});
    s.read("reference_c", p.reference_c, {-2, 40});
    s.read("mass_exponent", p.mass_exponent, {0.1, 1.5});
    s.read("q10", p.q10, {0.5, 10});
    s.read("between_fish_share", p.between_fish_share, {0, 1});
    s.read("capture_ratio", p.capture_ratio, {1, 30});
    s.read("chase_ratio", p.chase_ratio, {1, 30});
    s.read("between_peaks_share", p.between_peaks_share, {0, 1});
    s.read("rise_s", p.rise_s, {0, 3600});
    s.read("fast_share", p.fast_share, {0, 1});
    s.read("fast_rate_per_h", p.fast_rate_per_h, {0.001, 1000});
    s.read("plateau_min", p.plateau_min, {0, 1440});
    s.read("slow_rate_per_h", p.slow_rate_per_h, {0.001, 100});
    s.read("handling_ratio", p.handling_ratio, {0, 30});
    s.read("handling_rate_per_h", p.handling_rate_per_h, {0.001, 1000});
    s.read("rhythm_share", p.rhythm_share, {0, 0.99});
    s.read("rhythm_high_h", p.rhythm_high_h, {0, 24});
    s.read("bouts_per_h", p.bouts_per_h, {0, 60});
    s.read("bout_ratio", p.bout_ratio, {0, 20});
    s.read("bout_hold_s", p.bout_hold_s, {0, 86400});
    s.read("mass_error_g", p.mass_error_g, {0, 1000});
}

void read(Section& s, TreatmentPlan& p) {
    s.read("name", p.name);
    s.read("peak_factor", p.peak_factor, {0, 10});
    s.read("slow_factor", p.slow_factor, {0.01, 100});
    s.read("blood_factor", p.blood_factor, {0, 10});
    s.read("injury_factor", p.injury_factor, {0, 10});
    s.read("fight_s", p.fight_s, {0, 7200});
    s.read("air_s", p.air_s, {0, 3600});
}

void read(Section& s, ProtocolPlan& p) {
    s.read("tube_min", p.tube_min, {1, 1440});
    s.read("chase_min", p.chase_min, {0, 120});
    s.read("air_s", p.air_s, {0, 3600});
    s.read("after_chase_min", p.after_chase_min, {1, 1440});
    s.read("transfer_min", p.transfer_min, {0, 1440});
    s.read("fishing_from_h", p.fishing_from_h, {0, 24});
    s.read("fishing_to_h", p.fishing_to_h, {0, 24});
    s.read("chase_from_h", p.chase_from_h, {0, 24});
    s.read("tube_blank_min", p.tube_blank_min, {0, 1440});
    s.read("shore_blank_min", p.shore_blank_min, {0, 1440});
    s.read("tube_cycle_s", p.tube, {0, 86400});
    s.read("tube_blank_cycle_s", p.tube_blank, {0, 86400});
    s.read("shore_cycle_s", p.shore, {0, 86400});
    s.read("shore_blank_cycle_s", p.shore_blank, {0, 86400});
}

void read(Section& s, ChamberPlan& p) {
    s.read("name", p.name);
    s.read("kind", chamber_kinds, p.kind);
    s.read("volume_l", p.volume_l, {0.01, 100000});
    s.read("loop_l", p.loop_l, {0, 1000});
    s.read("volume_error_share", p.volume_error_share, {0, 0.5});
    s.read("flow_l_per_min", p.flow_l_per_min, {0.001, 100000});
    s.read("loop_flow_l_per_min", p.loop_flow_l_per_min, {0, 100000});
    s.read("plug_cells", p.plug_cells, {1, 40});
    s.read("leak_l_per_min", p.leak_l_per_min, {0, 1000});
    s.read("mass_kg", p.mass_kg, {0, 1000});
    s.read("sensor", p.sensor);
    s.read("sensor_lag_s", p.sensor_lag_s, {0, 3600});
    s.read("gain_spread", p.gain_spread, {0, 1});
    s.read("offset_spread_percent", p.offset_spread_percent, {0, 100});
    s.read("drift_percent_per_day", p.drift_percent_per_day, {0, 100});
    s.read("white_sd_mg_per_l", p.white_sd_mg_per_l, {0, 10});
    s.read("coloured_sd_mg_per_l", p.coloured_sd_mg_per_l, {0, 10});
    s.read("coloured_time_s", p.coloured_time_s, {0, 86400});
    s.read("microbes_mg_per_h", p.microbes_mg_per_h, {0, 10000});
    s.read("microbes_growth_per_h", p.microbes_growth_per_h, {-1, 1});
}

void read(Section& s, TracePlan& p) {
    s.read("name", p.name);
    s.read("chambers", p.chambers);
    s.read("interval_s", p.interval_s, {0.1, 3600});
    s.read("clock", p.clock);
    s.read("time", time_styles, p.time);
    s.read("encoding", encodings, p.encoding);
    s.read("shape", shapes, p.shape);
    s.read("separator", separators, p.separator);
    s.read("decimal", decimals, p.decimal);
    s.read("windows_lines", p.windows_lines);
    s.read("oxygen_unit", p.oxygen_unit);
    s.read("temperature_unit", p.temperature_unit);
    s.read("oxygen_decimals", p.oxygen_decimals, {0, 9});
    s.read("temperature_decimals", p.temperature_decimals, {0, 9});
    s.read("assumed_salinity", p.assumed_salinity, {0, 45});
    s.read("assumed_pressure_kpa", p.assumed_pressure_kpa, {50, 110});
    s.read("preamble", p.preamble);
    s.read("pump", pump_records, p.pump);
    s.read("pump_clock", p.pump_clock);
    s.read("files", file_splits, p.files);
}

void read(Section& s, ClockPlan& p) {
    s.read("name", p.name);
    s.read("offset_s", p.offset_s, {-1000000000.0, 1e+09});
    s.read("drift_s_per_day", p.drift_s_per_day, {-3600, 3600});
}

void read(Section& s, FaultPlan& p) {
    s.read("kind", fault_kinds, p.kind);
    s.read("fish", p.fish, {0, 10000});
    s.read("stay", p.stay);
    s.read("after_h", p.after_h, {0, 10000});
    s.read("hours", p.hours, {0, 10000});
    s.read("name", p.name);
    s.read("day", p.day, {1, 1000});
    s.read("amount", p.amount, {-1000000000.0, 1e+09});
}

// ---- the fish's condition; its fish by number, 0 for none

constexpr Limits fish_number{0, 10000};
constexpr std::size_t most_listed_fish = 10000;

struct AnalyteKeys {
    const char* resting;
    const char* rise;
    const char* minutes;
};
void read(Section& s, const AnalyteKeys& keys, AnalytePlan& p, double most) {
    s.read(keys.resting, p.resting, {0, most});
    s.read(keys.rise, p.rise, {0, most});
    s.read(keys.minutes, p.minutes, {0.1, 1440});
}

void read(Section& s, BloodPlan& p) {
    read(s, {"cortisol_resting_ng_per_ml", "cortisol_rise_ng_per_ml", "cortisol_minutes"}, p.cortisol, 10000);
    read(s, {"lactate_resting_mmol_per_l", "lactate_rise_mmol_per_l", "lactate_minutes"}, p.lactate, 100);
    read(s, {"glucose_resting_mmol_per_l", "glucose_rise_mmol_per_l", "glucose_minutes"}, p.glucose, 100);
    read(s, {"haematocrit_resting_percent", "haematocrit_rise_percent", "haematocrit_minutes"}, p.haematocrit,
         60);
    s.read("fight_share_per_min", p.fight_share_per_min, {0, 10});
    s.read("air_share_per_min", p.air_share_per_min, {0, 10});
    s.read("between_fish_share", p.between_fish_share, {0, 2});
    s.read("volume_ml_per_kg", p.volume_ml_per_kg, {0.01, 20});
    s.read("ceiling_ml_per_kg", p.ceiling_ml_per_kg, {0.01, 100});
    s.read("haemolysed_fish", p.haemolysed_fish, fish_number);
    s.read("low_fish", p.low_fish, fish_number);
    s.read("low_ng_per_ml", p.low_ng_per_ml, {0, 10000});
    s.read("high_fish", p.high_fish, fish_number);
    s.read("high_ng_per_ml", p.high_ng_per_ml, {0, 10000});
}

void read(Section& s, MeterPlan& p) {
    s.read("name", p.name);
    s.read("analyte", meter_analytes, p.analyte);
    s.read("gain", p.gain, {0.01, 100});
    s.read("offset_mmol_per_l", p.offset, {-50, 50});
    s.read("error_sd_mmol_per_l", p.error_sd, {0, 50});
    s.read("reference_sd_mmol_per_l", p.reference_sd, {0, 50});
    s.read("pairs", p.pairs, {0, 1000});
    Range range{p.pairs_from, p.pairs_to};
    s.read("pairs_mmol_per_l", range, {0, 100});
    p.pairs_from = range.from;
    p.pairs_to = range.to;
}

void read(Section& s, PlatePlan& p) {
    s.read("name", p.name);
    s.read("export", export_shapes, p.shape);
    s.read("top", p.top, {0, 1e6});
    s.read("bottom", p.bottom, {0, 1e6});
    s.read("middle_ng_per_ml", p.middle_ng_per_ml, {1e-6, 1e6});
    s.read("slope", p.slope, {0.1, 10});
    s.read("noise_share", p.noise_share, {0, 1});
    s.read("noise_power", p.noise_power, {0, 1.5});
    s.read("edge_percent", p.edge_percent, {-90, 1000});
    s.read("standards_ng_per_ml", p.standards_ng_per_ml, {1e-6, 1e6}, 8);
    s.read("bad_standard", p.bad_standard, {0, 8});
    s.read("bad_factor", p.bad_factor, {0.01, 100});
    s.read("dilution", p.dilution, {1, 1e6});
    s.read("control_low_ng_per_ml", p.control_low_ng_per_ml, {1e-6, 1e6});
    s.read("control_high_ng_per_ml", p.control_high_ng_per_ml, {1e-6, 1e6});
    s.read("spike_ng_per_ml", p.spike_ng_per_ml, {1e-6, 1e6});
}

void read(Section& s, FinPlan& p) {
    s.read("scorers", p.scorers);
    s.read("both_every", p.both_every, fish_number);
    s.read("severity", p.severity, {-5, 5});
    s.read("between_fish_sd", p.between_fish_sd, {0, 5});
    s.read("between_fins_sd", p.between_fins_sd, {0, 5});
    s.read("holding", p.holding, {-3, 3});
    s.read("misjudged_share", p.misjudged_share, {0, 1});
    s.read("bleeding_share", p.bleeding_share, {0, 1});
}

void read(Section& s, ReflexPlan& p) {
    s.read("tests", p.tests);
    s.read("lost_share", p.lost_share, {0, 1});
    s.read("untested_fish", p.untested_fish, fish_number);
}

void read(Section& s, FatePlan& p) {
    s.read("tag_type", p.tag_type);
    s.read("implanted", p.implanted, {1, 10000}, most_listed_fish);
    s.read("held", p.held, {1, 10000}, most_listed_fish);
    s.read("held_days", p.held_days, {0.1, 365});
    s.read("look_h", p.look_h, {0.1, 1000});
    s.read("dead_in_pen", p.dead_in_pen, {1, 10000}, most_listed_fish);
    s.read("detected", p.detected, {1, 10000}, most_listed_fish);
    s.read("recaptured", p.recaptured, {1, 10000}, most_listed_fish);
    s.read("lost", p.lost, {1, 10000}, most_listed_fish);
    s.read("watch_days", p.watch_days, {0.1, 3650});
}

Error bad(std::string found, std::string expected, const std::string& file) {
    return {.code = ErrorCode::bad_setting,
            .found = std::move(found),
            .expected = std::move(expected),
            .remedy = "mend the brief",
            .place = {.file = file}};
}

template <typename Part>
void read_one(const toml::table& root, const char* name, const std::string& file, std::optional<Error>& error,
              Part& part) {
    if (const auto* table = root.get_as<toml::table>(name)) {
        Section section(*table, fmt::format("[{}]", name), file, error);
        read(section, part);
        section.done();
    } else if (root.contains(name) && !error) {
        error = bad(fmt::format("{} that is no single table", name), fmt::format("[{}]", name), file);
    }
}

/// The same of a section that a brief may do without.
template <typename Part>
void read_one(const toml::table& root, const char* name, const std::string& file, std::optional<Error>& error,
              std::optional<Part>& part) {
    if (root.contains(name)) {
        read_one(root, name, file, error, part.emplace());
    }
}

template <typename Part>
void read_many(const toml::table& root, const char* name, const std::string& file,
               std::optional<Error>& error, std::vector<Part>& parts) {
    if (const auto* array = root.get_as<toml::array>(name)) {
        for (const auto& element : *array) {
            if (const auto* table = element.as_table()) {
                Section section(*table, fmt::format("[[{}]]", name), file, error);
                read(section, parts.emplace_back());
                section.done();
            }
        }
    } else if (root.contains(name) && !error) {
        error = bad(fmt::format("{} that is no list of tables", name), fmt::format("[[{}]]", name), file);
    }
}

// A table as text again below its heading, its keys in the order of the file.
std::string section_text(const std::string& heading, const toml::table& table) {
    std::vector<std::pair<std::uint64_t, std::string>> lines;
    for (const auto& [key, value] : table) {
        std::ostringstream line;
        line << key.str() << " = ";
        value.visit([&](const auto& node) { line << node; });
        lines.emplace_back(value.source().begin.line, line.str());
    }
    std::sort(lines.begin(), lines.end());
    std::string text = heading + "\n";
    for (const auto& line : lines) {
        text += line.second + "\n";
    }
    return text;
}

// [deck] and [permit], for the study's own brief; and the rods, at which the season is fished.
void read_deck(const toml::table& root, SimulationPlan& plan) {
    for (const char* name : {"deck", "permit"}) {
        if (const auto* table = root.get_as<toml::table>(name)) {
            plan.deck += section_text(fmt::format("[{}]", name), *table) + "\n";
        }
    }
    if (const auto* rods = root["deck"]["rods"].as_array()) {
        for (const auto& rod : *rods) {
            plan.rods.push_back(rod.value_or(std::string()));
        }
    }
}

// Each [[question]] as text again.
std::vector<std::string> question_texts(const toml::table& root, const std::string& file,
                                        std::optional<Error>& error) {
    std::vector<std::string> out;
    const auto* array = root.get_as<toml::array>("question");
    if (array == nullptr && root.contains("question") && !error) {
        error = bad("question that is no list of tables", "[[question]]", file);
    }
    for (std::size_t i = 0; array != nullptr && i < array->size(); ++i) {
        const auto* table = array->get_as<toml::table>(i);
        if (table == nullptr) {
            continue;
        }
        out.push_back(section_text("[[question]]", *table));
    }
    return out;
}

template <typename Part>
bool has_name(const std::vector<Part>& parts, const std::string& name) {
    return std::any_of(parts.begin(), parts.end(), [&](const Part& part) { return part.name == name; });
}

Expected<void> check_numbers(const SimulationPlan& plan, const std::string& file) {
    const auto& fish = plan.fish;
    if (plan.fish_count() < 1) {
        return fail(bad("no fish in fish_per_day", "at least one", file));
    }
    constexpr int most_fish = 20'000;
    if (plan.fish_count() > most_fish) {
        return fail(bad(fmt::format("fish_per_day with {} fish in all", plan.fish_count()),
                        fmt::format("at most {}", most_fish), file));
    }
    if (!(fish.mass_kg.from > 0.0) || !(fish.density_kg_per_l > 0.5) || !(fish.resting_mg_per_kg_h > 0.0) ||
        !(fish.q10 > 0.0) || !(fish.rhythm_share >= 0.0 && fish.rhythm_share < 1.0) ||
        !(fish.fast_rate_per_h > 0.0) || !(fish.slow_rate_per_h > 0.0) || !(fish.handling_rate_per_h > 0.0)) {
        return fail(bad("a mass, density, rate or q10 of 0 or less in [fish]", "above 0", file));
    }
    for (const auto& chamber : plan.chambers) {
        if (!(chamber.volume_l > 0.0) || !(chamber.loop_l >= 0.0) || !(chamber.flow_l_per_min > 0.0) ||
            !(chamber.loop_flow_l_per_min >= 0.0) ||
            !(chamber.plug_cells >= 1.0 && chamber.plug_cells <= 40.0) ||
            chamber.plug_cells != std::floor(chamber.plug_cells)) {
            return fail(bad(fmt::format("chamber {}", chamber.name),
                            "volume and flow above 0, loop 0 or more, plug_cells a whole number from 1 to 40",
                            file));
        }
    }
    for (const auto& trace : plan.traces) {
        if (!(trace.interval_s >= 0.1) || trace.oxygen_decimals < 0 || trace.oxygen_decimals > 9 ||
            trace.temperature_decimals < 0 || trace.temperature_decimals > 9) {
            return fail(
                bad(fmt::format("trace {}", trace.name), "interval_s from 0.1, decimals 0 to 9", file));
        }
        if (trace.separator == trace.decimal) {
            return fail(
                bad(fmt::format("trace {} with comma for both", trace.name), "another separator", file));
        }
        const std::vector<std::string> units{"mg/L", "umol/L", "mL/L", "%", "kPa", "hPa", "mmHg"};
        if (std::find(units.begin(), units.end(), trace.oxygen_unit) == units.end() ||
            (trace.temperature_unit != "C" && trace.temperature_unit != "F")) {
            return fail(bad(fmt::format("units of trace {}", trace.name),
                            fmt::format("oxygen one of {}; temperature C or F", fmt::join(units, ", ")),
                            file));
        }
    }
    return {};
}

Expected<void> check_names(SimulationPlan& plan, const std::string& file) {
    std::vector<std::string> taken;
    for (const auto& trace : plan.traces) {
        // Its files go into a folder of its name.
        if (trace.name.empty() || trace.name.front() == '.' ||
            trace.name.find_first_of("/\\") != std::string::npos) {
            return fail(bad(fmt::format("trace \"{}\"", trace.name),
                            "a name that can be a folder's: no slash, no dot in front", file));
        }
        if (!has_name(plan.clocks, trace.clock) ||
            (trace.pump == PumpRecord::log && !has_name(plan.clocks, trace.pump_clock))) {
            return fail(bad(fmt::format("trace {} on an unknown clock", trace.name),
                            "a [[clock]] of that name", file));
        }
        for (const auto& chamber : trace.chambers) {
            if (!has_name(plan.chambers, chamber) ||
                std::find(taken.begin(), taken.end(), chamber) != taken.end()) {
                return fail(bad(fmt::format("trace {} with chamber {}", trace.name, chamber),
                                "a [[chamber]] of that name that no other trace has", file));
            }
            taken.push_back(chamber);
        }
        if (trace.time == TimeStyle::elapsed && trace.files != FileSplit::by_session) {
            return fail(bad(fmt::format("trace {} with elapsed time by day", trace.name),
                            "files = \"by_session\"", file));
        }
        if (trace.time == TimeStyle::elapsed && !trace.preamble) {
            return fail(
                bad(fmt::format("trace {} with elapsed time and nothing that says since when", trace.name),
                    "preamble = true, which names the start", file));
        }
    }
    for (const auto& chamber : plan.chambers) {
        if (std::find(taken.begin(), taken.end(), chamber.name) == taken.end()) {
            return fail(
                bad(fmt::format("chamber {} in no trace", chamber.name), "a [[trace]] that lists it", file));
        }
    }
    for (const auto& fault : plan.faults) {
        const bool of_trace = fault.kind == FaultKind::torn_file;
        const bool of_clock = fault.kind == FaultKind::clock_slip;
        if ((of_trace && !has_name(plan.traces, fault.name)) ||
            (of_clock && !has_name(plan.clocks, fault.name)) ||
            (!of_trace && !of_clock && (fault.fish < 1 || fault.fish > plan.fish_count()))) {
            return fail(bad(fmt::format("fault {}", word_of(fault.kind)),
                            "the name of a trace or clock, or the number of a fish", file));
        }
    }
    return {};
}

} // namespace

std::string_view word_of(FaultKind kind) {
    for (const auto& [word, value] : fault_kinds) {
        if (value == kind) {
            return word;
        }
    }
    return "";
}

std::string word_of(MeterAnalyte analyte) {
    return analyte == MeterAnalyte::lactate ? "lactate" : "glucose";
}

int SimulationPlan::fish_count() const {
    return std::accumulate(study.fish_per_day.begin(), study.fish_per_day.end(), 0);
}

Expected<SimulationPlan> parse_plan(std::string_view toml_text, const std::string& file) {
    SimulationPlan plan;
    plan.text = std::string(toml_text);
    if (auto error = too_long_a_line(toml_text, file)) {
        return fail(std::move(*error));
    }
    toml::table root;
    try {
        root = toml::parse(toml_text, file);
    } catch (const toml::parse_error& fault) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = std::string(fault.description()),
                     .expected = "TOML",
                     .remedy = "mend the line",
                     .place = {.file = file, .line = fault.source().begin.line}});
    }
    std::optional<Error> error;
    Section top(root, "the brief", file, error);
    for (const auto* name :
         {"study", "water", "fish", "rig", "unhooking", "protocol", "chamber", "trace", "clock", "fault",
          "blood", "meter", "plate", "fins", "reflexes", "fates", "question", "deck", "permit"}) {
        top.known(name);
    }
    top.done();
    read_one(root, "study", file, error, plan.study);
    read_one(root, "water", file, error, plan.water);
    read_one(root, "fish", file, error, plan.fish);
    read_many(root, "rig", file, error, plan.rigs);
    read_many(root, "unhooking", file, error, plan.unhookings);
    read_one(root, "protocol", file, error, plan.protocol);
    read_many(root, "chamber", file, error, plan.chambers);
    read_many(root, "trace", file, error, plan.traces);
    read_many(root, "clock", file, error, plan.clocks);
    read_many(root, "fault", file, error, plan.faults);
    read_one(root, "blood", file, error, plan.blood);
    read_many(root, "meter", file, error, plan.meters);
    read_many(root, "plate", file, error, plan.plates);
    read_one(root, "fins", file, error, plan.fins);
    read_one(root, "reflexes", file, error, plan.reflexes);
    read_one(root, "fates", file, error, plan.fates);
    plan.questions = question_texts(root, file, error);
    read_deck(root, plan);
    if (error) {
        return fail(std::move(*error));
    }
    if (plan.rigs.empty()) {
        plan.rigs.push_back({.name = "single_hook"});
    }
    if (plan.unhookings.empty()) {
        plan.unhookings.push_back({.name = "in_water"});
    }
    if (auto names = check_names(plan, file); !names) {
        return fail(std::move(names).error());
    }
    if (auto numbers = check_numbers(plan, file); !numbers) {
        return fail(std::move(numbers).error());
    }
    if (auto error_found = check_condition(plan)) {
        error_found->place.file = file;
        return fail(std::move(*error_found));
    }
    return plan;
}

Expected<SimulationPlan> read_plan(const std::filesystem::path& path) {
    auto text = read_file(path, std::uint64_t{16} << 20);
    if (!text) {
        return fail(std::move(text).error());
    }
    return parse_plan(*text, path.string());
}

} // namespace backeddy::simulate
