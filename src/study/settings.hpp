#pragma once
// Every setting of the brief with key, unit, limits, default and reason: the one list from which the reader
// validates, `new` writes its commented study.toml, the report prints what was used, and the docs are made.

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "study/brief.hpp"

namespace backeddy::study {

enum class SettingKind : std::uint8_t { text, word, number, whole, yes_no, numbers, texts, time, channel };

/// How to call a kind in a complaint: "a number", "a list of texts".
[[nodiscard]] std::string in_words(SettingKind kind);

/// One key of a section that fills an `Owner`.
template <typename Owner>
struct SettingOf {
    std::string section; ///< "peak"; of lists "trace"
    std::string key;     ///< "window_s"
    SettingKind kind = SettingKind::text;
    std::string unit;
    std::string why;                ///< why this default; what it is for
    std::vector<std::string> words; ///< of SettingKind::word
    std::optional<double> least;
    std::optional<double> most;
    std::vector<double> choices; ///< of a number that may be one of these only
    std::function<SettingValue(const Owner&)> get;
    std::function<void(Owner&, const SettingValue&)> set; ///< the value has been checked
};

using Setting = SettingOf<Brief>;

/// All single settings, section after section in the order of the template.
[[nodiscard]] const std::vector<Setting>& settings();
/// Of one [[trace]], one [[trace.column]] and one [[states.timetable]] (its times aside, which need a zone).
[[nodiscard]] const std::vector<SettingOf<TraceSource>>& trace_settings();
[[nodiscard]] const std::vector<SettingOf<TraceColumn>>& trace_column_settings();
[[nodiscard]] const std::vector<SettingOf<TimetableEntry>>& timetable_settings();
/// Of one [[meter]], its pairs aside.
[[nodiscard]] const std::vector<SettingOf<Meter>>& meter_settings();
/// Of one [[question]].
[[nodiscard]] const std::vector<SettingOf<Question>>& question_settings();

/// The sections in order, each with one sentence.
struct SectionDefinition {
    std::string name;
    std::string what;
};
[[nodiscard]] const std::vector<SectionDefinition>& sections();

/// Two numbers of one section of which the first may not lie above the second.
struct SettingBounds {
    std::string section;
    std::string least;
    std::string most;
};
[[nodiscard]] const std::vector<SettingBounds>& setting_bounds();

[[nodiscard]] const Setting* find_setting(const std::string& section, const std::string& key);

/// As study.toml writes it: "60", "true", "\"both\"", "[30, 60]"; empty for a value that is not set.
[[nodiscard]] std::string toml_text(const SettingValue& value);

/// A setting as it was used, for the report and provenance.
struct SettingUsed {
    std::string section;
    std::string key;
    std::string value; ///< as in study.toml; "not set" when it is not
    std::string unit;
    std::string default_value;
    std::string why;
    bool is_default = true;
};
/// Those of seasons stand behind the others, in sections "season autumn: peak"; then each meter's, in
/// sections "meter strip: lactate", and what each question says, in sections "question rig_peak".
[[nodiscard]] std::vector<SettingUsed> settings_used(const Brief& brief);

/// "peak.window_s = 30\nseason autumn 2026-09-01T00:00:00Z 2026-12-01T00:00:00Z: peak.window_s = 20\n": the
/// settings of the analysis that are not at their default, those of seasons among them. Left away is what is
/// no choice of the analysis: what the study, its water, loggers, meters and permit are, what Deck offers and
/// the report shows, and what decides no number ([plausible]). A setting that a later version adds changes
/// nothing here until it is set.
[[nodiscard]] std::string analysis_form(const Brief& brief);

/// Why this setting cannot differ between seasons; empty when it can.
[[nodiscard]] std::string why_not_by_season(const std::string& section, const std::string& key);

} // namespace backeddy::study
