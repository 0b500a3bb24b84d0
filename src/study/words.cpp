#include "study/words.hpp"

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

const std::vector<std::string>& words_of(YesNo) {
    static const std::vector<std::string> words{"no", "yes"};
    return words;
}

} // namespace backeddy::study
