#include "fit/noise.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>

#include <boost/math/tools/minima.hpp>
#include <fmt/format.h>

#include "fit/detail/sum.hpp"

namespace backeddy::fit {

namespace {

constexpr std::size_t most_terms = 3;
using Row = std::array<double, most_terms + 1>; // the trend's terms, then the reading

/// Upper triangle of sums of products of whitened columns: all that generalised least squares needs.
struct NormalSums {
    std::array<std::array<double, most_terms + 1>, most_terms + 1> a{};
    double log_variances = 0.0; ///< sum of the logarithms of the one-step variances
};

/// Runs readings and trend columns through one Kalman filter: the state is the autoregressive part, the
/// observation adds white noise. Both variances are given relative to anything the caller likes.
class Whitener {
  public:
    Whitener(double white_variance, double coloured_variance, double correlation_time)
        : white_(white_variance), coloured_(coloured_variance), time_(correlation_time),
          state_variance_(coloured_variance) {}

    /// Whitens row[0..count) of the reading `dt` after the one before (any dt for the first), adds to the
    /// sums; gives the whitened row times its weight.
    template <std::size_t count>
    Row take(double dt, Row row, NormalSums& sums) {
        decay_ = 1.0;
        if (coloured_ > 0.0 && !is_first_) {
            const double rho = correlation(dt);
            state_variance_ = (rho * rho * state_variance_) + (coloured_ * (1.0 - (rho * rho)));
            for (std::size_t k = 0; k < count; ++k) {
                state_[k] *= rho;
            }
            decay_ = rho;
        }
        is_first_ = false;
        update_gain();
        sums.log_variances += log_variance_;
        for (std::size_t k = 0; k < count; ++k) {
            row[k] -= state_[k];
            state_[k] += gain_ * row[k];
        }
        state_variance_ *= 1.0 - gain_;
        Row weighted{};
        for (std::size_t j = 0; j < count; ++j) {
            weighted[j] = weight_ * row[j];
            for (std::size_t k = j; k < count; ++k) {
                sums.a[j][k] += weighted[j] * row[k];
            }
        }
        return weighted;
    }

    // Of the reading taken last: what the state was multiplied with, the share of the reading it took over,
    // and one over the reading's variance.
    [[nodiscard]] double decay() const { return decay_; }
    [[nodiscard]] double gain() const { return gain_; }
    [[nodiscard]] double weight() const { return weight_; }

  private:
    // At even intervals the state's variance soon stands still, and with it all that is divided by it.
    void update_gain() {
        if (state_variance_ == last_state_variance_) {
            return;
        }
        last_state_variance_ = state_variance_;
        const double variance = state_variance_ + white_;
        gain_ = state_variance_ / variance;
        log_variance_ = std::log(variance);
        weight_ = 1.0 / variance;
    }

    double correlation(double dt) {
        if (dt != last_dt_) {
            last_dt_ = dt;
            last_rho_ = std::exp(-dt / time_);
        }
        return last_rho_;
    }

    double white_;
    double coloured_;
    double time_;
    double state_variance_;
    bool is_first_ = true;
    Row state_{};
    double last_dt_ = -1.0;
    double last_rho_ = 0.0;
    double decay_ = 1.0;
    double last_state_variance_ = -1.0;
    double gain_ = 0.0;
    double log_variance_ = 0.0;
    double weight_ = 0.0;
};

/// Cholesky of the first p rows; then the residual sum of squares of the last column. False when not
/// positive.
struct Solved {
    bool is_sound = false;
    double log_determinant = 0.0;
    double residual = 0.0;
};

Solved solve(const NormalSums& sums, std::size_t p) {
    auto a = sums.a;
    Solved out;
    for (std::size_t j = 0; j < p; ++j) {
        if (!(a[j][j] > 0.0) || !(a[j][j] > 1e-13 * sums.a[j][j])) {
            return out;
        }
        out.log_determinant += std::log(a[j][j]);
        for (std::size_t i = j + 1; i <= p; ++i) {
            const double f = a[j][i] / a[j][j];
            for (std::size_t k = i; k <= p; ++k) {
                a[i][k] -= f * a[j][k];
            }
        }
    }
    out.residual = std::max(0.0, a[p][p]);
    // Two readings at one time under noise without a white part have no likelihood.
    out.is_sound = std::isfinite(a[p][p]) && std::isfinite(sums.log_variances);
    return out;
}

Expected<void> check_times(std::span<const double> times, std::size_t other) {
    if (times.size() != other) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("{} times and {} values", times.size(), other),
                     .expected = "as many of one as of the other"});
    }
    for (std::size_t i = 0; i < times.size(); ++i) {
        if (!std::isfinite(times[i]) || (i > 0 && times[i] < times[i - 1])) {
            return fail({.code = ErrorCode::out_of_range,
                         .found = fmt::format("time {} at reading {}", times[i], i + 1),
                         .expected = "finite times that ascend"});
        }
    }
    return {};
}

double sum_of_products(std::span<const double> a, std::span<const double> b) {
    detail::Sum sum;
    for (std::size_t i = 0; i < a.size(); ++i) {
        sum.add(a[i] * b[i]);
    }
    return sum.value();
}

} // namespace

NoiseModel autoregressive(double sd, double phi, double interval) {
    return {.white_sd = 0.0, .coloured_sd = sd, .correlation_time = -interval / std::log(phi)};
}

double covariance_of_sums(const NoiseModel& noise, std::span<const double> times,
                          std::span<const double> weights, std::span<const double> others) {
    const double shared = sum_of_products(weights, others);
    double covariance = noise.white_sd * noise.white_sd * shared;
    if (!noise.is_coloured()) {
        return covariance;
    }
    // What the weights so far still carry into this reading, a sum that decays from reading to reading.
    double carried = 0.0;
    double carried_other = 0.0;
    detail::Sum across;
    double last_dt = -1.0;
    double rho = 0.0;
    for (std::size_t i = 1; i < times.size(); ++i) {
        const double dt = times[i] - times[i - 1];
        if (dt != last_dt) {
            last_dt = dt;
            rho = std::exp(-dt / noise.correlation_time);
        }
        carried = rho * (carried + weights[i - 1]);
        carried_other = rho * (carried_other + others[i - 1]);
        across.add((weights[i] * carried_other) + (others[i] * carried));
    }
    return covariance + (noise.coloured_sd * noise.coloured_sd * (shared + across.value()));
}

double variance_of_sum(const NoiseModel& noise, std::span<const double> times,
                       std::span<const double> weights) {
    return std::max(0.0, covariance_of_sums(noise, times, weights, weights));
}

Expected<ModelledSlope> modelled_slope(const NoiseModel& noise, std::span<const double> times,
                                       std::span<const double> x) {
    if (auto fine = check_times(times, x.size()); !fine) {
        return fail(std::move(fine).error());
    }
    const auto line = fit_line(x, x); // for its centre and squares
    if (!line) {
        return fail(line.error());
    }
    const double variance = variance_of_sum(noise, times, slope_weights(*line, x));
    const double independent = noise.variance() / line->x_squares;
    const auto n = static_cast<double>(x.size());
    return ModelledSlope{.slope_se = std::sqrt(variance),
                         .effective_n = variance > 0.0 ? n * independent / variance : n};
}

Expected<ModelledSlope> modelled_slope(const NoiseModel& noise, std::span<const double> times) {
    return modelled_slope(noise, times, times);
}

Expected<Curvature> modelled_curvature(const NoiseModel& noise, const Line& line, std::span<const double> x,
                                       std::span<const double> y, std::span<const double> times) {
    if (auto fine = check_times(times, x.size()); !fine) {
        return fail(std::move(fine).error());
    }
    auto out = curvature(line, x, y);
    if (!out) {
        return out;
    }
    const auto slope = slope_weights(line, x);
    const auto bend = bend_weights(line, x);
    const double span = 2.0 * (line.x_greatest - line.x_least);
    out->bend_se = std::sqrt(variance_of_sum(noise, times, bend));
    out->change_se = span * out->bend_se;
    if (line.slope == 0.0) {
        return out;
    }
    // share = span * bend / slope, a ratio of two sums of the same readings.
    std::vector<double> ratio(x.size());
    for (std::size_t i = 0; i < x.size(); ++i) {
        ratio[i] = ((span * bend[i]) - (out->share * slope[i])) / line.slope;
    }
    out->share_se = std::sqrt(variance_of_sum(noise, times, ratio));
    return out;
}

Expected<WeightedLine> weighted_line(const NoiseModel& noise, std::span<const double> times,
                                     std::span<const double> x, std::span<const double> y) {
    if (auto fine = check_times(times, x.size()); !fine) {
        return fail(std::move(fine).error());
    }
    const auto line = fit_line(x, y); // checks, and a centre to work about
    if (!line) {
        return fail(line.error());
    }
    const double variance = noise.variance();
    if (!(variance > 0.0)) {
        return fail({.code = ErrorCode::degenerate,
                     .found = "a noise model without noise",
                     .expected = "a standard deviation above 0"});
    }
    Whitener whitener(noise.white_sd * noise.white_sd,
                      noise.is_coloured() ? noise.coloured_sd * noise.coloured_sd : 0.0,
                      noise.correlation_time);
    NormalSums sums;
    for (std::size_t i = 0; i < x.size(); ++i) {
        const double dt = i > 0 ? times[i] - times[i - 1] : 0.0;
        whitener.take<3>(dt, {1.0, x[i] - line->x_mean, y[i] - line->at(x[i])}, sums);
    }
    const auto solved = solve(sums, 2);
    if (!solved.is_sound) {
        return fail({.code = ErrorCode::degenerate,
                     .found = "readings that fix no line under this noise",
                     .expected = "two readings at different x"});
    }
    const auto& a = sums.a;
    const double determinant = (a[0][0] * a[1][1]) - (a[0][1] * a[0][1]);
    const double level = ((a[1][1] * a[0][2]) - (a[0][1] * a[1][2])) / determinant;
    const double slope = ((a[0][0] * a[1][2]) - (a[0][1] * a[0][2])) / determinant;
    const auto n = static_cast<double>(x.size());
    const double log_two_pi = std::log(2.0 * std::numbers::pi);
    return WeightedLine{
        .x_mean = line->x_mean,
        .level = line->level + level,
        .level_se = std::sqrt(a[1][1] / determinant),
        .slope = line->slope + slope,
        .slope_se = std::sqrt(a[0][0] / determinant),
        .chi_squared = solved.residual,
        .log_likelihood = -0.5 * ((n * log_two_pi) + sums.log_variances + solved.residual),
        .restricted_log_likelihood =
            -0.5 * (((n - 2.0) * log_two_pi) + sums.log_variances + solved.log_determinant + solved.residual),
    };
}

std::vector<double> lagged_times(std::span<const double> times, double began, double tau) {
    std::vector<double> out(times.size());
    for (std::size_t i = 0; i < times.size(); ++i) {
        out[i] = times[i] + (tau * std::exp(-(times[i] - began) / tau));
    }
    return out;
}

namespace {

/// Series read at the same times: one set of intervals and trend columns, and with them the same steps of the
/// filter, serve all of them.
struct Family {
    std::vector<double> times;
    std::vector<double> intervals; ///< the first is 0
    std::vector<Row> trends;       ///< of modest size; what lies behind the trend's terms is 0
    std::vector<std::size_t> members;
};

struct Pool {
    std::size_t terms = 0;
    std::size_t readings = 0;
    double shortest = std::numeric_limits<double>::infinity(); ///< least median interval
    double longest = 0.0;                                      ///< longest series
    std::vector<std::vector<double>> series;                   ///< readings, a straight line taken out
    std::vector<std::size_t> family_of;                        ///< of each series
    std::vector<Family> families;
    [[nodiscard]] double freedom() const {
        return static_cast<double>(readings) - static_cast<double>(terms * series.size());
    }
    void add(std::span<const double> times, std::vector<double> values);
};

Family family_at(std::span<const double> times, std::size_t terms) {
    const std::size_t n = times.size();
    const double middle = 0.5 * (times.front() + times.back());
    const double half = std::max(0.5 * (times.back() - times.front()), 1e-300);
    Family out{.times = {times.begin(), times.end()}};
    out.intervals.resize(n);
    out.trends.resize(n);
    for (std::size_t i = 0; i < n; ++i) {
        const double u = (times[i] - middle) / half;
        out.intervals[i] = i > 0 ? times[i] - times[i - 1] : 0.0;
        out.trends[i] = terms == 1 ? Row{1.0} : terms == 2 ? Row{1.0, u} : Row{1.0, u, (u * u) - (1.0 / 3.0)};
    }
    return out;
}

void Pool::add(std::span<const double> times, std::vector<double> values) {
    auto family = std::find_if(families.begin(), families.end(),
                               [&](const Family& one) { return std::ranges::equal(one.times, times); });
    if (family == families.end()) {
        family = families.insert(family, family_at(times, terms));
    }
    family->members.push_back(series.size());
    family_of.push_back(static_cast<std::size_t>(family - families.begin()));
    readings += values.size();
    series.push_back(std::move(values));
}

// Readings less their own straight line, so that filtering loses no digits to a large level.
std::vector<double> levelled(const NoiseSeries& one, std::size_t terms) {
    const auto line = fit_line(one.times, one.values);
    std::vector<double> out(one.values.size());
    for (std::size_t i = 0; i < out.size(); ++i) {
        out[i] =
            terms >= 2 && line ? one.values[i] - line->at(one.times[i]) : one.values[i] - one.values.front();
    }
    return out;
}

/// Restricted log-likelihood at a white share and correlation time, the overall variance set to its best;
/// that variance.
struct Trial {
    double log_likelihood = -std::numeric_limits<double>::infinity();
    double variance = 0.0;
};

/// One series by the whole filter.
template <std::size_t terms>
NormalSums whitened(const Family& family, std::span<const double> values, Whitener whitener) {
    NormalSums sums;
    for (std::size_t i = 0; i < values.size(); ++i) {
        Row row = family.trends[i];
        row[terms] = values[i];
        whitener.take<terms + 1>(family.intervals[i], row, sums);
    }
    return sums;
}

/// What the filter did at each reading of a family's first series, for the others to do the same.
struct Steps {
    std::vector<double> decay;
    std::vector<double> gain;
    std::vector<double> weight;
    std::vector<Row> weighted; ///< whitened trend columns times the weight
};

template <std::size_t terms>
Steps steps_of(const Family& family, Whitener whitener) {
    const std::size_t n = family.intervals.size();
    Steps steps{.decay = std::vector<double>(n),
                .gain = std::vector<double>(n),
                .weight = std::vector<double>(n),
                .weighted = std::vector<Row>(n)};
    NormalSums unused;
    for (std::size_t i = 0; i < n; ++i) {
        steps.weighted[i] = whitener.take<terms>(family.intervals[i], family.trends[i], unused);
        steps.decay[i] = whitener.decay();
        steps.gain[i] = whitener.gain();
        steps.weight[i] = whitener.weight();
    }
    return steps;
}

// So many series are filtered side by side: each waits for its own last step, none for another's.
constexpr std::size_t lanes = 4;
using Lanes = std::array<double, lanes>;

/// The last column of the sums of some further series: of each lane, row by row.
template <std::size_t terms>
std::array<Lanes, terms + 1> last_columns(const Steps& steps,
                                          const std::array<const double*, lanes>& values) {
    std::array<Lanes, terms + 1> sums{};
    Lanes state{};
    const std::size_t n = steps.gain.size();
    for (std::size_t i = 0; i < n; ++i) {
        const double decay = steps.decay[i];
        const double gain = steps.gain[i];
        const double weight = steps.weight[i];
        const Row& weighted = steps.weighted[i];
        for (std::size_t k = 0; k < lanes; ++k) {
            state[k] *= decay;
            const double left = values[k][i] - state[k];
            state[k] += gain * left;
            for (std::size_t j = 0; j < terms; ++j) {
                sums[j][k] += weighted[j] * left;
            }
            sums[terms][k] += (weight * left) * left;
        }
    }
    return sums;
}

/// Sums of every series of the family, each to its place in `all`.
template <std::size_t terms>
void whiten_family(const Pool& pool, const Family& family, const Whitener& whitener,
                   std::vector<NormalSums>& all) {
    const auto& members = family.members;
    const NormalSums first = whitened<terms>(family, pool.series[members.front()], whitener);
    all[members.front()] = first;
    if (members.size() == 1) {
        return;
    }
    const Steps steps = steps_of<terms>(family, whitener);
    for (std::size_t m = 1; m < members.size(); m += lanes) {
        const std::size_t count = std::min(lanes, members.size() - m);
        std::array<const double*, lanes> values{};
        for (std::size_t k = 0; k < lanes; ++k) {
            values[k] = pool.series[members[m + std::min(k, count - 1)]].data();
        }
        const auto columns = last_columns<terms>(steps, values);
        for (std::size_t k = 0; k < count; ++k) {
            auto& sums = all[members[m + k]];
            sums = first; // trend columns and variances are the family's
            for (std::size_t j = 0; j <= terms; ++j) {
                sums.a[j][terms] = columns[j][k];
            }
        }
    }
}

Trial trial(const Pool& pool, double white_share, double correlation_time) {
    const Whitener whitener(white_share, 1.0 - white_share, correlation_time);
    std::vector<NormalSums> all(pool.series.size());
    for (const auto& family : pool.families) {
        if (pool.terms == 1) {
            whiten_family<1>(pool, family, whitener, all);
        } else if (pool.terms == 2) {
            whiten_family<2>(pool, family, whitener, all);
        } else {
            whiten_family<3>(pool, family, whitener, all);
        }
    }
    double logs = 0.0;
    double residual = 0.0;
    for (const auto& sums : all) {
        const auto solved = solve(sums, pool.terms);
        if (!solved.is_sound) {
            return {};
        }
        logs += sums.log_variances + solved.log_determinant;
        residual += solved.residual;
    }
    const double freedom = pool.freedom();
    const double variance = residual / freedom;
    if (!(variance > 0.0)) {
        return {};
    }
    return {.log_likelihood = -0.5 * (logs + (freedom * (std::log(2.0 * std::numbers::pi * variance) + 1.0))),
            .variance = variance};
}

// Bits of the minimum's place. Rough: to find one's way; fine: about 1e-4, far finer than any estimate's
// error.
constexpr int rough_bits = 7;
constexpr int fine_bits = 14;
constexpr double least_z = -14.0;
constexpr double greatest_z = 14.0;

// The share is searched on a scale that is fine at both ends.
double share_at(double z) {
    return 1.0 / (1.0 + std::exp(-z));
}

struct Best {
    double white_share = 1.0;
    double z = greatest_z; ///< the share's place on the scale it is searched on
    double correlation_time = 0.0;
    Trial at;
};

// Where the share is looked for, and how finely.
struct Search {
    double from_z = least_z;
    double to_z = greatest_z;
    int bits = fine_bits;
};

Best best_share(const Pool& pool, double correlation_time, const Search& search) {
    Best out{.correlation_time = correlation_time};
    std::uintmax_t most = 30;
    boost::math::tools::brent_find_minima(
        [&](double z) {
            const Trial here = trial(pool, share_at(z), correlation_time);
            if (here.log_likelihood > out.at.log_likelihood) {
                out.at = here;
                out.z = z;
            }
            return std::isfinite(here.log_likelihood) ? -here.log_likelihood : 1e300;
        },
        search.from_z, search.to_z, search.bits, most);
    out.white_share = share_at(out.z);
    if (search.from_z == least_z) { // the end that the scale never reaches
        if (const Trial none = trial(pool, 0.0, correlation_time);
            none.log_likelihood >= out.at.log_likelihood) {
            out.white_share = 0.0;
            out.at = none;
        }
    }
    return out;
}

// The same near a share that was best at about this time: what changes little is not searched anew.
Best best_share_near(const Pool& pool, double correlation_time, double z, int bits) {
    constexpr double reach = 1.0;
    constexpr double edge = 0.05;
    const Search near{
        .from_z = std::max(least_z, z - reach), .to_z = std::min(greatest_z, z + reach), .bits = bits};
    const Best out = best_share(pool, correlation_time, near);
    const bool is_cut_off = (out.z < near.from_z + edge && near.from_z > least_z) ||
                            (out.z > near.to_z - edge && near.to_z < greatest_z);
    return is_cut_off ? best_share(pool, correlation_time, {.bits = bits}) : out;
}

// Some of the series, spread over all of them: enough to find the likelihood's hill.
Pool thinned(const Pool& pool) {
    constexpr std::size_t enough = 6000;
    const std::size_t stride = std::max<std::size_t>(1, pool.readings / enough);
    Pool out = {.terms = pool.terms, .shortest = pool.shortest, .longest = pool.longest};
    for (std::size_t i = 0; i < pool.series.size(); i += stride) {
        out.add(pool.families[pool.family_of[i]].times, pool.series[i]);
    }
    return out;
}

Best best_colour(const Pool& pool) {
    const double from = std::log(0.3 * pool.shortest);
    const double to = std::log(0.5 * pool.longest);
    constexpr int steps = 7;
    Best best;
    int best_step = 0;
    const auto at_step = [&](int k) { return from + ((to - from) * k / (steps - 1)); };
    const Pool some = thinned(pool);
    for (int k = 0; k < steps; ++k) {
        const Best here = best_share(some, std::exp(at_step(k)), {.bits = rough_bits});
        if (here.at.log_likelihood > best.at.log_likelihood) {
            best = here;
            best_step = k;
        }
    }
    best.at = trial(pool, best.white_share, best.correlation_time);
    std::uintmax_t most = 25;
    boost::math::tools::brent_find_minima(
        [&](double log_time) {
            const Best here = best_share_near(pool, std::exp(log_time), best.z, rough_bits);
            if (here.at.log_likelihood > best.at.log_likelihood) {
                best = here;
            }
            return std::isfinite(here.at.log_likelihood) ? -here.at.log_likelihood : 1e300;
        },
        at_step(std::max(0, best_step - 1)), at_step(std::min(steps - 1, best_step + 1)), fine_bits, most);
    const Best polished = best_share_near(pool, best.correlation_time, best.z, fine_bits);
    return polished.at.log_likelihood > best.at.log_likelihood ? polished : best;
}

double median_interval(std::span<const double> times) {
    std::vector<double> gaps;
    for (std::size_t i = 1; i < times.size(); ++i) {
        gaps.push_back(times[i] - times[i - 1]);
    }
    const auto middle = gaps.begin() + static_cast<std::ptrdiff_t>(gaps.size() / 2);
    std::nth_element(gaps.begin(), middle, gaps.end());
    return *middle;
}

Expected<Pool> gathered(std::span<const NoiseSeries> series, const NoiseOptions& options) {
    Pool pool{.terms = options.trend == Trend::level ? 1U : options.trend == Trend::straight ? 2U : 3U};
    std::size_t total = 0;
    for (const auto& one : series) {
        if (auto fine = check_times(one.times, one.values.size()); !fine) {
            return fail(std::move(fine).error());
        }
        if (!std::all_of(one.values.begin(), one.values.end(), [](double v) { return std::isfinite(v); })) {
            return fail({.code = ErrorCode::out_of_range,
                         .found = "a missing or infinite reading in a series for the noise",
                         .expected = "finite numbers only"});
        }
        total += one.times.size();
    }
    // Every stride-th series, then the ones between, until there are enough readings.
    const std::size_t most = std::max<std::size_t>(1, options.most_readings);
    const std::size_t stride = std::max<std::size_t>(1, (total + most - 1) / most);
    for (std::size_t offset = 0; offset < stride; ++offset) {
        for (std::size_t i = offset; i < series.size(); i += stride) {
            const auto& one = series[i];
            if (pool.readings >= most || one.times.size() < pool.terms + 3 ||
                one.times.front() == one.times.back()) {
                continue;
            }
            pool.add(one.times, levelled(one, pool.terms));
            const double interval = median_interval(one.times);
            if (interval > 0.0) {
                pool.shortest = std::min(pool.shortest, interval);
            }
            pool.longest = std::max(pool.longest, one.times.back() - one.times.front());
        }
    }
    if (pool.freedom() < 20.0 || !std::isfinite(pool.shortest)) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("{} readings in {} series", pool.readings, pool.series.size()),
                     .expected = "at least 20 beyond those that the trends use up",
                     .remedy = "give longer blanks or more spells of this sensor"});
    }
    return pool;
}

} // namespace

Expected<NoiseEstimate> estimate_noise(std::span<const NoiseSeries> series, const NoiseOptions& options) {
    auto pool = gathered(series, options);
    if (!pool) {
        return fail(std::move(pool).error());
    }
    NoiseEstimate out{.readings = pool->readings, .series = pool->series.size()};
    const double floor = options.reading_step / std::sqrt(12.0);
    const Trial white = trial(*pool, 1.0, 1.0);
    if (!(white.variance > 0.0)) {
        if (floor > 0.0) {
            out.model.white_sd = floor;
            return out;
        }
        return fail({.code = ErrorCode::degenerate,
                     .found = fmt::format("{} readings that follow their trends exactly", pool->readings),
                     .expected = "readings with some noise, or the sensor's smallest step"});
    }
    out.model.white_sd = std::max(floor, std::sqrt(white.variance));
    const Best coloured = best_colour(*pool);
    out.colour_gain = std::max(0.0, coloured.at.log_likelihood - white.log_likelihood);
    if (out.colour_gain > options.colour_gain) {
        out.model.white_sd = std::max(floor, std::sqrt(coloured.white_share * coloured.at.variance));
        out.model.coloured_sd = std::sqrt((1.0 - coloured.white_share) * coloured.at.variance);
        out.model.correlation_time = coloured.correlation_time;
        out.is_slow_as_series = coloured.correlation_time > 0.49 * pool->longest;
    }
    return out;
}

double reading_step(std::span<const double> values) {
    double least = std::numeric_limits<double>::infinity();
    double largest = 0.0;
    for (std::size_t i = 1; i < values.size(); ++i) {
        const double gap = std::abs(values[i] - values[i - 1]);
        largest = std::max(largest, std::abs(values[i]));
        if (std::isfinite(gap) && gap > 0.0) {
            least = std::min(least, gap);
        }
    }
    if (!std::isfinite(least) || least < 1e-12 * largest) {
        return 0.0;
    }
    for (std::size_t i = 1; i < values.size(); ++i) {
        const double steps = std::abs(values[i] - values[i - 1]) / least;
        if (std::isfinite(steps) && std::abs(steps - std::round(steps)) > 0.01) {
            return 0.0;
        }
    }
    return least;
}

} // namespace backeddy::fit
