#include "study/words.hpp"

#include <algorithm>
#include <array>

#include "base/error.hpp"

namespace backeddy::study {

const std::vector<std::string>& words_of(uptake::StayRole) {
    static const std::vector<std::string> words = [] {
        std::vector<std::string> out;
        for (const auto role : uptake::all_roles()) {
            out.emplace_back(uptake::word(role));
        }
        return out;
    }();
    return words;
}

const std::vector<std::string>& words_of(StayEnding) {
    static const std::vector<std::string> words{"done",         "died",      "escaped",
                                                "welfare_stop", "equipment", "opened"};
    return words;
}

const std::vector<std::string>& words_of(EventKind) {
    static const std::vector<std::string> words{
        "lines_in",    "lines_out",   "bite",      "hook_up",     "lost",      "landed",     "back_in_water",
        "sealed",      "chase_start", "chase_end", "air_start",   "air_end",   "transfer",   "blood",
        "anaesthetic", "tagged",      "weighed",   "disturbance", "cleaning",  "opened",     "righting_lost",
        "released",    "died",        "role_note", "sensor_swap", "lights_on", "lights_off", "note"};
    return words;
}

const std::vector<std::string>& words_of(CalibrationPoint) {
    static const std::vector<std::string> words{"zero", "air"};
    return words;
}

const std::vector<std::string>& words_of(DecisionAct) {
    static const std::vector<std::string> words{"exclude",    "include",  "mark",
                                                "move_start", "move_end", "note"};
    return words;
}

const std::vector<std::string>& words_of(TreatmentSight) {
    static const std::vector<std::string> words{"not_said", "hidden", "seen"};
    return words;
}

const std::vector<std::string>& words_of(uptake::Mark) {
    static const std::vector<std::string> words{"good", "doubtful", "unusable"};
    return words;
}

const std::vector<std::string>& words_of(QuestionFamily) {
    static const std::vector<std::string> words{
        "automatic", "normal", "log_normal", "binomial", "poisson", "negative_binomial", "ordinal", "time"};
    return words;
}

const std::vector<std::string>& words_of(BetterIs) {
    static const std::vector<std::string> words{"not_said", "higher", "lower"};
    return words;
}

const std::vector<std::string>& words_of(Stage) {
    static const std::vector<std::string> words{"unknown", "assigned", "before", "during", "after"};
    return words;
}

const std::vector<std::string>& words_of(condition::Analyte) {
    static const std::vector<std::string> words = [] {
        std::vector<std::string> out;
        for (std::size_t i = 0; i <= static_cast<std::size_t>(condition::Analyte::chloride); ++i) {
            out.emplace_back(condition::name_of(static_cast<condition::Analyte>(i)));
        }
        return out;
    }();
    return words;
}

const std::vector<std::string>& words_of(condition::Matrix) {
    static const std::vector<std::string> words{"plasma", "serum",  "whole_blood", "water",
                                                "mucus",  "faeces", "other"};
    return words;
}

const std::vector<std::string>& words_of(condition::Haemolysis) {
    static const std::vector<std::string> words{"not_said", "none", "slight", "marked"};
    return words;
}

const std::vector<std::string>& words_of(condition::WellKind) {
    static const std::vector<std::string> words{"empty",   "standard", "zero",  "blank",
                                                "control", "sample",   "spiked"};
    return words;
}

const std::vector<std::string>& words_of(condition::Fin) {
    static const std::vector<std::string> words{"dorsal",        "caudal",         "anal",
                                                "left_pectoral", "right_pectoral", "left_pelvic",
                                                "right_pelvic",  "adipose"};
    return words;
}

const std::vector<std::string>& words_of(condition::Occasion) {
    static const std::vector<std::string> words{"landing", "before_holding", "after_holding"};
    return words;
}

const std::vector<std::string>& words_of(condition::Bleeding) {
    static const std::vector<std::string> words{"none", "slight", "moderate", "heavy"};
    return words;
}

const std::vector<std::string>& words_of(condition::FateKind) {
    static const std::vector<std::string> words{"seen_alive", "tagged",   "held", "released", "detected",
                                                "recaptured", "tag_shed", "lost", "dead"};
    return words;
}

const std::vector<std::string>& words_of(condition::FateStage) {
    static const std::vector<std::string> words{"play",  "tube",    "transfer",     "chamber",
                                                "chase", "holding", "after_release"};
    return words;
}

const std::vector<std::string>& words_of(condition::TagPlace) {
    static const std::vector<std::string> words{"external", "implant"};
    return words;
}

const std::vector<std::string>& words_of(ScoredFin) {
    static const std::vector<std::string> words = [] {
        std::vector<std::string> out = words_of(condition::Fin{});
        out.emplace_back("all");
        return out;
    }();
    return words;
}

const std::vector<std::string>& words_of(ScoredPart) {
    static const std::vector<std::string> words{"head", "back", "left_flank", "right_flank", "belly",
                                                "tail", "all",  "left_eye",   "right_eye",   "hook_wound"};
    return words;
}

const std::vector<std::string>& words_of(CellsPartedBy) {
    static const std::vector<std::string> words{"comma", "semicolon", "tab", "spaces"};
    return words;
}

const std::vector<std::string>& words_of(DecimalIs) {
    static const std::vector<std::string> words{"point", "comma"};
    return words;
}

const std::vector<std::string>& words_of(condition::BodyArea) {
    static const std::vector<std::string> words{"head", "back", "left_flank", "right_flank", "belly", "tail"};
    return words;
}

const std::vector<std::string>& words_of(condition::HookPlace) {
    static const std::vector<std::string> words{"upper_jaw",     "lower_jaw", "jaw_corner",
                                                "roof_of_mouth", "tongue",    "gills",
                                                "gullet",        "eye",       "outside"};
    return words;
}

const std::vector<std::string>& words_of(condition::CurveChoice) {
    static const std::vector<std::string> words{"four", "five", "lower_aicc"};
    return words;
}

const std::vector<std::string>& words_of(YesNo) {
    static const std::vector<std::string> words{"no", "yes"};
    return words;
}

std::optional<std::string> nearest_word(std::string_view word, const std::vector<std::string>& words) {
    static constexpr std::array<std::array<std::string_view, 2>, 10> same{{{"died", "dead"},
                                                                           {"dead", "died"},
                                                                           {"killed", "dead"},
                                                                           {"killed", "died"},
                                                                           {"death", "dead"},
                                                                           {"death", "died"},
                                                                           {"escaped", "lost"},
                                                                           {"alive", "seen_alive"},
                                                                           {"caught_again", "recaptured"},
                                                                           {"shed", "tag_shed"}}};
    for (const auto& [from, to] : same) {
        if (from == word && std::ranges::find(words, to) != words.end()) {
            return std::string(to);
        }
    }
    return nearest_name(word, words);
}

} // namespace backeddy::study
