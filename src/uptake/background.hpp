#pragma once
// What the microbes of a chamber took, from runs without a fish.

#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "quantity/measured.hpp"
#include "series/instant.hpp"
#include "uptake/spell_uptake.hpp"

namespace backeddy::uptake {

enum class BlanksUsed : std::uint8_t { none, before, after, both, side_by_side };
enum class BetweenBlanks : std::uint8_t { steady, straight, growing, sigmoid };
/// Which volume multiplies the blank's slope: the whole chamber with its loop (microbes on the walls) or the
/// water beside the fish (microbes in the water).
enum class BackgroundVolume : std::uint8_t { whole_chamber, water };
/// A blank in which oxygen rose is drift or a leak: carried with its sign and uncertainty, or set to zero.
/// Either way it is said.
enum class WrongSign : std::uint8_t { carried, set_to_zero };

struct BackgroundSettings {
    BlanksUsed blanks_used = BlanksUsed::both;
    BetweenBlanks between_blanks = BetweenBlanks::straight;
    BackgroundVolume volume = BackgroundVolume::whole_chamber;
    WrongSign wrong_sign = WrongSign::carried;
    Duration reach =
        Duration::hours(72.0); ///< a blank further away in time than this does not serve (choice)
};

/// One blank run, or a part of a long one. `slope_mg_per_l_h` is signed (negative: oxygen falls) and carries
/// a contribution "blank:<id>" of its own beside those of the sensor's scale.
struct Blank {
    std::string id;
    std::string assembly;
    Instant at; ///< its middle
    Measured slope_mg_per_l_h;
    std::size_t spells = 0;
};

/// The background's slope at one moment, from the blanks of one assembly (side_by_side: of the others).
struct BackgroundAt {
    Measured slope_mg_per_l_h;       ///< 0 when no blank serves
    std::vector<std::string> blanks; ///< ids used
    std::string how;                 ///< one sentence
    std::vector<Reason> reasons;     ///< "no_blank", "one_blank", "straight_instead", "rising_blank"
};

/// The blanks next before and next after `at` (straight etc. in u = (at - t0)/(t1 - t0)), none of them beyond
/// a cleaning: one fish's after-blank is the next one's before-blank unless a cleaning cuts it.
///   steady (b0 + b1)/2; straight b0 + u (b1 - b0); growing b0 (b1/b0)^u, of one sign and not zero, else
///   straight and said; sigmoid K/(1 + exp(-r (t - m))) by least squares through all blanks between the same
///   two cleanings, four at least, else straight and said.
/// side_by_side: blanks of other assemblies, straight between the two next in time, the slope per litre taken
/// over (scaled by volume). Uncertainties of the blanks are carried by their names, weights and all.
[[nodiscard]] BackgroundAt background_at(std::span<const Blank> blanks, std::string_view assembly, Instant at,
                                         std::span<const Instant> cleanings,
                                         const BackgroundSettings& settings);

/// Uptake of the microbes, mg/h: -slope times the volume that the convention names.
[[nodiscard]] Measured background_uptake(const Measured& slope_mg_per_l_h, const Measured& chamber_and_loop_l,
                                         const Measured& water_l, BackgroundVolume volume);

[[nodiscard]] std::string_view word(BlanksUsed used);
[[nodiscard]] std::string_view word(BetweenBlanks between);
[[nodiscard]] std::string_view word(BackgroundVolume volume);

} // namespace backeddy::uptake
