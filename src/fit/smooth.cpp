#include "fit/smooth.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include <Eigen/Dense>
#include <boost/math/tools/minima.hpp>
#include <fmt/format.h>
#include <unsupported/Eigen/MatrixFunctions>

namespace backeddy::fit {

namespace {

// States in this order; those that the model does without are left out of the matrices.
constexpr int most_states = 5;
using Matrix = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, 0, most_states, most_states>;
using Vector = Eigen::Matrix<double, Eigen::Dynamic, 1, 0, most_states, 1>;

/// The model in units that suit it: time in median intervals, readings in noise standard deviations.
struct Model {
    int states = 0;
    int level = 0;
    int rate = 1;
    int slope = -1;  ///< of the rate
    int sensor = -1; ///< what the sensor shows, less noise
    int colour = -1;
    double lag = 0.0;
    double white = 0.0; ///< variance
    double colour_variance = 0.0;
    double colour_time = 0.0;
    Matrix drift; ///< dx/dt = drift x + noise on one state
    Vector seen;  ///< what a reading adds up
};

Model model_of(const NoiseModel& noise, const SmoothOptions& options, double time_unit, double unit) {
    Model m;
    m.states = 2;
    if (options.walk == RateWalk::integrated) {
        m.slope = m.states++;
    }
    if (options.sensor_lag > 0.0) {
        m.sensor = m.states++;
        m.lag = options.sensor_lag / time_unit;
    }
    double white = noise.white_sd;
    if (noise.is_coloured()) {
        m.colour = m.states++;
        m.colour_variance = noise.coloured_sd * noise.coloured_sd / (unit * unit);
        m.colour_time = noise.correlation_time / time_unit;
        white = std::max(white, 1e-3 * noise.coloured_sd);
    }
    m.white = white * white / (unit * unit);
    m.drift = Matrix::Zero(m.states, m.states);
    m.drift(m.level, m.rate) = 1.0;
    if (m.slope >= 0) {
        m.drift(m.rate, m.slope) = 1.0;
    }
    m.seen = Vector::Zero(m.states);
    m.seen[m.sensor >= 0 ? m.sensor : m.level] = 1.0;
    if (m.sensor >= 0) {
        m.drift(m.sensor, m.level) = 1.0 / m.lag;
        m.drift(m.sensor, m.sensor) = -1.0 / m.lag;
    }
    if (m.colour >= 0) {
        m.drift(m.colour, m.colour) = -1.0 / m.colour_time;
        m.seen[m.colour] = 1.0;
    }
    return m;
}

struct Transition {
    Matrix move;
    Matrix walk;   ///< covariance that a walk of intensity 1 adds
    Matrix colour; ///< and the autoregressive noise
};

/// exp([-A, N; 0, A'] dt) holds both the transition and the added covariance (Van Loan 1978, eq. 1.4).
Transition transition_over(const Model& m, double dt) {
    const int p = m.states;
    using Big = Eigen::MatrixXd;
    Transition out;
    const auto added = [&](int state, double intensity, Matrix& move) {
        const Eigen::Index twice = Eigen::Index{2} * p;
        Big big = Big::Zero(twice, twice);
        big.topLeftCorner(p, p) = -m.drift * dt;
        big.bottomRightCorner(p, p) = m.drift.transpose() * dt;
        big(state, p + state) = intensity * dt;
        const Big grown = big.exp();
        move = grown.bottomRightCorner(p, p).transpose();
        const Matrix covariance = move * grown.topRightCorner(p, p);
        return Matrix(0.5 * (covariance + covariance.transpose()));
    };
    out.walk = added(m.slope >= 0 ? m.slope : m.rate, 1.0, out.move);
    out.colour = Matrix::Zero(p, p);
    if (m.colour >= 0) {
        out.colour(m.colour, m.colour) = m.colour_variance * -std::expm1(-2.0 * dt / m.colour_time);
    }
    return out;
}

struct Steps {
    std::vector<Transition> kinds;
    std::vector<std::size_t> kind; ///< of the interval before each reading; the first is not used
};

Steps steps_of(const Model& m, std::span<const double> scaled_times) {
    Steps out;
    out.kind.assign(scaled_times.size(), 0);
    std::vector<double> lengths;
    for (std::size_t i = 1; i < scaled_times.size(); ++i) {
        const double dt = scaled_times[i] - scaled_times[i - 1];
        // Lengths that differ only by the rounding of times share a transition.
        const auto same = std::find_if(lengths.rbegin(), lengths.rend(),
                                       [&](double v) { return std::abs(v - dt) < 1e-9 * dt; });
        if (same == lengths.rend()) {
            lengths.push_back(dt);
            out.kinds.push_back(transition_over(m, dt));
            out.kind[i] = lengths.size() - 1;
        } else {
            out.kind[i] = static_cast<std::size_t>(lengths.rend() - same) - 1;
        }
    }
    return out;
}

/// Unknown starts are carried as columns beside the state (de Jong 1991, Ann Stat 19:1073): what each
/// unknown, at one unit, would add to everything. The last column is the state with all of them at nought. A
/// vague start with a huge variance instead would cost half of the digits.
constexpr int most_unknowns = 4;
using Columns = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, 0, most_states, most_unknowns + 1>;
using Row = Eigen::Matrix<double, 1, Eigen::Dynamic, Eigen::RowMajor, 1, most_unknowns + 1>;
using Square = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, 0, most_unknowns + 1, most_unknowns + 1>;

struct Start {
    Columns states;
    Matrix covariance; ///< of what is not unknown: the noise, and the sensor's imbalance
};

Start start_of(const Model& m, const SmoothOptions& options, double unit, double length) {
    const bool is_sensor_unknown = m.sensor >= 0 && !options.first_imbalance;
    const int unknowns = 2 + (m.slope >= 0 ? 1 : 0) + (is_sensor_unknown ? 1 : 0);
    Start out{.states = Columns::Zero(m.states, unknowns + 1),
              .covariance = Matrix::Zero(m.states, m.states)};
    // Units of about one over the whole length, so that their normal matrix is well scaled.
    out.states(m.level, 0) = 1.0;
    if (m.sensor >= 0) {
        out.states(m.sensor, 0) = 1.0;
    }
    out.states(m.rate, 1) = 1.0 / length;
    int next = 2;
    if (m.slope >= 0) {
        out.states(m.slope, next++) = 1.0 / (length * length);
    }
    if (is_sensor_unknown) {
        out.states(m.sensor, next) = 1.0;
    }
    if (m.sensor >= 0 && options.first_imbalance) {
        const double off = *options.first_imbalance / unit;
        out.covariance(m.sensor, m.sensor) = off * off;
    }
    if (m.colour >= 0) {
        out.covariance(m.colour, m.colour) = m.colour_variance;
    }
    return out;
}

struct Moment {
    Columns states; ///< foretold
    Matrix covariance;
    Vector gain; ///< of the reading
    Row errors;
    double variance = 0.0; ///< of the error; 0 where the reading is missing
};

struct Filtered {
    double log_likelihood = -std::numeric_limits<double>::infinity(); ///< unknowns integrated out
    Vector unknowns;
    Square unknowns_covariance;
};

/// The unknowns by generalised least squares from the whitened errors' sums of products.
Filtered solved(const Square& sums, double logs) {
    const auto unknowns = sums.cols() - 1;
    Filtered out;
    const Square normal = sums.topLeftCorner(unknowns, unknowns);
    const Eigen::LLT<Square> root(normal);
    if (root.info() != Eigen::Success) {
        return out;
    }
    const Vector right = sums.col(unknowns).head(unknowns);
    out.unknowns = -root.solve(right);
    out.unknowns_covariance = root.solve(Square::Identity(unknowns, unknowns));
    const double residual = sums(unknowns, unknowns) + right.dot(out.unknowns);
    const double log_determinant = 2.0 * root.matrixLLT().diagonal().array().log().sum();
    // Each unknown takes one factor of sqrt(2 pi) with it.
    out.log_likelihood = -0.5 * (logs + residual + log_determinant -
                                 (static_cast<double>(unknowns) * std::log(2.0 * std::numbers::pi)));
    return out;
}

/// One pass forward. Keeps every moment when `kept` is not null.
Filtered filtered(const Model& m, const Steps& steps, std::span<const double> readings, double intensity,
                  const Start& start, std::vector<Moment>* kept) {
    Columns states = start.states;
    Matrix covariance = start.covariance;
    const auto columns = states.cols();
    Square sums = Square::Zero(columns, columns);
    double logs = 0.0;
    for (std::size_t i = 0; i < readings.size(); ++i) {
        if (i > 0) {
            const Transition& step = steps.kinds[steps.kind[i]];
            states = (step.move * states).eval();
            covariance = (step.move * covariance * step.move.transpose()).eval() + (intensity * step.walk) +
                         step.colour;
        }
        Moment moment{.states = states,
                      .covariance = covariance,
                      .gain = Vector::Zero(m.states),
                      .errors = Row::Zero(columns)};
        if (std::isfinite(readings[i])) {
            const Vector across = covariance * m.seen;
            moment.variance = m.seen.dot(across) + m.white;
            moment.errors = -(m.seen.transpose() * states);
            moment.errors[columns - 1] += readings[i];
            moment.gain = across / moment.variance;
            states += moment.gain * moment.errors;
            const Matrix keep = Matrix::Identity(m.states, m.states) - (moment.gain * m.seen.transpose());
            covariance = (keep * covariance * keep.transpose()).eval() +
                         (m.white * moment.gain * moment.gain.transpose());
            sums += moment.errors.transpose() * moment.errors / moment.variance;
            logs += std::log(2.0 * std::numbers::pi * moment.variance);
        }
        if (kept != nullptr) {
            kept->push_back(std::move(moment));
        }
    }
    return solved(sums, logs);
}

struct Best {
    double intensity = 0.0;
    bool is_at_limit = false;
};

Best best_intensity(const Model& m, const Steps& steps, std::span<const double> y, const Start& start,
                    double length) {
    const double power = m.slope >= 0 ? 5.0 : 3.0;
    const double lowest = std::log(1e-3) - (power * std::log(length));
    const double highest = std::log(10.0);
    const auto minus = [&](double log_intensity) {
        const double value = -filtered(m, steps, y, std::exp(log_intensity), start, nullptr).log_likelihood;
        return std::isfinite(value) ? value : 1e300;
    };
    constexpr int grid = 12;
    const auto at_step = [&](int k) { return lowest + ((highest - lowest) * k / grid); };
    int best_step = 0;
    double best = std::numeric_limits<double>::infinity();
    for (int k = 0; k <= grid; ++k) {
        const double here = minus(at_step(k));
        if (here < best) {
            best = here;
            best_step = k;
        }
    }
    std::uintmax_t most = 30;
    const auto found = boost::math::tools::brent_find_minima(
        minus, at_step(std::max(0, best_step - 1)), at_step(std::min(grid, best_step + 1)), 16, most);
    const double at = found.second < best ? found.first : at_step(best_step);
    return {.intensity = std::exp(at), .is_at_limit = at - lowest < 0.01 || highest - at < 0.01};
}

Expected<void> check(const NoiseModel& noise, std::span<const double> times, std::span<const double> readings,
                     const SmoothOptions& options) {
    const auto there =
        std::count_if(readings.begin(), readings.end(), [](double v) { return std::isfinite(v); });
    if (times.size() != readings.size() || !(options.sensor_lag >= 0.0) ||
        !(options.intensity.value_or(1.0) > 0.0)) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("{} times, {} readings, a lag of {}", times.size(), readings.size(),
                                          options.sensor_lag),
                     .expected = "equal numbers, a lag of 0 or more, an intensity above 0"});
    }
    for (std::size_t i = 0; i < times.size(); ++i) {
        if (!std::isfinite(times[i]) || (i > 0 && !(times[i] > times[i - 1]))) {
            return fail({.code = ErrorCode::out_of_range,
                         .found = fmt::format("time {} at reading {}", times[i], i + 1),
                         .expected = "times strictly ascending"});
        }
    }
    if (there < 5) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("{} readings", there),
                     .expected = "at least five"});
    }
    if (!(noise.variance() > 0.0)) {
        return fail({.code = ErrorCode::degenerate,
                     .found = "a noise model without noise",
                     .expected = "a standard deviation above 0"});
    }
    return {};
}

double median_gap(std::span<const double> times) {
    std::vector<double> gaps;
    for (std::size_t i = 1; i < times.size(); ++i) {
        gaps.push_back(times[i] - times[i - 1]);
    }
    const auto middle = gaps.begin() + static_cast<std::ptrdiff_t>(gaps.size() / 2);
    std::nth_element(gaps.begin(), middle, gaps.end());
    return *middle;
}

} // namespace

Expected<SmoothRate> smooth_rate(const NoiseModel& noise, std::span<const double> times,
                                 std::span<const double> readings, const SmoothOptions& options) {
    if (auto fine = check(noise, times, readings, options); !fine) {
        return fail(std::move(fine).error());
    }
    const double time_unit = median_gap(times);
    const double unit = std::sqrt(noise.variance());
    const double origin =
        *std::find_if(readings.begin(), readings.end(), [](double v) { return std::isfinite(v); });
    std::vector<double> t(times.size());
    std::vector<double> y(times.size());
    for (std::size_t i = 0; i < times.size(); ++i) {
        t[i] = (times[i] - times[0]) / time_unit;
        y[i] = (readings[i] - origin) / unit;
    }
    const double length = std::max(t.back(), 2.0);
    const Model m = model_of(noise, options, time_unit, unit);
    const Steps steps = steps_of(m, t);
    const Start start = start_of(m, options, unit, length);
    // Intensity per time: the rate's variance (walk) or its slope's (integrated), each per unit of time.
    const double scale = unit * unit / std::pow(time_unit, options.walk == RateWalk::walk ? 3.0 : 5.0);
    const Best best = options.intensity ? Best{.intensity = *options.intensity / scale}
                                        : best_intensity(m, steps, y, start, length);
    std::vector<Moment> moments;
    moments.reserve(t.size());
    const Filtered pass = filtered(m, steps, y, best.intensity, start, &moments);
    if (!std::isfinite(pass.log_likelihood)) {
        return fail({.code = ErrorCode::degenerate,
                     .found = "readings that do not fix level, rate and sensor at the start",
                     .expected = "readings over several sensor lags, or a known imbalance of the sensor"});
    }
    const auto unknowns = pass.unknowns.size();
    const auto counted = static_cast<double>(
        std::count_if(y.begin(), y.end(), [](double v) { return std::isfinite(v); }) - unknowns);
    const std::size_t n = t.size();
    SmoothRate out{.rate = std::vector<double>(n),
                   .rate_se = std::vector<double>(n),
                   .level = std::vector<double>(n),
                   .level_se = std::vector<double>(n),
                   .intensity = best.intensity * scale,
                   .log_likelihood = pass.log_likelihood - (counted * std::log(unit)),
                   .is_at_limit = best.is_at_limit};
    // Backward: what all later readings say of each foretold state (de Jong 1989, eqs. 2.3-2.5), column by
    // column; no inverses of covariances.
    Columns pull = Columns::Zero(m.states, unknowns + 1);
    Matrix pull_squared = Matrix::Zero(m.states, m.states);
    for (std::size_t i = n; i-- > 0;) {
        const Moment& now = moments[i];
        if (i + 1 < n) {
            const Matrix& move = steps.kinds[steps.kind[i + 1]].move;
            pull = (move.transpose() * pull).eval();
            pull_squared = (move.transpose() * pull_squared * move).eval();
        }
        if (now.variance > 0.0) {
            const Matrix keep = Matrix::Identity(m.states, m.states) - (now.gain * m.seen.transpose());
            pull = (keep.transpose() * pull).eval() + (m.seen * now.errors / now.variance);
            pull_squared = (keep.transpose() * pull_squared * keep).eval() +
                           (m.seen * m.seen.transpose() / now.variance);
        }
        const Columns states = now.states + (now.covariance * pull);
        const Columns by_unknown = states.leftCols(unknowns);
        const Vector state = states.col(unknowns) + (by_unknown * pass.unknowns);
        const Matrix covariance = now.covariance - (now.covariance * pull_squared * now.covariance) +
                                  (by_unknown * pass.unknowns_covariance * by_unknown.transpose());
        out.level[i] = origin + (unit * state[m.level]);
        out.level_se[i] = unit * std::sqrt(std::max(0.0, covariance(m.level, m.level)));
        out.rate[i] = state[m.rate] * unit / time_unit;
        out.rate_se[i] = std::sqrt(std::max(0.0, covariance(m.rate, m.rate))) * unit / time_unit;
    }
    return out;
}

} // namespace backeddy::fit
