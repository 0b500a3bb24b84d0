#include "fit/detail/mixture_em.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <type_traits>
#include <utility>

#include "base/lanes.hpp"

namespace backeddy::fit::detail {

namespace {

/// Of each component, over the values' shares in it: how many, and their sums about its present mean, so that
/// variances lose no digits.
struct Shares {
    std::array<double, most_components> s0{};
    std::array<double, most_components> s1{};
    std::array<double, most_components> s2{};
    double logs = 0.0; ///< of the densities times the root of 2 pi; where asked for
};

/// take(0), ... take(g - 1), unrolled, so that the components' chains of arithmetic run side by side.
template <std::size_t g, typename Take>
void each_component(const Take& take) {
    [&]<std::size_t... k>(std::index_sequence<k...>) { (take(k), ...); }(std::make_index_sequence<g>{});
}

/// The sums of one EM step, a vector of `L` values at a time.
template <typename L, std::size_t g, bool with_logs>
class StepSums {
  public:
    using Number = std::remove_cvref_t<decltype(L{}[0])>;

    explicit StepSums(const State& now) {
        for (std::size_t k = 0; k < g; ++k) {
            mean_[k] = static_cast<Number>(now.mean[k]);
            constant_[k] = static_cast<Number>(std::log(now.weight[k] / now.sd[k]));
            half_precision_[k] = static_cast<Number>(0.5 / (now.sd[k] * now.sd[k]));
        }
    }

    void add(L x, L count, L squares) {
        std::array<L, g> part{};
        std::array<L, g> off{};
        each_component<g>([&](std::size_t k) {
            off[k] = x - mean_[k];
            part[k] = constant_[k] - (off[k] * off[k] * half_precision_[k]);
        });
        L highest = part[0];
        each_component<g>([&](std::size_t k) { highest = greater_of(highest, part[k]); });
        L sum{};
        each_component<g>([&](std::size_t k) {
            part[k] = exp_of_negative(part[k] - highest);
            sum += part[k];
        });
        if constexpr (with_logs) {
            logs_ += count * (highest + log_of_one_to_four(sum));
        }
        const L one = Number{1} / sum;
        each_component<g>([&](std::size_t k) {
            const L each = one * part[k];
            const L share = count * each;
            s0_[k] += share;
            s1_[k] += share * off[k];
            s2_[k] += (share * off[k] * off[k]) + (each * squares);
        });
    }

    [[nodiscard]] Shares shares() const {
        Shares out{.logs = sum_of_lanes(logs_)};
        for (std::size_t k = 0; k < g; ++k) {
            out.s0[k] = sum_of_lanes(s0_[k]);
            out.s1[k] = sum_of_lanes(s1_[k]);
            out.s2[k] = sum_of_lanes(s2_[k]);
        }
        return out;
    }

  private:
    std::array<Number, g> mean_{};
    std::array<Number, g> constant_{};
    std::array<Number, g> half_precision_{};
    std::array<L, g> s0_{};
    std::array<L, g> s1_{};
    std::array<L, g> s2_{};
    L logs_{};
};

/// A sample in single precision, whole vectors of it: the last is filled up with values that count nothing.
struct RoughSample {
    explicit RoughSample(const Sample& sample) {
        for (std::size_t i = 0; i < sample.x.size(); i += 4) {
            RoughLanes at{};
            RoughLanes how_many{};
            for (std::size_t lane = 0; lane < 4; ++lane) {
                const std::size_t from = std::min(i + lane, sample.x.size() - 1);
                at[lane] = static_cast<float>(sample.x[from]);
                how_many[lane] = from == i + lane ? static_cast<float>(sample.count[from]) : 0.0F;
            }
            x.push_back(at);
            count.push_back(how_many);
        }
    }
    std::vector<RoughLanes> x;
    std::vector<RoughLanes> count;
};

/// Two values at a time; the last of an odd number goes with a copy of itself that counts nothing.
template <std::size_t g, bool with_logs>
Shares shares_of(const Sample& sample, const State& now) {
    StepSums<Lanes, g, with_logs> sums(now);
    const std::size_t n = sample.x.size();
    for (std::size_t i = 0; i < n; i += 2) {
        const bool both = i + 1 < n;
        const std::size_t other = both ? i + 1 : i;
        sums.add(Lanes{sample.x[i], sample.x[other]},
                 Lanes{sample.count[i], both ? sample.count[other] : 0.0},
                 Lanes{sample.squares[i], both ? sample.squares[other] : 0.0});
    }
    return sums.shares();
}

template <std::size_t g, bool with_logs>
Shares shares_of(const RoughSample& sample, const State& now) {
    StepSums<RoughLanes, g, with_logs> sums(now);
    for (std::size_t i = 0; i < sample.x.size(); ++i) {
        sums.add(sample.x[i], sample.count[i], RoughLanes{});
    }
    return sums.shares();
}

template <bool with_logs, typename AnySample>
Shares shares_of(const AnySample& sample, const State& now) {
    switch (now.g) {
    case 1:
        return shares_of<1, with_logs>(sample, now);
    case 2:
        return shares_of<2, with_logs>(sample, now);
    case 3:
        return shares_of<3, with_logs>(sample, now);
    default:
        return shares_of<most_components, with_logs>(sample, now);
    }
}

/// The state one EM step on; not sound on collapse.
State stepped(double total, const State& now, const Guards& guards, const Shares& shares) {
    const std::size_t g = now.g;
    State next{.g = g};
    double pooled = 0.0;
    for (std::size_t k = 0; k < g; ++k) {
        next.weight[k] = shares.s0[k] / total;
        if (!(next.weight[k] > guards.least_weight)) {
            next.is_sound = false;
            return next;
        }
        const double shift = shares.s1[k] / shares.s0[k];
        next.mean[k] = now.mean[k] + shift;
        const double squares = shares.s2[k] - (shift * shares.s1[k]);
        next.sd[k] = std::sqrt(std::max(0.0, squares / shares.s0[k]));
        pooled += squares;
    }
    if (guards.spreads == Spreads::equal) {
        next.sd.fill(std::sqrt(std::max(0.0, pooled / total)));
    }
    for (std::size_t k = 0; k < g; ++k) {
        next.is_sound =
            next.is_sound && (next.sd[k] > guards.least_sd || guards.at_least_sd == AtLeastSd::held);
    }
    return held(next, guards);
}

} // namespace

State held(State state, const Guards& guards) {
    if (guards.at_least_sd == AtLeastSd::held) {
        for (std::size_t k = 0; k < state.g; ++k) {
            state.sd[k] = std::max(state.sd[k], guards.least_sd);
        }
    }
    return state;
}

State em_step(const Sample& sample, const State& now, const Guards& guards) {
    return stepped(sample.total, now, guards, shares_of<false>(sample, now));
}

State em_step(const Sample& sample, const State& now, const Guards& guards, double& log_likelihood) {
    const Shares shares = shares_of<true>(sample, now);
    log_likelihood = shares.logs - (0.5 * sample.total * std::log(2.0 * std::numbers::pi));
    return stepped(sample.total, now, guards, shares);
}

State run_em(const Sample& sample, State state, const Guards& guards, int steps, Precision precision) {
    if (precision == Precision::rough) {
        const RoughSample rough(sample);
        for (int i = 1; i < steps && state.is_sound; ++i) {
            state = stepped(sample.total, state, guards, shares_of<false>(rough, state));
        }
    } else {
        for (int i = 1; i < steps && state.is_sound; ++i) {
            state = em_step(sample, state, guards);
        }
    }
    if (state.is_sound) {
        double log_likelihood = 0.0;
        state = em_step(sample, state, guards, log_likelihood);
        state.log_likelihood = log_likelihood; // of the state before: near enough to rank by
    }
    return state;
}

Vector packed(const State& s) {
    Vector v{};
    for (std::size_t k = 0; k < s.g; ++k) {
        v[k] = std::log(s.weight[k]);
        v[most_components + k] = s.mean[k];
        v[(2 * most_components) + k] = std::log(s.sd[k]);
    }
    return v;
}

State unpacked(const Vector& v, std::size_t g) {
    State s{.g = g};
    double total = 0.0;
    for (std::size_t k = 0; k < g; ++k) {
        s.weight[k] = std::exp(v[k]);
        total += s.weight[k];
        s.mean[k] = v[most_components + k];
        s.sd[k] = std::exp(v[(2 * most_components) + k]);
    }
    for (std::size_t k = 0; k < g; ++k) {
        s.weight[k] /= total;
        s.is_sound = s.is_sound && std::isfinite(s.weight[k]) && std::isfinite(s.mean[k]) && s.sd[k] > 0.0;
    }
    return s;
}

State polished(const Sample& sample, State state, const Guards& guards, const Ending& ending) {
    double before = -std::numeric_limits<double>::infinity();
    int still = 0;
    for (int cycle = 0; cycle < ending.cycles && state.is_sound; ++cycle) {
        double at_start = 0.0;
        const State one = em_step(sample, state, guards, at_start);
        state.log_likelihood = at_start;
        if (!one.is_sound) {
            return one;
        }
        const State two = em_step(sample, one, guards);
        if (!two.is_sound) {
            return two;
        }
        const Vector v0 = packed(state);
        const Vector v1 = packed(one);
        const Vector v2 = packed(two);
        double rr = 0.0; // squared length of a step
        double vv = 0.0;
        for (std::size_t k = 0; k < v0.size(); ++k) {
            const double r = v1[k] - v0[k];
            const double v = (v2[k] - v1[k]) - r;
            rr += r * r;
            vv += v * v;
        }
        still = at_start - before <= 1e-12 * std::abs(at_start) ? still + 1 : 0;
        if ((still >= 2 && rr < ending.settled) || still >= ending.patience) {
            return state;
        }
        before = at_start;
        const double alpha = vv > 0.0 ? std::sqrt(rr / vv) : 1.0; // the paper's is its negative
        if (rr * std::max(1.0, alpha * alpha) < ending.near) {
            return two;
        }
        State next = two;
        if (alpha > 1.0) {
            Vector leap{};
            for (std::size_t k = 0; k < leap.size(); ++k) {
                const double r = v1[k] - v0[k];
                leap[k] = v0[k] + (2.0 * alpha * r) + (alpha * alpha * ((v2[k] - v1[k]) - r));
            }
            const State far = held(unpacked(leap, state.g), guards);
            if (far.is_sound) {
                double there = 0.0;
                const State landed = em_step(sample, far, guards, there);
                if (landed.is_sound && there > at_start) {
                    next = landed;
                }
            }
        }
        state = next;
        state.log_likelihood = at_start; // of the state before: near enough where the cycles end here
    }
    return state;
}

} // namespace backeddy::fit::detail
