#pragma once
// The water of a study: salinity, pressure, inflow, each a constant or a trace of its own with its own clock.

#include <algorithm>
#include <cstdint>
#include <initializer_list>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "app/chambers.hpp"

namespace backeddy::app::detail {

using Pieces = std::vector<ChannelPiece>;

// A reading of another logger is carried to the oxygen sensor's times across at most this much (our choice):
// temperature of water changes slowly, salinity and pressure more slowly still.
inline constexpr double temperature_reach_min = 30.0;
inline constexpr double water_reach_min = 180.0;

/// A slowly changing quantity: all pieces of one channel as one series.
struct Series {
    std::vector<std::int64_t> times_ns;
    std::vector<double> values;
};

[[nodiscard]] Series joined(const RawTraces& traces, const Pieces& pieces);
/// Interpolated, missing where no reading lies within `reach`.
[[nodiscard]] std::vector<double> at_times(const Series& series, std::span<const std::int64_t> times,
                                           Duration reach);

[[nodiscard]] uptake::OxygenKind oxygen_kind(ColumnKind kind);

/// Salinity and pressure of the study: a constant or a series.
struct Water {
    double salinity = 0.0;
    std::optional<Series> salinity_series;
    double pressure_kpa = kilopascal_per_atm;
    std::optional<Series> pressure_series;
    std::string salinity_from;
    std::string pressure_from;
    std::optional<double> temperature_c; ///< of chambers without a channel of it
    double temperature_uncertainty_c = 0.0;
};

[[nodiscard]] Water water_of(const study::Water& inputs, const study::ReadingBounds& readings,
                             const RawTraces& traces, std::vector<study::Complaint>& complaints);

/// Moments at which a season that overrides one of these sections begins or ends, ascending.
[[nodiscard]] std::vector<Instant> season_edges(const study::Brief& brief,
                                                std::initializer_list<const char*> sections);

/// The water of each season that has a [season.water] of its own, and that of the rest.
class Waters {
  public:
    Waters(const Study& study, const RawTraces& traces, std::vector<study::Complaint>& complaints)
        : study_(study), usual_(water_of(study.brief.water, study.brief.readings, traces, complaints)) {
        for (const auto edge : season_edges(study.brief, {"water"})) {
            seasons_.push_back(
                {.from = edge,
                 .water = water_of(study.brief.at(edge).water, study.brief.readings, traces, complaints)});
        }
    }

    [[nodiscard]] const Water& usual() const { return usual_; }
    [[nodiscard]] bool is_one() const { return seasons_.empty(); }
    [[nodiscard]] const Water& at(Instant moment) const {
        const Water* out = &usual_;
        for (const auto& season : seasons_) {
            out = season.from <= moment ? &season.water : out;
        }
        return *out;
    }
    /// The water of each reading in turn. Settings hold for stays that begin in their season: inside a stay,
    /// its first moment counts.
    template <typename Take>
    void for_each_reading(const study::AssemblyId& assembly, std::span<const std::int64_t> times,
                          const Take& take) const {
        const study::Stay* inside = nullptr;
        for (std::size_t i = 0; i < times.size(); ++i) {
            const auto moment = Instant::unix_nanoseconds(times[i]);
            const auto holds = [&](const study::Stay& stay) {
                return stay.assembly == assembly && stay.from() <= moment && moment <= stay.to();
            };
            if (inside == nullptr || !holds(*inside)) {
                const auto& stays = study_.tables.stays;
                const auto found = std::find_if(stays.begin(), stays.end(), holds);
                inside = found == stays.end() ? nullptr : &*found;
            }
            take(i, moment, at(inside == nullptr ? moment : inside->from()));
        }
    }

  private:
    struct Season {
        Instant from;
        Water water;
    };
    const Study& study_;
    Water usual_;
    std::vector<Season> seasons_;
};

/// The inflow's oxygen, if the brief names a channel of it. Without it the flushes stay gaps in the curve of
/// uptake; no number of the results rests on it.
void take_inflow(const Study& study, const RawTraces& traces, const Waters& waters, Chambers& out);

} // namespace backeddy::app::detail
