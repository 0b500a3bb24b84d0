// Flushes and sealed spells found in the oxygen trace itself.
//
// 1. Turning points: a low that is followed by a quick rise is where a flush began.
// 2. Around each, the chamber's own balance seen through the sensor's lag: a straight fall until the flush
// begins at a,
//    C_end + A (1 - exp(-k (t - a))) until it ends at b, a straight fall again. Level, both falls and A are
//    linear; a, b and k are searched.
// 3. Flush lengths b - a that agree within their errors are drawn together.

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <optional>
#include <utility>

#include "base/number_text.hpp"
#include "fit/line.hpp"
#include "uptake/detail/lane_line.hpp"
#include "uptake/states.hpp"

namespace backeddy::uptake {

namespace {

constexpr double infinite = std::numeric_limits<double>::infinity();

/// Seconds after the first row, and mg/L; no missing values.
struct Readings {
    std::vector<double> t;
    std::vector<double> y;
    double step = 1.0; ///< usual interval
    [[nodiscard]] std::size_t row_at(double time) const {
        return static_cast<std::size_t>(std::lower_bound(t.begin(), t.end(), time) - t.begin());
    }
};

double median_of(std::vector<double> values) {
    if (values.empty()) {
        return 0.0;
    }
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

Readings readings_of(std::span<const std::int64_t> times_ns, std::span<const double> oxygen) {
    Readings out;
    std::vector<double> steps;
    for (std::size_t i = 0; i < times_ns.size(); ++i) {
        const double t = static_cast<double>(times_ns[i] - times_ns[0]) * 1e-9;
        if (!std::isfinite(oxygen[i]) || (!out.t.empty() && t <= out.t.back())) {
            continue;
        }
        if (!out.t.empty()) {
            steps.push_back(t - out.t.back());
        }
        out.t.push_back(t);
        out.y.push_back(oxygen[i]);
    }
    out.step = std::max(median_of(std::move(steps)), 1e-3);
    return out;
}

/// Means over consecutive stretches of `width` seconds.
Readings thinned(const Readings& readings, std::size_t first, std::size_t end, double width) {
    Readings out{.step = std::max(width, readings.step)};
    std::size_t i = first;
    while (i < end) {
        const double until = readings.t[i] + width - (1e-6 * width);
        double sum_t = 0.0;
        double sum_y = 0.0;
        double n = 0.0;
        for (; i < end && (n == 0.0 || readings.t[i] < until); ++i) {
            sum_t += readings.t[i];
            sum_y += readings.y[i];
            n += 1.0;
        }
        out.t.push_back(sum_t / n);
        out.y.push_back(sum_y / n);
    }
    return out;
}

/// Sd of one reading, from differences of neighbours (a slow trend does not count; slow noise neither).
double noise_sd(const Readings& readings) {
    std::vector<double> sizes;
    double squares = 0.0;
    for (std::size_t i = 1; i < readings.y.size(); ++i) {
        sizes.push_back(std::abs(readings.y[i] - readings.y[i - 1]));
        squares += std::min(sizes.back(), 0.05) * std::min(sizes.back(), 0.05);
    }
    const double n = std::max<double>(1.0, static_cast<double>(sizes.size()));
    const double robust = 1.4826 * median_of(sizes) / std::sqrt(2.0);
    // A coarse sensor repeats itself, and the median of its differences is zero.
    return robust > 0.0 ? robust : std::sqrt(squares / n / 2.0);
}

// ------------------------------------------------------------------------------------------------ turning
// points

struct Turn {
    double low = 0.0;         ///< time of the low before a quick rise
    double high_before = 0.0; ///< time of the high before that low
};

/// Lows that are followed by a rise of at least `least`, most of it quick.
std::vector<Turn> turns_of(const Readings& coarse, double least) {
    std::vector<Turn> out;
    constexpr double quick_s = 180.0;
    const auto rises_quickly = [&](std::size_t low) {
        for (std::size_t i = low; i < coarse.t.size() && coarse.t[i] - coarse.t[low] <= quick_s; ++i) {
            if (coarse.y[i] - coarse.y[low] >= least) {
                return true;
            }
        }
        return false;
    };
    std::size_t low = 0;
    std::size_t high = 0;
    std::size_t high_before = 0;
    bool falling = true; // looking for a low
    for (std::size_t i = 1; i < coarse.y.size(); ++i) {
        if (falling) {
            // The last of equal lows: the flush begins after it.
            if (coarse.y[i] <= coarse.y[low]) {
                low = i;
            } else if (coarse.y[i] - coarse.y[low] >= least) {
                if (rises_quickly(low)) {
                    out.push_back({.low = coarse.t[low], .high_before = coarse.t[high_before]});
                }
                falling = false;
                high = i;
            }
        } else if (coarse.y[i] > coarse.y[high]) {
            high = i;
        } else if (coarse.y[high] - coarse.y[i] >= least) {
            falling = true;
            high_before = high;
            low = i;
        }
    }
    return out;
}

// ------------------------------------------------------------------------------------------------ one cycle

struct Shape {
    double flush_from = 0.0;
    double flush_to = 0.0;
    double rate = 0.02; ///< k, 1/s
};

/// Level, slope before, A, slope after.
constexpr std::size_t terms = 4;

/// The four terms at time t, each seen through a first-order lag (solutions of lag dy/dt = x - y, x as in the
/// head of this file; the fall before has gone on long enough for its transient to be over).
std::array<double, terms> terms_at(double t, const Shape& shape, double lag) {
    const double u = t - shape.flush_from;
    const double d = shape.flush_to - shape.flush_from;
    const double v = t - shape.flush_to;
    std::array<double, terms> g{1.0, 0.0, 0.0, 0.0};
    const double fade = lag > 0.0 && u > 0.0 ? std::exp(-u / lag) : 0.0;
    g[1] = u < 0.0 ? u - lag : -lag * fade;
    if (u > 0.0) {
        double k = shape.rate;
        if (std::abs(1.0 - (k * lag)) < 1e-6) {
            k *= 1.0 + 1e-5;
        }
        const auto response = [&](double w) {
            if (lag <= 0.0) {
                return 1.0 - std::exp(-k * w);
            }
            const double e = std::exp(-w / lag);
            return 1.0 - e - ((std::exp(-k * w) - e) / (1.0 - (k * lag)));
        };
        if (v <= 0.0) {
            g[2] = response(u);
        } else {
            const double full = 1.0 - std::exp(-k * d);
            const double late = lag > 0.0 ? std::exp(-v / lag) : 0.0;
            g[2] = full + ((response(d) - full) * late);
            g[3] = v - (lag * (1.0 - late));
        }
    }
    return g;
}

struct Misfit {
    double squares = infinite;
    std::array<double, terms> coefficients{};
    std::vector<double> left; ///< residuals
};

/// Least squares for the linear terms by modified Gram-Schmidt; a term that does not vary here is left out.
Misfit misfit_of(const Readings& r, const Shape& shape, double lag) {
    const std::size_t n = r.t.size();
    std::array<std::vector<double>, terms> q;
    for (auto& column : q) {
        column.resize(n);
    }
    for (std::size_t i = 0; i < n; ++i) {
        const auto g = terms_at(r.t[i], shape, lag);
        for (std::size_t c = 0; c < terms; ++c) {
            q[c][i] = g[c];
        }
    }
    std::array<std::array<double, terms>, terms> upper{};
    std::array<bool, terms> used{};
    std::array<double, terms> z{};
    Misfit out{.left = r.y};
    for (std::size_t c = 0; c < terms; ++c) {
        double before = 0.0;
        for (const double v : q[c]) {
            before += v * v;
        }
        for (std::size_t p = 0; p < c; ++p) {
            if (!used[p]) {
                continue;
            }
            double dot = 0.0;
            for (std::size_t i = 0; i < n; ++i) {
                dot += q[p][i] * q[c][i];
            }
            upper[p][c] = dot;
            for (std::size_t i = 0; i < n; ++i) {
                q[c][i] -= dot * q[p][i];
            }
        }
        double squares = 0.0;
        for (const double v : q[c]) {
            squares += v * v;
        }
        used[c] = squares > 1e-12 * before && squares > 0.0;
        if (!used[c]) {
            continue;
        }
        const double norm = std::sqrt(squares);
        upper[c][c] = norm;
        double dot = 0.0;
        for (std::size_t i = 0; i < n; ++i) {
            q[c][i] /= norm;
            dot += q[c][i] * out.left[i];
        }
        z[c] = dot;
        for (std::size_t i = 0; i < n; ++i) {
            out.left[i] -= dot * q[c][i];
        }
    }
    for (std::size_t c = terms; c-- > 0;) {
        if (!used[c]) {
            continue;
        }
        double value = z[c];
        for (std::size_t p = c + 1; p < terms; ++p) {
            value -= upper[c][p] * out.coefficients[p];
        }
        out.coefficients[c] = value / upper[c][c];
    }
    out.squares = 0.0;
    for (const double v : out.left) {
        out.squares += v * v;
    }
    return out;
}

/// Least of f on [low, high] by golden section to `close`.
template <typename Function>
double least_by_golden(double low, double high, double close, const Function& f) {
    constexpr double share = 0.6180339887498949;
    double a = high - (share * (high - low));
    double b = low + (share * (high - low));
    double fa = f(a);
    double fb = f(b);
    while (high - low > close) {
        if (fa <= fb) {
            high = b;
            b = a;
            fb = fa;
            a = high - (share * (high - low));
            fa = f(a);
        } else {
            low = a;
            a = b;
            fa = fb;
            b = low + (share * (high - low));
            fb = f(b);
        }
    }
    return 0.5 * (low + high);
}

/// How readings within a cycle's window are to be explained, and where the answer may lie.
struct Window {
    Readings readings;
    double from_low = 0.0; ///< bounds of the flush's beginning
    double from_high = 0.0;
    double to_low = 0.0; ///< bounds of its end
    double to_high = 0.0;
};

struct CycleFit {
    Shape shape;
    double from_error = 0.0;
    double to_error = 0.0;
    double fall_after = 0.0; ///< mg/L/s, negative
    double fall_after_error = 0.0;
    double sd = 0.0;
};

class CycleFitter {
  public:
    CycleFitter(double lag, double shortest_flush) : lag_(lag), shortest_flush_(shortest_flush) {}

    /// Searches b, then a, then k, and again; bounds are the window's.
    [[nodiscard]] CycleFit fit(const Window& window, Shape start, bool rate_is_known) const {
        Shape shape = start;
        for (int round = 0; round < 3; ++round) {
            search_end(window, shape, round == 0);
            search_start(window, shape);
            if (!rate_is_known || round > 0) {
                search_rate(window, shape, rate_is_known ? 1.5 : 4.0);
            }
        }
        search_end(window, shape, false);
        return judged(window, shape);
    }

  private:
    [[nodiscard]] double squares(const Window& window, const Shape& shape) const {
        return misfit_of(window.readings, shape, lag_).squares;
    }

    void search_end(const Window& window, Shape& shape, bool everywhere) const {
        const double low = std::max(window.to_low, shape.flush_from + shortest_flush_);
        const double high = window.to_high;
        if (!(high > low)) {
            shape.flush_to = std::max(low, high);
            return;
        }
        const auto f = [&](double at) {
            return squares(window, {.flush_from = shape.flush_from, .flush_to = at, .rate = shape.rate});
        };
        double best = shape.flush_to;
        double reach = 12.0 * window.readings.step;
        if (everywhere) {
            constexpr int points = 36;
            double least = infinite;
            for (int i = 0; i <= points; ++i) {
                const double at = low + ((high - low) * i / points);
                const double here = f(at);
                if (here < least) {
                    least = here;
                    best = at;
                }
            }
            reach = (high - low) / points;
        }
        shape.flush_to = least_by_golden(std::max(low, best - reach), std::min(high, best + reach),
                                         0.02 * window.readings.step, f);
    }

    void search_start(const Window& window, Shape& shape) const {
        if (!(window.from_high > window.from_low)) {
            shape.flush_from = window.from_low;
            return;
        }
        const double high = std::min(window.from_high, shape.flush_to - (0.5 * shortest_flush_));
        shape.flush_from = least_by_golden(
            window.from_low, std::max(window.from_low, high), 0.02 * window.readings.step, [&](double at) {
                return squares(window, {.flush_from = at, .flush_to = shape.flush_to, .rate = shape.rate});
            });
    }

    void search_rate(const Window& window, Shape& shape, double factor) const {
        const double centre = std::log(shape.rate);
        const double low = std::max(centre - std::log(factor), std::log(1.0 / 1200.0));
        const double high = std::min(centre + std::log(factor), std::log(0.5));
        shape.rate = std::exp(least_by_golden(low, high, 0.01, [&](double log_rate) {
            return squares(
                window,
                {.flush_from = shape.flush_from, .flush_to = shape.flush_to, .rate = std::exp(log_rate)});
        }));
    }

    /// Errors from the curvature of the misfit, with the residuals' own memory allowed for.
    [[nodiscard]] CycleFit judged(const Window& window, const Shape& shape) const {
        const Misfit here = misfit_of(window.readings, shape, lag_);
        const auto n = static_cast<double>(here.left.size());
        double products = 0.0;
        for (std::size_t i = 1; i < here.left.size(); ++i) {
            products += here.left[i] * here.left[i - 1];
        }
        const double phi = here.squares > 0.0 ? std::clamp(products / here.squares, 0.0, 0.95) : 0.0;
        const double variance = here.squares / std::max(1.0, n - 7.0) * (1.0 + phi) / (1.0 - phi);
        const double h = std::max(2.0 * window.readings.step, 2.0);
        const auto error = [&](Shape up, Shape down) {
            const double bend =
                (squares(window, up) + squares(window, down) - (2.0 * here.squares)) / (h * h);
            return bend > 0.0 ? std::sqrt(2.0 * variance / bend) : infinite;
        };
        CycleFit out{.shape = shape, .fall_after = here.coefficients[3], .sd = std::sqrt(variance)};
        Shape up = shape;
        Shape down = shape;
        up.flush_to += h;
        down.flush_to -= h;
        out.to_error = error(up, down);
        up = shape;
        down = shape;
        up.flush_from += h;
        down.flush_from -= h;
        out.from_error = error(up, down);
        double squares_after = 0.0;
        double after = 0.0;
        double mean = 0.0;
        for (const double t : window.readings.t) {
            if (t > shape.flush_to) {
                after += 1.0;
                mean += t;
            }
        }
        mean /= std::max(after, 1.0);
        for (const double t : window.readings.t) {
            if (t > shape.flush_to) {
                squares_after += (t - mean) * (t - mean);
            }
        }
        out.fall_after_error = squares_after > 0.0 ? out.sd / std::sqrt(squares_after) : infinite;
        return out;
    }

    double lag_;
    double shortest_flush_;
};

// ------------------------------------------------------------------------------------------------ the whole
// trace

struct Flush {
    double from = 0.0;
    double to = 0.0;
    double from_error = 0.0;
    double to_error = 0.0;
    bool to_end = false; ///< no sealed spell follows
};

class Finder {
  public:
    Finder(const Readings& readings, const FindSettings& settings)
        : all_(readings), settings_(settings),
          fitter_(settings.sensor_lag_s, settings.shortest_flush.seconds()) {}

    std::vector<Flush> run(const std::vector<Turn>& turns) {
        const double rate = usual_rate(turns);
        std::vector<Flush> flushes;
        for (std::size_t j = 0; j < turns.size(); ++j) {
            flushes.push_back(flush_of(turns, j, {rate, true}));
        }
        pool(flushes);
        return flushes;
    }

    [[nodiscard]] std::optional<double> usual_flush() const { return usual_flush_; }

    /// Where the fall before the first flush begins, when the trace begins in a flush: an approach to a level
    /// and then a straight fall must explain the readings clearly better than one bent fall does.
    [[nodiscard]] std::optional<Flush> flush_at_start(const Turn& first) const {
        const double end = first.low - std::max(5.0, 2.0 * all_.step);
        const double least = settings_.shortest_flush.seconds() + settings_.shortest_sealed.seconds();
        if (end < least) {
            return std::nullopt;
        }
        Window window{.to_low = settings_.shortest_flush.seconds(),
                      .to_high = end - settings_.shortest_sealed.seconds()};
        const double width = std::max(all_.step, end / 240.0);
        window.readings = thinned(all_, 0, all_.row_at(end), width > 1.5 * all_.step ? width : 0.0);
        if (window.readings.t.size() < 16) {
            return std::nullopt;
        }
        const CycleFit fit =
            fitter_.fit(window, {.flush_from = 0.0, .flush_to = 0.3 * end, .rate = 0.02}, false);
        const double bent = bent_squares(window.readings);
        const auto n = static_cast<double>(window.readings.t.size());
        const Misfit corner = misfit_of(window.readings, fit.shape, settings_.sensor_lag_s);
        const double cornered = corner.squares;
        // Sealing makes oxygen fall faster than it did. A fish that calms down in a chamber sealed from the
        // first reading on bends the other way, and no corner of that kind is a flush's end.
        const double before =
            corner.coefficients[2] * fit.shape.rate * std::exp(-fit.shape.rate * fit.shape.flush_to);
        if (before < 0.5 * fit.fall_after) {
            return std::nullopt;
        }
        if (!(cornered < 0.7 * bent) || !(fit.fall_after < 0.0) || !(bent - cornered > 20.0 * cornered / n)) {
            return std::nullopt;
        }
        return Flush{.to = fit.shape.flush_to, .to_error = fit.to_error};
    }

  private:
    /// Sum of squares about a second-degree curve.
    static double bent_squares(const Readings& readings) {
        const auto line = detail::lane_line(readings.t, readings.y);
        if (!line) {
            return 0.0;
        }
        const auto bend = fit::curvature(*line, readings.t, readings.y);
        if (!bend) {
            return line->residual_squares;
        }
        const auto weights = fit::bend_weights(*line, readings.t);
        double norm = 0.0;
        for (const double w : weights) {
            norm += w * w;
        }
        return line->residual_squares - (norm > 0.0 ? bend->bend * bend->bend / norm : 0.0);
    }

    struct Rate {
        double value = 0.02;
        bool is_known = false;
    };

    [[nodiscard]] double end_of(const std::vector<Turn>& turns, std::size_t j) const {
        // The low itself may belong to the next flush's first readings.
        return j + 1 < turns.size() ? turns[j + 1].low - std::max(5.0, 2.0 * all_.step) : all_.t.back();
    }

    /// Readings from shortly before the flush up to `end`, thinned so that a cycle costs little.
    [[nodiscard]] Window window_of(const std::vector<Turn>& turns, std::size_t j, double before,
                                   double end) const {
        const double low = turns[j].low;
        const double lag = settings_.sensor_lag_s;
        const double fell_since = std::max(turns[j].high_before, all_.t.front());
        const double from = std::max(low - before, fell_since + (0.4 * (low - fell_since)));
        const std::size_t first = all_.row_at(from);
        const std::size_t last = all_.row_at(end);
        constexpr double most_points = 240.0;
        const double width = std::max(all_.step, (end - from) / most_points);
        const double slack = std::max({12.0, 3.0 * width, 6.0 * all_.step});
        return {.readings = thinned(all_, first, last, width > 1.5 * all_.step ? width : 0.0),
                .from_low = low - slack - lag,
                .from_high = low + slack,
                .to_low = low,
                .to_high = end - std::min(settings_.shortest_sealed.seconds(), 0.5 * (end - low))};
    }

    /// Time constant of the flush: the same pump and tube all along, so the median over a dozen cycles.
    [[nodiscard]] double usual_rate(const std::vector<Turn>& turns) const {
        std::vector<double> rates;
        const std::size_t stride = std::max<std::size_t>(1, turns.size() / 12);
        for (std::size_t j = 0; j < turns.size(); j += stride) {
            const double end = end_of(turns, j);
            const Window window = window_of(turns, j, 90.0, end);
            if (window.readings.t.size() < 12) {
                continue;
            }
            const double low = turns[j].low;
            CycleFit best;
            double least = infinite;
            for (const double rate : {0.1, 0.03, 0.01}) {
                const Shape start{.flush_from = low, .flush_to = low + (0.3 * (end - low)), .rate = rate};
                const CycleFit fit = fitter_.fit(window, start, false);
                if (fit.sd < least) {
                    least = fit.sd;
                    best = fit;
                }
            }
            rates.push_back(best.shape.rate);
        }
        return rates.empty() ? 0.02 : median_of(std::move(rates));
    }

    /// First with all readings of the cycle for a rough end; then with no more of the sealed spell than the
    /// end's error needs, since uptake that changes bends the fall and drags the corner with it.
    [[nodiscard]] Flush flush_of(const std::vector<Turn>& turns, std::size_t j, Rate rate) const {
        const double low = turns[j].low;
        const double end = end_of(turns, j);
        Flush out{.from = low, .to = end, .to_end = true};
        Window window = window_of(turns, j, 90.0, end);
        if (window.readings.t.size() < 12) {
            return out;
        }
        const Shape start{.flush_from = low, .flush_to = low + (0.3 * (end - low)), .rate = rate.value};
        CycleFit rough = fitter_.fit(window, start, rate.is_known);
        CycleFit best = rough;
        for (const double after : {60.0, 120.0, 240.0, 480.0}) {
            const double stop = rough.shape.flush_to + after + (3.0 * settings_.sensor_lag_s);
            if (stop >= end) {
                break;
            }
            const Window shorter = window_of(turns, j, 60.0, stop);
            if (shorter.readings.t.size() < 16) {
                continue;
            }
            const CycleFit fit = fitter_.fit(shorter, rough.shape, true);
            const bool sound = fit.fall_after < 0.0 && std::isfinite(fit.to_error);
            if (sound && (best.to_error > 1.0 && fit.to_error < 1.5 * best.to_error)) {
                best = fit;
            }
            if (sound && fit.to_error <= 0.5) {
                best = fit;
                break;
            }
        }
        out.from = best.shape.flush_from;
        out.from_error = best.from_error;
        out.to = best.shape.flush_to;
        out.to_error = best.to_error;
        const bool falls = rough.fall_after < -3.0 * rough.fall_after_error;
        out.to_end = j + 1 == turns.size() && (!falls || end - out.to < settings_.shortest_sealed.seconds());
        if (out.to_end) {
            out.to = all_.t.back();
        }
        return out;
    }

    /// A pump on a timer flushes equally long each time; a fish that breathes little leaves a faint corner.
    /// Lengths of a cycle's neighbours (ten to either side) give a common mean and a spread beyond the
    /// errors, and each length is drawn to that mean as far as its own error deserves (a normal prior of that
    /// mean and spread).
    void pool(std::vector<Flush>& flushes) {
        std::vector<double> lengths;
        std::vector<double> variances;
        std::vector<std::size_t> who;
        for (std::size_t i = 0; i < flushes.size(); ++i) {
            const Flush& flush = flushes[i];
            const double variance = (flush.to_error * flush.to_error) + (flush.from_error * flush.from_error);
            if (!flush.to_end && std::isfinite(variance) && variance > 0.0) {
                lengths.push_back(flush.to - flush.from);
                variances.push_back(variance);
                who.push_back(i);
            }
        }
        if (who.size() < 4) {
            return;
        }
        constexpr std::size_t reach = 10;
        for (std::size_t i = 0; i < who.size(); ++i) {
            const std::size_t first = i > reach ? i - reach : 0;
            const std::size_t end = std::min(who.size(), i + reach + 1);
            std::vector<double> near(lengths.begin() + static_cast<std::ptrdiff_t>(first),
                                     lengths.begin() + static_cast<std::ptrdiff_t>(end));
            const double centre = median_of(near);
            std::vector<double> away;
            for (const double length : near) {
                away.push_back(std::abs(length - centre));
            }
            const double spread = 1.4826 * median_of(std::move(away));
            const double beyond = spread_beyond(lengths, variances, first, end, centre, spread);
            const auto [mean, mean_variance] =
                weighted_mean(lengths, variances, first, end, centre, beyond, spread);
            const double prior = beyond + mean_variance;
            if (!(prior > 0.0) || std::abs(lengths[i] - mean) > 5.0 * std::sqrt(prior + variances[i])) {
                continue; // this one was different
            }
            const double weight = prior / (prior + variances[i]);
            Flush& flush = flushes[who[i]];
            flush.to = flush.from + mean + (weight * (lengths[i] - mean));
            flush.to_error = std::sqrt((weight * variances[i]) + (flush.from_error * flush.from_error));
            if (beyond < 4.0) {
                usual_flush_ = mean;
            }
        }
    }

    static bool belongs(double length, double centre, double variance, double spread) {
        return std::abs(length - centre) <= 5.0 * std::max(spread, std::sqrt(variance)) + 1.0;
    }

    /// Variance of the lengths that their errors do not explain (moments).
    static double spread_beyond(const std::vector<double>& lengths, const std::vector<double>& variances,
                                std::size_t first, std::size_t end, double centre, double spread) {
        double weight_sum = 0.0;
        double excess = 0.0;
        for (std::size_t i = first; i < end; ++i) {
            if (!belongs(lengths[i], centre, variances[i], spread)) {
                continue;
            }
            const double w = 1.0 / (variances[i] * variances[i]);
            const double away = lengths[i] - centre;
            weight_sum += w;
            excess += w * ((away * away) - variances[i]);
        }
        return weight_sum > 0.0 ? std::max(0.0, excess / weight_sum) : 0.0;
    }

    static std::pair<double, double> weighted_mean(const std::vector<double>& lengths,
                                                   const std::vector<double>& variances, std::size_t first,
                                                   std::size_t end, double centre, double beyond,
                                                   double spread) {
        double weight_sum = 0.0;
        double sum = 0.0;
        for (std::size_t i = first; i < end; ++i) {
            if (belongs(lengths[i], centre, variances[i], spread)) {
                const double w = 1.0 / (variances[i] + beyond);
                weight_sum += w;
                sum += w * lengths[i];
            }
        }
        return weight_sum > 0.0 ? std::pair{sum / weight_sum, 1.0 / weight_sum} : std::pair{centre, infinite};
    }

    const Readings& all_;
    const FindSettings& settings_;
    CycleFitter fitter_;
    std::optional<double> usual_flush_;
};

/// How a trace without a single flush is to be taken.
FoundStates without_flush(const Readings& readings, Instant from, Instant to, double least) {
    FoundStates out;
    const auto line = detail::lane_line(readings.t, readings.y);
    const double fall = line ? -line->slope * (readings.t.back() - readings.t.front()) : 0.0;
    if (line && fall >= least && line->slope < -5.0 * line->slope_se) {
        out.runs = {{.state = ChamberState::sealed, .from = from, .to = to}};
        out.note = "no flush found and oxygen falls throughout: taken as sealed from beginning to end";
    } else {
        out.note = "no flush found, and oxygen does not fall clearly: states are not known";
    }
    return out;
}

} // namespace

Expected<FoundStates> find_states(std::span<const std::int64_t> times_ns,
                                  std::span<const double> oxygen_mg_per_l, const FindSettings& settings) {
    if (times_ns.size() != oxygen_mg_per_l.size()) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = std::to_string(times_ns.size()) + " times and " +
                              std::to_string(oxygen_mg_per_l.size()) + " readings",
                     .expected = "as many of one as of the other"});
    }
    const Readings readings = times_ns.empty() ? Readings{} : readings_of(times_ns, oxygen_mg_per_l);
    if (readings.t.size() < 30) {
        return fail({.code = ErrorCode::too_few,
                     .found = std::to_string(readings.t.size()) + " readings to find states in",
                     .expected = "at least 30",
                     .remedy = "give a pump column, a pump log or a timetable"});
    }
    const Instant origin = Instant::unix_nanoseconds(times_ns.front());
    const Instant end = Instant::unix_nanoseconds(times_ns.back()) + Duration::nanoseconds(1);
    const double width = std::max(10.0, 2.0 * readings.step);
    const double coarse_sd = noise_sd(readings) / std::sqrt(std::max(1.0, width / readings.step));
    const double least = std::max(settings.least_rise_mg_per_l, settings.rise_noise * coarse_sd);
    const Readings coarse = thinned(readings, 0, readings.t.size(), width);
    const auto turns = turns_of(coarse, least);
    if (turns.empty()) {
        return without_flush(readings, origin, end, least);
    }

    Finder finder(readings, settings);
    const auto flushes = finder.run(turns);
    FoundStates out;
    Instant since = origin;
    const auto add = [&](ChamberState state, Instant to) {
        if (since < to) {
            out.runs.push_back({.state = state, .from = since, .to = to});
            since = to;
        }
    };
    if (const auto first = finder.flush_at_start(turns.front())) {
        add(ChamberState::flush, origin + Duration::seconds(first->to));
        out.boundaries.push_back({.into = ChamberState::sealed, .at = since, .error_s = first->to_error});
    }
    for (const Flush& flush : flushes) {
        const Instant from = std::max(since, origin + Duration::seconds(flush.from));
        add(ChamberState::sealed, from);
        out.boundaries.push_back({.into = ChamberState::flush, .at = from, .error_s = flush.from_error});
        const Instant to = flush.to_end ? end : std::min(end, origin + Duration::seconds(flush.to));
        add(ChamberState::flush, to);
        if (!flush.to_end) {
            out.boundaries.push_back({.into = ChamberState::sealed, .at = to, .error_s = flush.to_error});
        }
    }
    add(ChamberState::sealed, end);
    if (finder.usual_flush()) {
        out.usual_flush = Duration::seconds(*finder.usual_flush());
        out.note = "flushes were alike, " + significant_text(*finder.usual_flush(), 3) +
                   " s: their common length was used where a corner was faint";
    }
    return out;
}

} // namespace backeddy::uptake
