#pragma once
// The EM algorithm for mixtures of normals: what the search from many starts and the refits of a bootstrap
// share. Not for use outside this folder.

#include <array>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <vector>

#include "fit/mixture.hpp"

namespace backeddy::fit::detail {

constexpr std::size_t most_components = 4;

/// Values with how many stand at or near each.
struct Sample {
    std::vector<double> x; ///< ascending, scaled to mean 0 and standard deviation 1
    std::vector<double> count;
    std::vector<double> squares; ///< of what stands near x, about x, summed
    double total = 0.0;

    void add(double at, double how_many, double squares_about) {
        x.push_back(at);
        count.push_back(how_many);
        squares.push_back(squares_about);
    }
};

struct State {
    std::size_t g = 0;
    std::array<double, most_components> weight{};
    std::array<double, most_components> mean{};
    std::array<double, most_components> sd{};
    double log_likelihood = -std::numeric_limits<double>::infinity();
    bool is_sound = true;
};

/// What a component at the least standard deviation is.
enum class AtLeastSd : std::uint8_t {
    collapsed, ///< no answer
    held       ///< kept there
};

struct Guards {
    Spreads spreads = Spreads::unequal;
    double least_sd = 0.0;
    double least_weight = 0.0;
    AtLeastSd at_least_sd = AtLeastSd::collapsed;
};

/// `state` with no standard deviation below the least, where the guards hold them there.
[[nodiscard]] State held(State state, const Guards& guards);

/// The state one EM step on; not sound on collapse.
[[nodiscard]] State em_step(const Sample& sample, const State& now, const Guards& guards);
/// The same, and the log-likelihood of the state before the step.
[[nodiscard]] State em_step(const Sample& sample, const State& now, const Guards& guards,
                            double& log_likelihood);
/// How exactly starts are run, which are only to find where to climb.
enum class Precision : std::uint8_t {
    full,
    rough ///< single, but for the last step; without the squares of what stands near the values
};

/// `steps` EM steps; the log-likelihood is that of the state before the last.
[[nodiscard]] State run_em(const Sample& sample, State state, const Guards& guards, int steps,
                           Precision precision);

/// Unconstrained form for extrapolation: log weight ratios, means, log standard deviations.
using Vector = std::array<double, 3 * most_components>;
[[nodiscard]] Vector packed(const State& state);
[[nodiscard]] State unpacked(const Vector& v, std::size_t g);

/// When climbing ends.
struct Ending {
    int cycles = 0;       ///< at the latest
    int patience = 0;     ///< after so many without gain of likelihood, however parameters still creep
    double settled = 0.0; ///< squared length of an EM step that is none
    double near = 0.0;    ///< squared length of a leap, which tells how far the end is, that is none
};
/// EM to convergence, sped up by squared extrapolation (Varadhan and Roland 2008, Scand J Stat 35:335, scheme
/// S3); a leap that loses likelihood or leaves the guards is taken back.
[[nodiscard]] State polished(const Sample& sample, State state, const Guards& guards, const Ending& ending);

} // namespace backeddy::fit::detail
