#include "report/detail/methods_condition.hpp"

#include <algorithm>
#include <utility>

#include <fmt/format.h>

namespace backeddy::report::detail {

namespace {

template <typename T>
bool is_any(const Results& results, std::vector<T> FishCondition::* list) {
    return std::ranges::any_of(results.fish,
                               [&](const Fish& fish) { return !(fish.condition.*list).empty(); });
}

Paragraph blood_paragraph(const Results& results) {
    return {
        "Blood",
        "Every analyte stands in one unit. A value below an assay's limit, or above its range, is known "
        "as that limit alone: it is never put as 0, as half the limit or as the limit. Medians and "
        "quartiles over fish are numbers only where they are the same whatever the truth within such limits, "
        "else the bounds that hold are given; they are at each fish's first draw after the capture and "
        "before a chase or another encounter. "
        "Times are from the last hook-up, and the last sealing, before the draw. Values outside published "
        "ranges of salmonids are marked and none is taken out." +
            with_settings(results, {"blood"})};
}

Paragraph plates_paragraph(const Results& results) {
    return {
        "Assay plates",
        "A logistic curve was fitted to the responses of the standards as read, by weighted least squares, "
        "the weights 1 / variance of a response whose variance goes with a power of it. Concentrations are "
        "read back from the mean response of replicate wells, with 95 % intervals that hold both the "
        "curve's error and the replicates'; standards as labelled are taken for exact. A response beyond "
        "the curve gives a limit and no number. Samples in three dilutions or more were asked whether "
        "their result changes with the dilution (parallelism); outer wells were compared with inner ones "
        "of the same content (edge), which corrects no concentration. Within plates, CVs are pooled over "
        "replicates; between plates they "
        "are those of the controls, by one-way analysis of variance." +
            with_settings(results, {"plates"})};
}

Paragraph scores_paragraph(const Results& results) {
    return {
        "Fins and body",
        "Each place was given a level on a scale of words, 0 unhurt. The index of a fish is the mean level "
        "of its scored places, which takes the steps of the scale for equal; the sum is given only when "
        "no place is missing. A place that was not scored is not taken for unhurt. Agreement of two "
        "scorers is Cohen's kappa with quadratic weights, its interval by drawing whole fish." +
            with_settings(results, {"fins", "body"})};
}

Paragraph reflexes_paragraph(const Results& results) {
    return {"Reflexes",
            "Tests lost of those that were done; beside it from what to what that share can be, had the "
            "missing tests all been there or all been lost. No binomial interval is given: the tests are all "
            "there are, not draws from many." +
                with_settings(results, {"reflexes"})};
}

Paragraph handling_paragraph() {
    return {
        "Handling times",
        "From the recorded events, with the uncertainty of their ends. A time typed by hand that differs by "
        "more than twice the two's combined uncertainty is shown as a disagreement; neither is preferred. "
        "Air is the sum of its spells; where no spell was recorded there is no air time, which is not 0."};
}

Paragraph mortality_paragraph(const Results& results) {
    return {
        "Mortality",
        "A death lies between the last look that showed life and the find. Mortality at an hour is dead of "
        "those whose state at that hour is known, with exact limits (Clopper and Pearson 1934, Biometrika "
        "26:404). Fish of unknown state are counted beside it, with what the share of all could be were "
        "they all alive, or all dead. Where there is a control group, what the treatment adds is "
        "1 − S(treated) / S(control), S the share alive (Abbott 1925, J Econ Entomol 18:265)." +
            with_settings(results, {"fates"})};
}

} // namespace

std::string with_settings(const Results& results, std::initializer_list<std::string_view> sections) {
    std::string text;
    for (const Setting& each : results.settings) {
        if (std::ranges::find(sections, each.section) != sections.end()) {
            text += fmt::format("{}{} = {}{}{}", text.empty() ? " Settings: " : "; ", each.key, each.value,
                                each.unit.empty() ? "" : " ", each.unit);
        }
    }
    return text.empty() ? text : text + ".";
}

std::vector<Paragraph> condition_methods(const Results& results) {
    std::vector<Paragraph> all;
    if (!results.condition.has_any) {
        return all;
    }
    const auto add = [&](bool is_there, Paragraph paragraph) {
        if (is_there) {
            all.push_back(std::move(paragraph));
        }
    };
    add(is_any(results, &FishCondition::draws), blood_paragraph(results));
    add(!results.condition.plates.empty(), plates_paragraph(results));
    add(is_any(results, &FishCondition::fins) || is_any(results, &FishCondition::body),
        scores_paragraph(results));
    add(is_any(results, &FishCondition::reflexes), reflexes_paragraph(results));
    add(is_any(results, &FishCondition::handling), handling_paragraph());
    add(!results.condition.mortality.empty(), mortality_paragraph(results));
    return all;
}

} // namespace backeddy::report::detail
