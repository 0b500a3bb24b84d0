#include <algorithm>
#include <cmath>
#include <limits>
#include <memory>

#include <Eigen/Dense>

#include "fit/detail/mixture_em.hpp"
#include "fit/mixture.hpp"

namespace backeddy::fit {

namespace {

using detail::em_step;
using detail::Guards;
using detail::most_components;
using detail::Sample;
using detail::State;

constexpr double least_sd_of_refit = 0.25; ///< as a share of the narrowest component's; choice
constexpr std::size_t bins = 250;          ///< that stand for the values of a long sample
/// A leap's squared length that ends a refit: 1e-5 of the sample's standard deviation, of means that vary by
/// some hundredths between draws.
constexpr double near = 1e-10;
constexpr detail::Ending by_em_alone{.cycles = 200, .patience = 200, .settled = 0.0, .near = near};

using Matrix = Eigen::Matrix<double, 3 * most_components, 3 * most_components>;
using Column = Eigen::Matrix<double, 3 * most_components, 1>;

Column column_of(const State& state) {
    const detail::Vector v = detail::packed(state);
    return Eigen::Map<const Column>(v.data());
}

State state_of(const Column& column, std::size_t g, const Guards& guards) {
    detail::Vector v{};
    Eigen::Map<Column>(v.data()) = column;
    return detail::held(detail::unpacked(v, g), guards);
}

/// (I - J)^-1 for the Jacobian J of the EM step at its fixed point: it stretches an EM step to the leap that
/// ends where EM would (Aitken's; Louis 1982, J R Stat Soc B 44:226). By central differences; the identity,
/// which is plain EM, where they cannot be taken.
Matrix stretch_at(const Sample& sample, const State& state, const Guards& guards) {
    constexpr double small = 1e-5;
    const Column at = column_of(state);
    Matrix rest = Matrix::Identity();
    for (std::size_t k = 0; k < most_components * 3; ++k) {
        if (k % most_components >= state.g) {
            continue;
        }
        const auto column = static_cast<Eigen::Index>(k);
        const auto moved = [&](double by) {
            Column to = at;
            to[column] += by;
            return em_step(sample, state_of(to, state.g, guards), guards);
        };
        const State above = moved(small);
        const State below = moved(-small);
        if (!above.is_sound || !below.is_sound) {
            return Matrix::Identity();
        }
        rest.col(column) -= (column_of(above) - column_of(below)) / (2.0 * small);
    }
    const Matrix stretch = rest.inverse();
    return stretch.allFinite() ? stretch : Matrix::Identity();
}

/// The fixed point of EM near `start`, by leaps that begin with `stretch` and learn from each step (Broyden
/// 1965, Math Comput 19:577). Nothing where they do not come to rest, or rest below where they began.
std::optional<State> by_leaps(const Sample& sample, const State& start, const Guards& guards,
                              Matrix stretch) {
    constexpr int most_leaps = 40;
    constexpr double longest = 1.0; // a leap of one standard deviation of the sample, or to e times a width
    double at_start = 0.0;
    State next = em_step(sample, start, guards, at_start);
    Column at = column_of(start);
    Column step_before = Column::Zero();
    Column leap = Column::Zero();
    for (int i = 0; i < most_leaps && next.is_sound; ++i) {
        const Column step = column_of(next) - at;
        if (i > 0) {
            const Column lost = step_before - step;
            const Column foreseen = stretch * lost;
            const double scale = leap.dot(foreseen);
            if (scale != 0.0) {
                stretch += (leap - foreseen) * (leap.transpose() * stretch) / scale;
            }
        }
        leap = stretch * step;
        const double length = leap.norm();
        if (length * length < near) {
            double at_end = 0.0;
            next = em_step(sample, next, guards, at_end);
            return next.is_sound && at_end >= at_start ? std::optional(next) : std::nullopt;
        }
        if (!std::isfinite(length)) {
            break;
        }
        const State landed = state_of(at + (leap * std::min(1.0, longest / length)), start.g, guards);
        if (!landed.is_sound) {
            break;
        }
        leap = column_of(landed) - at;
        at += leap;
        step_before = step;
        next = em_step(sample, landed, guards);
    }
    return std::nullopt;
}

/// The values of a fit, in bins of neighbours, and how each draw of them is fitted.
class Refits {
  public:
    Refits(std::span<const double> ascending, const NormalMixture& mixture)
        : start_{.g = mixture.components.size()}, scaled_(ascending.begin(), ascending.end()) {
        const auto n = static_cast<double>(ascending.size());
        for (const double v : ascending) {
            middle_ += v / n;
        }
        double squares = 0.0;
        for (const double v : ascending) {
            squares += (v - middle_) * (v - middle_);
        }
        spread_ = std::sqrt(squares / n);
        for (double& v : scaled_) {
            v = (v - middle_) / spread_;
        }
        double narrowest = std::numeric_limits<double>::infinity();
        for (std::size_t k = 0; k < start_.g; ++k) {
            const auto& component = mixture.components[k];
            start_.weight[k] = component.weight;
            start_.mean[k] = (component.mean - middle_) / spread_;
            start_.sd[k] = component.sd / spread_;
            narrowest = std::min(narrowest, start_.sd[k]);
        }
        guards_ = {.spreads = mixture.spreads,
                   .least_sd = least_sd_of_refit * narrowest,
                   .at_least_sd = detail::AtLeastSd::held};
        const std::vector<std::uint32_t> once(ascending.size(), 1);
        stretch_ = stretch_at(binned(once), start_, guards_);
    }

    [[nodiscard]] std::optional<std::vector<NormalComponent>> of(std::span<const std::uint32_t> times) const {
        const Sample sample = binned(times);
        State end{.is_sound = false};
        if (const auto rest = by_leaps(sample, start_, guards_, stretch_)) {
            end = *rest;
        } else {
            end = detail::polished(sample, start_, guards_, by_em_alone);
        }
        if (!end.is_sound) {
            return std::nullopt;
        }
        std::vector<NormalComponent> out;
        for (std::size_t k = 0; k < end.g; ++k) {
            out.push_back({.weight = end.weight[k],
                           .mean = middle_ + (spread_ * end.mean[k]),
                           .sd = spread_ * end.sd[k]});
        }
        return out;
    }

  private:
    [[nodiscard]] Sample binned(std::span<const std::uint32_t> times) const {
        const std::size_t n = scaled_.size();
        const std::size_t used = n <= bins + (bins / 2) ? n : bins; // a short sample's values stay alone
        Sample out;
        for (std::size_t b = 0; b < used; ++b) {
            const std::size_t from = b * n / used;
            double count = 0.0;
            double sum = 0.0; // about the bin's first value, to keep digits
            double squares = 0.0;
            for (std::size_t i = from; i < (b + 1) * n / used; ++i) {
                const auto here = static_cast<double>(times[i]);
                const double off = scaled_[i] - scaled_[from];
                count += here;
                sum += here * off;
                squares += here * off * off;
            }
            if (count > 0.0) {
                const double shift = sum / count;
                out.add(scaled_[from] + shift, count, std::max(0.0, squares - (shift * sum)));
                out.total += count;
            }
        }
        return out;
    }

    State start_;
    Guards guards_;
    std::vector<double> scaled_; ///< to mean 0 and standard deviation 1
    double middle_ = 0.0;
    double spread_ = 0.0;
    Matrix stretch_ = Matrix::Identity();
};

} // namespace

MixtureRefit refit_of(std::span<const double> ascending, const NormalMixture& mixture) {
    const auto refits = std::make_shared<const Refits>(ascending, mixture);
    return [refits](std::span<const std::uint32_t> times) { return refits->of(times); };
}

} // namespace backeddy::fit
