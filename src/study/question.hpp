#pragma once
// Start here for the study's questions: one [[question]] of study.toml as written. findings/ answers them.
//
//   [[question]]
//   name = "rig_peak"
//   ask = "Does the rig change the peak after capture?"
//   outcome = "peak_after_capture"
//   compare = "rig"
//   adjust_for = ["log(mass_g)", "temperature_c"]
//   random = ["day"]

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"

namespace backeddy::study {

/// What an outcome is like, and so which model answers. `automatic`: by the outcome itself.
enum class QuestionFamily : std::uint8_t {
    automatic,
    normal,            ///< differences
    log_normal,        ///< ratios, of values above 0
    binomial,          ///< yes or no: odds
    poisson,           ///< counts: rates
    negative_binomial, ///< counts that scatter more
    ordinal,           ///< ordered scores
    time,              ///< times to an event, some only known to be longer or to lie between two looks
};

enum class BetterIs : std::uint8_t { not_said, higher, lower };

struct Question {
    std::string name; ///< short; no two are the same
    std::string ask;  ///< the question as a sentence; empty: made from the other keys
    std::string outcome;
    std::string compare;                 ///< a column of words (groups) or of numbers (slope)
    std::string reference;               ///< the level that others are compared with; empty: the first
    std::vector<std::string> adjust_for; ///< "sex", "log(mass_g)", "rig x temperature_c"
    std::string within;                  ///< "fish": the same fish under each level of `compare`
    std::vector<std::string> random;     ///< "day"; "hours within fish": a slope of its own for each fish
    QuestionFamily family = QuestionFamily::automatic;
    std::vector<std::string> order; ///< of an outcome of words: from least to most; empty: not said
    std::string family_of_tests;    ///< questions of one name are corrected together
    /// How much worse is still no harm: in the outcome's unit, or as a ratio where the family gives ratios.
    std::optional<double> margin;
    BetterIs better = BetterIs::not_said;
    /// The effect that the next season should show, as margin is given: how many fish that takes is told.
    std::optional<double> effect_wanted;
    bool weigh_by_uncertainty = false; ///< each value's own measurement uncertainty enters the model
    Place place;

    /// "outcome = peak_after_capture; compare = rig; ...": all that decides the answer, in one fixed form.
    /// Its hash is what a declaration holds, so that a question changed later is seen to be. effect_wanted is
    /// not in it: it is of the next season and changes no answer.
    [[nodiscard]] std::string declared_form() const;
    /// `ask`, or a sentence made of outcome and compare.
    [[nodiscard]] std::string sentence() const;
};

/// Of a question or an author, as declarations.csv can hold and give back: a letter, digit or a character
/// beyond ASCII first, no control characters, no blank last.
[[nodiscard]] bool is_plain_name(std::string_view name);

/// A part of adjust_for or compare: columns that act together, each as it is or its logarithm.
struct QuestionTerm {
    struct Part {
        std::string column;
        bool is_log = false;
    };
    std::vector<Part> parts; ///< more than one: an interaction
};
/// "rig", "log(mass_g)", "rig x log(mass_g)". Fails with bad_setting: what was expected.
[[nodiscard]] Expected<QuestionTerm> question_term(const std::string& text);

/// "day" or "hours within fish".
struct QuestionRandom {
    std::string group;
    std::string slope; ///< empty: heights alone
};
[[nodiscard]] Expected<QuestionRandom> question_random(const std::string& text);

} // namespace backeddy::study
