// Recovery by fitted decay: one or two phases, the asymptote free or held, and the same fit with handling
// events allowed for or ended at the first of them.

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>

#include "base/number_text.hpp"
#include "fit/decay.hpp"
#include "fit/nonlinear.hpp"
#include "fit/quantile.hpp"
#include "fit/student.hpp"
#include "uptake/detail/recovery_parts.hpp"

namespace backeddy::uptake::detail {

namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr double infinity = std::numeric_limits<double>::infinity();
constexpr double grid_step_h = 1.0 / 60.0;
// A meeting later than so many times the last spell's hour is no time: an hour in a tube knows nothing of
// noon tomorrow, and the interval, which takes the form of the curve for true that far, does not know it
// either (choice).
constexpr double furthest_meeting = 3.0;

// A decay with its parameters in one row: the asymptote if it was fitted, amplitude and rate of each phase
// (fast first), then the amplitude of each event, which decays at the slowest rate.
struct Model {
    bool free_baseline = false;
    double fixed_baseline = 0.0;
    std::size_t phases = 1;
    std::vector<double> events_h;
    std::vector<double> theta;
    std::vector<double> covariance;
    double residual_sd = 0.0;
    double aicc = 0.0;
    std::optional<double> aicc_other;

    [[nodiscard]] std::size_t first_phase() const { return free_baseline ? 1 : 0; }
    [[nodiscard]] std::size_t first_event() const { return first_phase() + (2 * phases); }
    [[nodiscard]] double amplitude(std::span<const double> p, std::size_t i) const {
        return p[first_phase() + (2 * i)];
    }
    [[nodiscard]] double rate(std::span<const double> p, std::size_t i) const {
        return p[first_phase() + (2 * i) + 1];
    }
    [[nodiscard]] double baseline(std::span<const double> p) const {
        return free_baseline ? p[0] : fixed_baseline;
    }

    /// What was there at time zero, events left out, and its derivative by t.
    [[nodiscard]] double first_excess(std::span<const double> p, double t) const {
        double sum = 0.0;
        for (std::size_t i = 0; i < phases; ++i) {
            sum += amplitude(p, i) * std::exp(-rate(p, i) * t);
        }
        return sum;
    }
    [[nodiscard]] double first_excess_slope(std::span<const double> p, double t) const {
        double sum = 0.0;
        for (std::size_t i = 0; i < phases; ++i) {
            sum -= rate(p, i) * amplitude(p, i) * std::exp(-rate(p, i) * t);
        }
        return sum;
    }
    [[nodiscard]] double excess(std::span<const double> p, double t) const {
        double sum = first_excess(p, t);
        for (std::size_t j = 0; j < events_h.size(); ++j) {
            if (t >= events_h[j]) {
                sum += p[first_event() + j] * std::exp(-rate(p, phases - 1) * (t - events_h[j]));
            }
        }
        return sum;
    }
    [[nodiscard]] double at(std::span<const double> p, double t) const { return baseline(p) + excess(p, t); }
    /// Derivatives of (observed - at(p, t)) by each parameter, parameter k at out[k * stride].
    void write_slopes(std::span<const double> p, double t, std::span<double> out, std::size_t stride) const {
        if (free_baseline) {
            out[0] = -1.0;
        }
        for (std::size_t i = 0; i < phases; ++i) {
            const double left = std::exp(-rate(p, i) * t);
            out[(first_phase() + (2 * i)) * stride] = -left;
            out[(first_phase() + (2 * i) + 1) * stride] = amplitude(p, i) * t * left;
        }
        double& by_slowest = out[(first_event() - 1) * stride];
        for (std::size_t j = 0; j < events_h.size(); ++j) {
            const double since = t - events_h[j];
            const double left = since >= 0.0 ? std::exp(-rate(p, phases - 1) * since) : 0.0;
            out[(first_event() + j) * stride] = -left;
            by_slowest += p[first_event() + j] * since * left;
        }
    }
    [[nodiscard]] double area(std::span<const double> p, double until) const {
        double sum = 0.0;
        for (std::size_t i = 0; i < phases; ++i) {
            sum += excess_one_phase(amplitude(p, i), rate(p, i), until);
        }
        for (std::size_t j = 0; j < events_h.size(); ++j) {
            if (until > events_h[j]) {
                sum += excess_one_phase(p[first_event() + j], rate(p, phases - 1), until - events_h[j]);
            }
        }
        return sum;
    }
};

// How a fit is made: fixed before, so that a fit to data moved by one uncertainty differs by that alone.
struct Recipe {
    DecaySpan span = DecaySpan::through_events;
    std::size_t phases = 1;
    bool free_baseline = false;
    std::vector<double> events_h;
};

// The data of one fit, and the same moved by one standard uncertainty of one source.
struct Data {
    std::vector<double> h;
    std::vector<double> y;
    double level = 0.0; ///< that the asymptote is held at
};

Model model_of(const fit::Decay& decay) {
    Model out;
    out.free_baseline = decay.is_baseline_fitted;
    out.fixed_baseline = decay.baseline;
    out.phases = decay.phases.size();
    if (decay.is_baseline_fitted) {
        out.theta.push_back(decay.baseline);
    }
    for (const auto& phase : decay.phases) {
        out.theta.push_back(phase.amplitude);
        out.theta.push_back(phase.rate);
    }
    out.covariance = decay.covariance;
    out.residual_sd = decay.residual_sd;
    out.aicc = decay.aicc;
    return out;
}

Expected<Model> fitted_with_events(std::span<const double> h, std::span<const double> y, Model plain,
                                   const Recipe& recipe) {
    fit::NonlinearProblem problem;
    problem.residuals = h.size();
    problem.start = plain.theta;
    if (problem.start.size() == plain.first_event()) { // a decay without events so far
        const double little = 0.1 * plain.excess(plain.theta, 0.0);
        problem.start.insert(problem.start.end(), recipe.events_h.size(), little);
    }
    plain.events_h = recipe.events_h;
    problem.lower.assign(problem.start.size(), 0.0);
    problem.upper.assign(problem.start.size(), infinity);
    if (plain.free_baseline) {
        problem.lower[0] = -infinity;
    }
    problem.write_residuals = [&](std::span<const double> p, std::span<double> out) {
        for (std::size_t i = 0; i < h.size(); ++i) {
            out[i] = y[i] - plain.at(p, h[i]);
        }
    };
    problem.write_jacobian = [&](std::span<const double> p, std::span<double> out) {
        for (std::size_t i = 0; i < h.size(); ++i) {
            plain.write_slopes(p, h[i], out.subspan(i), h.size());
        }
    };
    auto fit = fit::fit_nonlinear(problem);
    if (!fit) {
        return fail(std::move(fit).error());
    }
    plain.theta = fit->parameters;
    plain.covariance = fit->covariance;
    plain.residual_sd = fit->residual_sd;
    const auto n = static_cast<double>(h.size());
    const double k =
        static_cast<double>(plain.theta.size()) + 1.0; // the variance counts (Hurvich and Tsai 1989)
    const double variance = fit->residual_squares / n;
    plain.aicc = n - k - 1.0 > 0.0 ? (n * (std::log(2.0 * 3.14159265358979323846 * variance) + 1.0)) +
                                         (2.0 * k) + (2.0 * k * (k + 1.0) / (n - k - 1.0))
                                   : infinity;
    plain.aicc_other.reset();
    return plain;
}

// `near`, if any, is the fit of almost the same data: the descent begins there.
Expected<Model> fitted(const Data& data, const Recipe& recipe, const Model* near = nullptr) {
    const auto& [h, y, level] = data;
    if (near != nullptr && !recipe.events_h.empty()) {
        auto start = *near;
        start.fixed_baseline = level;
        return fitted_with_events(h, y, std::move(start), recipe);
    }
    fit::DecayOptions options;
    options.phases = recipe.phases;
    if (!recipe.free_baseline) {
        options.baseline = level;
    }
    if (near != nullptr) {
        for (std::size_t i = 0; i < near->phases; ++i) {
            options.start_rates.push_back(near->rate(near->theta, i));
        }
    }
    auto decay = fit::fit_decay(h, y, options);
    if (!decay) {
        return fail(std::move(decay).error());
    }
    auto model = model_of(*decay);
    if (recipe.events_h.empty()) {
        return model;
    }
    return fitted_with_events(h, y, std::move(model), recipe);
}

double effect_of(const Measured& value, const std::string& source) {
    for (const auto& contribution : value.contributions()) {
        if (contribution.source == source) {
            return contribution.effect;
        }
    }
    return 0.0;
}

// One standard uncertainty of `source` in mg/h: of the whole-animal rate, or of the mass-specific one brought
// back to mg/h by the mass as it stands (so that the mass's own error shows).
enum class Scale : std::uint8_t { whole, specific };

double moved_by(const UptakeRate& rate, const std::string& source, Scale scale) {
    if (scale == Scale::whole) {
        return effect_of(rate.mg_per_h, source);
    }
    const double ratio = per_kilogram(rate);
    return ratio > 0.0 ? effect_of(*rate.mg_per_kg_h, source) / ratio : effect_of(rate.mg_per_h, source);
}

struct Context {
    const RecoveryInput& input;
    const RecoverySettings& settings;
    std::span<const Point> points; ///< those of this fit
    std::span<const Baseline> baselines;
    const RestElsewhere& elsewhere;
    const UptakeRate* held = nullptr; ///< rate that the asymptote is held at, if any
    std::set<std::string> own;
};

Data data_of(const Context& context, const std::string* source, Scale scale) {
    Data out;
    for (const auto& point : context.points) {
        out.h.push_back(point.h);
        out.y.push_back(point.mg_per_h() + (source != nullptr ? moved_by(point.rate, *source, scale) : 0.0));
    }
    if (context.held != nullptr) {
        out.level = context.held->mg_per_h.value() +
                    (source != nullptr ? moved_by(*context.held, *source, scale) : 0.0);
    }
    return out;
}

double moved_by(const Level& level, const std::string& source, Scale scale) {
    return ((1.0 - level.share) * moved_by(*level.before, source, scale)) +
           (level.share > 0.0 ? level.share * moved_by(*level.after, source, scale) : 0.0);
}

// Curve less baseline, the baseline moved by one uncertainty of `source` if any. A free asymptote is the mean
// of a night with its bursts, above the resting value by construction: there a share above rest is one above
// the asymptote, like measured from like.
double gap_at(const Context& context, const Model& model, std::span<const double> p, const Baseline& baseline,
              const std::string* source, Scale scale, double t) {
    const auto level = baseline.at(context.input.time_zero + Duration::hours(t));
    const double height = level.mg_per_h() + (source != nullptr ? moved_by(level, *source, scale) : 0.0);
    const bool from_asymptote = model.free_baseline && baseline.kind() == BaselineKind::resting_plus;
    return from_asymptote ? model.excess(p, t) - (baseline.part_above_rest() * height)
                          : model.at(p, t) - height;
}

struct Meeting {
    double h = nan;    ///< NaN: the curve does not come down to the baseline within the grid
    double area = nan; ///< above the baseline until then
};

// First time after the last event at which a gap (hours -> mg/h) is closed, on a grid of a minute.
template <typename Gap>
Meeting meeting_of(const Context& context, const Model& model, const Gap& gap) {
    const double last = context.points.back().h;
    const double reach = std::max(72.0, 3.0 * last);
    const double from = model.events_h.empty() ? 0.0 : model.events_h.back();
    double before = gap(0.0);
    double area = 0.0;
    if (before <= 0.0) {
        return {.h = 0.0, .area = 0.0};
    }
    const int steps = static_cast<int>(reach / grid_step_h);
    for (int i = 1; i <= steps; ++i) {
        const double t = i * grid_step_h;
        const double now = gap(t);
        if (now <= 0.0 && t >= from) {
            const double u = before > now ? std::clamp(before / (before - now), 0.0, 1.0) : 0.0;
            return {.h = t - ((1.0 - u) * grid_step_h), .area = area + (0.5 * before * u * grid_step_h)};
        }
        area += 0.5 * (before + now) * grid_step_h;
        before = now;
    }
    return {};
}

Meeting meeting_of(const Context& context, const Model& model, std::span<const double> p,
                   const Baseline& baseline, const std::string* source, Scale scale) {
    return meeting_of(context, model,
                      [&](double t) { return gap_at(context, model, p, baseline, source, scale, t); });
}

// Standard error of a function of the parameters by central differences (JCGM 100:2008, 5.2.2).
double delta_error(const Model& model, const std::function<double(std::span<const double>)>& of) {
    const std::size_t n = model.theta.size();
    std::vector<double> gradient(n);
    auto p = model.theta;
    for (std::size_t i = 0; i < n; ++i) {
        const double step = 1e-5 * std::max(std::abs(p[i]), 1e-9);
        const double kept = p[i];
        p[i] = kept + step;
        const double above = of(p);
        p[i] = kept - step;
        const double below = of(p);
        p[i] = kept;
        gradient[i] = (above - below) / (2.0 * step);
    }
    double variance = 0.0;
    for (std::size_t i = 0; i < n; ++i) {
        for (std::size_t j = 0; j < n; ++j) {
            variance += gradient[i] * gradient[j] * model.covariance[(i * n) + j];
        }
    }
    return std::sqrt(std::max(0.0, variance));
}

// When half of what was there at time zero is left.
double half_of(const Model& model, std::span<const double> p) {
    const double half = 0.5 * model.first_excess(p, 0.0);
    double low = 0.0;
    double high = std::log(2.0) / model.rate(p, model.phases - 1);
    for (int i = 0; i < 60; ++i) {
        const double middle = 0.5 * (low + high);
        (model.first_excess(p, middle) > half ? low : high) = middle;
    }
    return 0.5 * (low + high);
}

// What is read off one fit.
struct Readings {
    double half_h = nan;
    double area_all = nan;
    double area_first_hour = nan;
    std::vector<Meeting> meetings; ///< one per baseline
    std::vector<double> near_h;    ///< where the unmoved ones meet, else the last spell
    std::vector<double> gaps;      ///< curve less baseline there; of moved ones, by how much more
};

using Sources = std::set<std::string>;

void add_shared(Sources& to, const UptakeRate& rate, const Context& context) {
    for (const auto* member : {&rate.mg_per_h, rate.mg_per_kg_h ? &*rate.mg_per_kg_h : nullptr}) {
        if (member == nullptr) {
            continue;
        }
        for (const auto& contribution : member->contributions()) {
            if (!context.own.contains(contribution.source)) {
                to.insert(contribution.source);
            }
        }
    }
}

// Sources that move the data or the held asymptote: the curve is fitted again for each.
Sources sources_of_curve(const Context& context) {
    Sources out;
    for (const auto& point : context.points) {
        add_shared(out, point.rate, context);
    }
    if (context.held != nullptr) {
        add_shared(out, *context.held, context);
    }
    return out;
}

Sources sources_of_baseline(const Context& context, const Baseline& baseline) {
    Sources out;
    for (const auto* rate : baseline.rates()) {
        add_shared(out, *rate, context);
    }
    return out;
}

Readings read_off(const Context& context, const Model& model) {
    Readings out;
    out.half_h = half_of(model, model.theta);
    out.area_all = model.area(model.theta, infinity);
    out.area_first_hour = model.area(model.theta, 1.0);
    for (const auto& baseline : context.baselines) {
        out.meetings.push_back(meeting_of(context, model, model.theta, baseline, nullptr, Scale::whole));
        out.near_h.push_back(std::isfinite(out.meetings.back().h) ? out.meetings.back().h
                                                                  : context.points.back().h);
        out.gaps.push_back(
            gap_at(context, model, model.theta, baseline, nullptr, Scale::whole, out.near_h.back()));
    }
    return out;
}

// Fit, what is read off it, and the same for data moved by each shared source.
struct FullFit {
    Model model;
    Readings readings;
    std::vector<std::string> sources;
    std::vector<Readings> whole; ///< moved by each source
    std::vector<Readings> specific;
};

Expected<FullFit> full_fit(const Context& context, const Recipe& recipe) {
    const auto data = data_of(context, nullptr, Scale::whole);
    auto model = fitted(data, recipe);
    if (!model) {
        return fail(std::move(model).error());
    }
    FullFit out;
    out.model = std::move(*model);
    out.readings = read_off(context, out.model);
    const bool has_specific = context.points.front().rate.mg_per_kg_h.has_value();
    const Sources of_curve = sources_of_curve(context);
    Sources all = of_curve;
    std::vector<Sources> of_baselines;
    for (const auto& baseline : context.baselines) {
        of_baselines.push_back(sources_of_baseline(context, baseline));
        all.insert(of_baselines.back().begin(), of_baselines.back().end());
    }
    for (const auto& source : all) {
        const bool moves_curve = of_curve.contains(source);
        const auto moved = [&](Scale scale) {
            std::optional<Model> refit;
            if (moves_curve) {
                if (auto other = fitted(data_of(context, &source, scale), recipe, &out.model)) {
                    refit = std::move(*other);
                }
            }
            const Model& curve = refit ? *refit : out.model;
            Readings read = out.readings;
            std::fill(read.gaps.begin(), read.gaps.end(), 0.0);
            read.half_h = half_of(curve, curve.theta);
            read.area_all = curve.area(curve.theta, infinity);
            read.area_first_hour = curve.area(curve.theta, 1.0);
            for (std::size_t b = 0; b < context.baselines.size(); ++b) {
                if (!(moves_curve || of_baselines[b].contains(source))) {
                    continue;
                }
                const auto& baseline = context.baselines[b];
                if (std::isfinite(out.readings.meetings[b].h)) {
                    read.meetings[b] = meeting_of(context, curve, curve.theta, baseline, &source, scale);
                }
                // What the source moves there, not what the gap is where they do not meet.
                read.gaps[b] =
                    gap_at(context, curve, curve.theta, baseline, &source, scale, out.readings.near_h[b]) -
                    out.readings.gaps[b];
            }
            return read;
        };
        out.sources.push_back(source);
        out.whole.push_back(moved(Scale::whole));
        out.specific.push_back(has_specific ? moved(Scale::specific) : out.whole.back());
    }
    return out;
}

// What a number read off the fit has of its own beside the moved readings.
struct OwnDoubt {
    std::string name;
    double error = 0.0;
    /// Minus its derivative by time zero, per hour: the curve keeps its place, so that an hour later takes
    /// off an amount's integrand at the lower end (and adds that at an upper one which moves along).
    double lost_per_h = 0.0;
};

using Pick = std::function<double(const Readings&)>;

// A number read off the fit: the fit's own error under a name of its own, systematic ones by their names.
Measured measured_of(const FullFit& fit, const Context& context, const OwnDoubt& own, const Pick& pick,
                     const std::vector<Readings>& moved, double factor = 1.0) {
    const double value = pick(fit.readings);
    const double by_time_zero = -own.lost_per_h * context.input.time_zero_uncertainty.hours();
    std::vector<Contribution> parts{{own.name, own.error * factor}};
    if (by_time_zero != 0.0) {
        parts.push_back({time_zero_source(context.input), by_time_zero * factor});
    }
    for (std::size_t s = 0; s < fit.sources.size(); ++s) {
        const double effect = (pick(moved[s]) - value) * factor;
        if (std::isfinite(effect) && effect != 0.0) {
            parts.push_back({fit.sources[s], effect});
        }
    }
    return {value * factor, std::move(parts)};
}

OxygenAmount amount_of(const FullFit& fit, const Context& context, const OwnDoubt& own, const Pick& pick) {
    OxygenAmount out{.mg = measured_of(fit, context, own, pick, fit.whole), .mg_per_kg = std::nullopt};
    const double ratio = per_kilogram(context.points.front().rate);
    if (ratio > 0.0) {
        out.mg_per_kg = measured_of(fit, context, own, pick, fit.specific, ratio);
    }
    return out;
}

HalfTime half_time_of(const FullFit& fit, const Context& context) {
    const auto& model = fit.model;
    OwnDoubt own{.name = "decay fit:" + context.input.fish,
                 .error = delta_error(model, [&](auto p) { return half_of(model, p); })};
    // f(z + h) = f(z) / 2 for a time zero z later on the curve f: dh/dz = f'(z) / (2 f'(z + h)) - 1.
    const double slope_at_half = model.first_excess_slope(model.theta, fit.readings.half_h);
    if (model.phases > 1 && slope_at_half < 0.0) {
        own.lost_per_h = 1.0 - (model.first_excess_slope(model.theta, 0.0) / (2.0 * slope_at_half));
    }
    HalfTime out{.hours =
                     measured_of(fit, context, own, [](const Readings& r) { return r.half_h; }, fit.whole)};
    // The other sources' uncertainties count as known: as many degrees of freedom as one likes (G.4.1).
    const auto freedom = static_cast<double>(context.points.size() - model.theta.size());
    const double of_all = own.error > 0.0 ? out.hours.variance() / (own.error * own.error) : 1.0;
    out.interval = log_interval(out.hours, fit::two_sided_t(0.95, freedom * of_all * of_all));
    return out;
}

// Mean of what the curve has above its asymptote at the spells that count as rest.
double left_in_rest(const Context& context, const Model& model, std::span<const double> p) {
    const auto& routine = context.input.routine;
    if (!routine || !routine->from || !routine->to) {
        return 0.0;
    }
    double sum = 0.0;
    int n = 0;
    for (const auto& point : context.points) {
        if (point.at >= *routine->from && point.at <= *routine->to) {
            sum += model.excess(p, point.h);
            ++n;
        }
    }
    return n > 0 ? sum / n : 0.0;
}

DecayFit shown(const FullFit& fit, const Context& context, const Recipe& recipe, const std::string& fish) {
    const auto& model = fit.model;
    DecayFit out;
    out.span = recipe.span;
    out.shape = model.phases == 2 ? DecayShape::two_phase : DecayShape::one_phase;
    out.spells = context.points.size();
    out.baseline_mg_per_h = model.baseline(model.theta);
    out.baseline_fixed = !model.free_baseline;
    // A free asymptote too is that of a night which never got to rest.
    out.at_least = levels_too_high(context.input).has_value();
    const std::size_t n = model.theta.size();
    for (std::size_t i = 0; i < model.phases; ++i) {
        const std::size_t at_rate = model.first_phase() + (2 * i) + 1;
        out.amplitudes_mg_per_h.push_back(model.amplitude(model.theta, i));
        out.rates_per_h.push_back(model.rate(model.theta, i));
        out.rate_errors_per_h.push_back(std::sqrt(std::max(0.0, model.covariance[(at_rate * n) + at_rate])));
    }
    out.event_amplitudes_mg_per_h.assign(
        model.theta.begin() + static_cast<std::ptrdiff_t>(model.first_event()), model.theta.end());
    out.residual_sd_mg_per_h = model.residual_sd;
    out.aicc = model.aicc;
    out.aicc_other_shape = model.aicc_other;
    out.half_time = half_time_of(fit, context);
    const auto own = [&](double until_h) {
        return OwnDoubt{.name = "decay fit:" + fish,
                        .error = delta_error(model, [&](auto p) { return model.area(p, until_h); }),
                        .lost_per_h = model.excess(model.theta, 0.0) -
                                      (std::isfinite(until_h) ? model.excess(model.theta, until_h) : 0.0)};
    };
    out.excess_all = amount_of(fit, context, own(infinity), [](const Readings& r) { return r.area_all; });
    out.excess_first_hour =
        amount_of(fit, context, own(1.0), [](const Readings& r) { return r.area_first_hour; });
    const double all = fit.readings.area_all;
    out.beyond_share = all > 0.0 ? 1.0 - (model.area(model.theta, context.points.back().h) / all) : 0.0;
    const auto left = [&](std::span<const double> p) { return left_in_rest(context, model, p); };
    out.left_in_rest_mg_per_h = left(model.theta);
    out.left_in_rest_error_mg_per_h = delta_error(model, left);
    constexpr int corners = 120;
    for (int i = 0; i <= corners; ++i) {
        // Denser at the start, where the curve is steep.
        const double u = static_cast<double>(i) / corners;
        out.at_h.push_back(u * u * context.points.back().h);
        out.curve_mg_per_h.push_back(model.at(model.theta, out.at_h.back()));
    }
    return out;
}

// By how much the curve passes by the nine spells nearest to an hour: the middle one of their distances, so
// that a burst does not count. An exponential through a recovery that is none shows here.
double passed_by(const Context& context, const Model& model, double h) {
    constexpr std::size_t nearest = 9;
    std::vector<std::pair<double, double>> by_distance;
    for (const auto& point : context.points) {
        by_distance.emplace_back(std::abs(point.h - h), point.mg_per_h() - model.at(model.theta, point.h));
    }
    std::sort(by_distance.begin(), by_distance.end());
    by_distance.resize(std::min(by_distance.size(), nearest));
    std::vector<double> residuals;
    for (const auto& [distance, residual] : by_distance) {
        residuals.push_back(residual);
    }
    return std::abs(fit::quantile(residuals, 0.5).value_or(0.0));
}

// The earliest and the latest time at which the curve may meet the baseline: where it lies all the doubt
// under it, and over it. Late is NaN where it never does: the curve is too flat there for a time. A
// derivative of the time would see neither this nor a bend of the baseline.
struct Reach {
    double early = nan;
    double late = nan;
    LevelDoubt doubt;
};

Reach reach_of(const FullFit& fit, const Context& context, std::size_t b) {
    const auto& model = fit.model;
    const auto& baseline = context.baselines[b];
    const double h = fit.readings.near_h[b];
    double squares = std::pow(
        delta_error(model,
                    [&](auto p) { return gap_at(context, model, p, baseline, nullptr, Scale::whole, h); }),
        2);
    for (const auto& moved : fit.whole) {
        squares += moved.gaps[b] * moved.gaps[b];
    }
    // A free asymptote has the recovery that is left taken out.
    LevelDoubt doubt{.own = std::sqrt(squares),
                     .elsewhere = 0.0,
                     .form = passed_by(context, model, h),
                     .left = 0.0,
                     .left_error = 0.0};
    if (!model.free_baseline) {
        const auto left = [&](std::span<const double> p) { return left_in_rest(context, model, p); };
        doubt.left = left(model.theta);
        doubt.left_error = delta_error(model, left);
    }
    const auto doubt_at = [&](double t) {
        doubt.elsewhere = context.elsewhere.uncertainty(baseline, t);
        return doubt;
    };
    const auto gap = [&](double t) {
        return gap_at(context, model, model.theta, baseline, nullptr, Scale::whole, t);
    };
    Reach out;
    out.early = meeting_of(context, model, [&](double t) { return gap(t) - doubt_at(t).up(); }).h;
    out.late = meeting_of(context, model, [&](double t) { return gap(t) + doubt_at(t).down(); }).h;
    out.doubt = doubt_at(h);
    return out;
}

// Hours where they are known on both sides and the baseline is one to come back to; else a lower limit.
void fill_time(RecoveryTime& time, double h, const Reach& reach, const std::optional<Doubt>& doubt,
               double last_h) {
    if (std::isfinite(reach.early)) {
        time.at_least_h = std::min(reach.early, last_h);
    }
    if (doubt) {
        time.at_least_h = std::min(time.at_least_h, doubt->at_least_h);
        time.reason = doubt->reason.text;
    } else if (!std::isfinite(reach.late)) {
        time.reason = "meets it at " + fixed_text(h, 2) +
                      " h, but so flat that curve and baseline, with their uncertainties, need not meet";
    } else {
        time.hours = h;
        time.at_least_h = std::min(h, reach.early);
        time.at_most_h = std::max(h, reach.late);
        time.limits_from = reach.doubt.text();
        if (h > last_h) {
            time.reason = "beyond the last spell: by the fit alone";
        }
    }
}

void add_times(Recovery& out, const FullFit& fit, const Context& context) {
    const auto& model = fit.model;
    const double last_h = context.points.back().h;
    for (std::size_t b = 0; b < context.baselines.size(); ++b) {
        auto& answer = out.baselines[b];
        const auto& baseline = context.baselines[b];
        const auto& meeting = fit.readings.meetings[b];
        answer.by_fit.at_least_h = last_h;
        const Reach reach = reach_of(fit, context, b);
        if (!std::isfinite(meeting.h)) {
            answer.by_fit.at_least_h = std::isfinite(reach.early) ? std::min(reach.early, last_h) : last_h;
            answer.by_fit.reason = "the fitted curve does not come down to it: its asymptote is " +
                                   fixed_text(model.baseline(model.theta), 1) + " mg/h";
            continue;
        }
        fill_time(answer.by_fit, meeting.h, reach, doubt_of(context.input, baseline, meeting.h), last_h);
        const double own_error = delta_error(model, [&](std::span<const double> p) {
            return meeting_of(context, model, p, baseline, nullptr, Scale::whole).area;
        });
        const double at_zero = gap_at(context, model, model.theta, baseline, nullptr, Scale::whole, 0.0);
        answer.fitted_excess = amount_of(fit, context,
                                         {.name = "decay fit:" + context.input.fish,
                                          .error = std::isfinite(own_error) ? own_error : 0.0,
                                          .lost_per_h = std::max(0.0, at_zero)},
                                         [b](const Readings& r) { return r.meetings[b].area; });
        answer.fitted_excess_at_least = !answer.by_fit.hours.has_value();
        if (answer.by_fit.hours && meeting.h > furthest_meeting * last_h) {
            answer.by_fit = {.at_least_h = last_h,
                             .reason =
                                 "meets it at " + fixed_text(meeting.h, 1) +
                                 " h, more than three times as late as the last spell: too far to be a time"};
        }
    }
}

// Whether the last third of the span has come down to near the level, so that the asymptote may be left free.
bool is_flat(std::span<const Point> points, double level, double share) {
    const double from = points.back().h - ((points.back().h - points.front().h) / 3.0);
    double sum = 0.0;
    int n = 0;
    for (const auto& point : points) {
        if (point.h >= from) {
            sum += point.mg_per_h();
            ++n;
        }
    }
    return sum / n <= level * (1.0 + share);
}

// Two phases are believed when the spells can tell them: the slow one falls to a third within them (else it
// is a drift of the asymptote, and its integral without end has no meaning), the fast one is not over before
// the second spell, and their rates differ at least twofold (our choice).
bool tells_two_phases(const Model& model, std::span<const Point> points) {
    const double slow = model.rate(model.theta, model.phases - 1);
    const double fast = model.rate(model.theta, 0);
    return slow * (points.back().h - points.front().h) >= 1.0 && fast * points[1].h <= 10.0 &&
           fast >= 2.0 * slow;
}

// Handling events inside the spells, in hours, ascending.
struct EventsInside {
    std::vector<double> all_h;
    std::vector<double> told_h; ///< of several between two spells the first: no spell tells them apart
};

EventsInside events_inside(const RecoveryInput& input, std::span<const Point> points) {
    EventsInside out;
    for (const auto& event : input.events) {
        const double h = (event.at - input.time_zero).hours();
        if (h > points.front().h && h < points.back().h) {
            out.all_h.push_back(h);
        }
    }
    std::sort(out.all_h.begin(), out.all_h.end());
    for (const double h : out.all_h) {
        const bool is_told = out.told_h.empty() ||
                             std::any_of(points.begin(), points.end(),
                                         [&](const Point& p) { return p.h >= out.told_h.back() && p.h < h; });
        if (is_told) {
            out.told_h.push_back(h);
        }
    }
    return out;
}

void no_fit(Recovery& out, const std::string& why) {
    out.reasons.push_back({"no_fit", "no decay fitted: " + why});
    for (auto& baseline : out.baselines) {
        baseline.by_fit.reason = "no decay fitted";
    }
}

} // namespace

void add_fits(Recovery& out, const RecoveryInput& input, const RecoverySettings& settings,
              std::span<const Point> points, std::span<const Baseline> baselines,
              const RestElsewhere& elsewhere) {
    Context context{.input = input,
                    .settings = settings,
                    .points = points,
                    .baselines = baselines,
                    .elsewhere = elsewhere};
    context.own = own_sources(points);
    if (input.resting && std::isfinite(input.resting->mg_per_h.value())) {
        context.held = &*input.resting;
    } else if (input.routine) {
        context.held = &input.routine->whole_night;
    }
    if (points.size() < settings.least_for_fit) {
        no_fit(out, std::to_string(points.size()) + " spells, of " + std::to_string(settings.least_for_fit) +
                        " needed");
        return;
    }
    Recipe recipe;
    recipe.free_baseline =
        context.held == nullptr || is_flat(points, context.held->mg_per_h.value(), settings.flat_share);
    auto fit = full_fit(context, recipe);
    if (points.size() >= settings.least_for_two_phases) {
        auto two = recipe;
        two.phases = 2;
        if (auto other = full_fit(context, two); other && tells_two_phases(other->model, points)) {
            if (!fit || other->model.aicc < fit->model.aicc) {
                other->model.aicc_other = fit ? std::optional(fit->model.aicc) : std::nullopt;
                fit = std::move(other);
                recipe = two;
            } else {
                fit->model.aicc_other = other->model.aicc;
            }
        }
    }
    if (!fit) {
        no_fit(out, fit.error().text());
        return;
    }
    out.fit = shown(*fit, context, recipe, input.fish);
    add_times(out, *fit, context);
    if (out.fit->beyond_share > 0.2) {
        out.reasons.push_back({"extrapolated", fixed_text(100.0 * out.fit->beyond_share, 0) +
                                                   " % of the fitted excess lies beyond the last spell"});
    }

    const auto events = events_inside(input, points);
    if (events.all_h.empty()) {
        return;
    }
    out.reasons.push_back(
        {"handled",
         std::to_string(events.all_h.size()) + " handling event(s) lie inside, " +
             std::to_string(events.told_h.size()) +
             " that spells tell apart: one decay through them is shown beside lines with their own "
             "excess allowed for and ended at the first"});
    const auto add_line = [&](const Recipe& line, std::span<const Point> part, const std::string& what) {
        Context own = context;
        own.points = part;
        if (part.size() < settings.least_for_fit) {
            out.reasons.push_back(
                {"no_sensitivity_line", what + ": " + std::to_string(part.size()) + " spells, of " +
                                            std::to_string(settings.least_for_fit) + " needed"});
            return;
        }
        if (auto other = full_fit(own, line)) {
            out.sensitivity.push_back(shown(*other, own, line, input.fish));
        } else {
            out.reasons.push_back({"no_sensitivity_line", what + ": " + other.error().text()});
        }
    };
    Recipe allowed = recipe;
    allowed.span = DecaySpan::events_allowed_for;
    allowed.events_h = events.told_h;
    add_line(allowed, points, "events allowed for");
    const auto end = std::find_if(points.begin(), points.end(),
                                  [&](const Point& p) { return p.h >= events.told_h.front(); });
    const auto before = points.first(static_cast<std::size_t>(end - points.begin()));
    Recipe ended;
    ended.span = DecaySpan::ended_at_first_event;
    ended.free_baseline =
        before.size() >= settings.least_for_fit &&
        (context.held == nullptr || is_flat(before, context.held->mg_per_h.value(), settings.flat_share));
    add_line(ended, before, "ended at the first event");
}

} // namespace backeddy::uptake::detail
