#pragma once
// What was declared of a question, and when: the row of declarations.csv that `backeddy declare` adds before
// the numbers are known, so that what was asked first is told from what was found first.

#include <cstdint>

namespace backeddy::study {

/// What was declared of a question, and when.
enum class Declared : std::uint8_t {
    never,           ///< exploratory
    before_any_fish, ///< before the first fish was met
    before_results,  ///< fish had been met; nothing had been computed yet
    after_results,   ///< results lay in the folder already
    changed_since,   ///< declared, and changed after that
};

} // namespace backeddy::study
