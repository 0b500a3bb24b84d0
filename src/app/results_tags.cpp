#include <map>
#include <utility>

#include <fmt/format.h>

#include "app/detail/results_condition_parts.hpp"
#include "base/number_text.hpp"
#include "study/condition_sheets.hpp"
#include "study/words.hpp"

namespace backeddy::app::detail {

namespace {

/// Fish that were in hand again, by how many of their two tags were left.
struct Counts {
    std::uint64_t both = 0;
    std::uint64_t one = 0;
    std::uint64_t none = 0;
};

using TagKind = std::pair<condition::TagPlace, std::string>;

std::map<TagKind, Counts> counts_of(const Study& study, const study::ConditionSheets& sheets) {
    std::map<TagKind, Counts> out;
    for (const auto& fish : study.tables.fish) {
        const auto known = study::fate_records(fish.id, sheets.fates, study.brief, study.tables);
        for (const auto& tags : condition::tags_left(known.records)) {
            auto& counts = out[{tags.place, tags.type}];
            ++(tags.left == 2 ? counts.both : tags.left == 1 ? counts.one : counts.none);
        }
    }
    return out;
}

std::string words_of(const TagKind& kind, const Counts& counts) {
    const auto percent = [](double share) { return short_text(100.0 * share); };
    std::string out = fmt::format(
        "Tags, {}{}{}: of the fish with two that were in hand again {} had both and {} one",
        study::word_of(kind.first), kind.second.empty() ? "" : " ", kind.second, counts.both, counts.one);
    if (counts.none > 0) {
        out += fmt::format(", and {} had lost both and count for nothing here", counts.none);
    }
    const auto kept = condition::tag_retention(counts.both, counts.one);
    return kept
               ? fmt::format("{}: {} % of tags stay on (95 % interval {} to {}, exact), if each comes off by "
                             "itself and alike. No number here is corrected for it.",
                             out, percent(kept->value), percent(kept->interval.lower),
                             percent(kept->interval.upper))
               : out + ": what stays on cannot be told.";
}

} // namespace

std::vector<std::string> retention_words(const Study& study, const study::ConditionSheets& sheets) {
    std::vector<std::string> out;
    for (const auto& [kind, counts] : counts_of(study, sheets)) {
        out.push_back(words_of(kind, counts));
    }
    return out;
}

} // namespace backeddy::app::detail
