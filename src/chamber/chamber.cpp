#include "chamber/chamber.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <numeric>

#include <fmt/format.h>

namespace backeddy::chamber {

namespace {

using Vector = std::vector<double>;

/// Square, row by row.
struct Matrix {
    std::size_t n = 0;
    Vector a;
    explicit Matrix(std::size_t size) : n(size), a(size * size, 0.0) {}
    double& at(std::size_t i, std::size_t j) { return a[(i * n) + j]; }
    [[nodiscard]] double at(std::size_t i, std::size_t j) const { return a[(i * n) + j]; }
};

Matrix product(const Matrix& x, const Matrix& y) {
    Matrix z(x.n);
    for (std::size_t i = 0; i < x.n; ++i) {
        for (std::size_t k = 0; k < x.n; ++k) {
            const double f = x.at(i, k);
            for (std::size_t j = 0; j < x.n; ++j) {
                z.at(i, j) += f * y.at(k, j);
            }
        }
    }
    return z;
}

Vector product(const Matrix& x, const Vector& v) {
    Vector z(x.n, 0.0);
    for (std::size_t i = 0; i < x.n; ++i) {
        for (std::size_t j = 0; j < x.n; ++j) {
            z[i] += x.at(i, j) * v[j];
        }
    }
    return z;
}

double row_norm(const Matrix& x) {
    double most = 0.0;
    for (std::size_t i = 0; i < x.n; ++i) {
        double sum = 0.0;
        for (std::size_t j = 0; j < x.n; ++j) {
            sum += std::abs(x.at(i, j));
        }
        most = std::max(most, sum);
    }
    return most;
}

/// e^(A h) by its series after halving h until the norm is under 1/2, then squaring (scaling and squaring;
/// Moler and Van Loan 2003, SIAM Rev 45:3, method 3). Sixteen terms leave 0.5^17/17! < 1e-19.
Matrix exponential(const Matrix& a, double h) {
    int halvings = 0;
    double scaled = h;
    while (row_norm(a) * std::abs(scaled) > 0.5) {
        scaled /= 2.0;
        ++halvings;
    }
    Matrix sum(a.n);
    Matrix term(a.n);
    for (std::size_t i = 0; i < a.n; ++i) {
        sum.at(i, i) = term.at(i, i) = 1.0;
    }
    for (int k = 1; k <= 16; ++k) {
        term = product(term, a);
        for (std::size_t i = 0; i < term.a.size(); ++i) {
            term.a[i] *= scaled / k;
            sum.a[i] += term.a[i];
        }
    }
    for (int k = 0; k < halvings; ++k) {
        sum = product(sum, sum);
    }
    return sum;
}

// Gauss-Legendre on [0, 1], 4 points (Abramowitz and Stegun 1964, table 25.4).
constexpr std::array<double, 4> node{0.5 - (0.5 * 0.8611363115940526), 0.5 - (0.5 * 0.3399810435848563),
                                     0.5 + (0.5 * 0.3399810435848563), 0.5 + (0.5 * 0.8611363115940526)};
constexpr std::array<double, 4> weight{0.5 * 0.3478548451374538, 0.5 * 0.6521451548625461,
                                       0.5 * 0.6521451548625461, 0.5 * 0.3478548451374538};

/// Where each unknown stands in x, and the system's matrices for one flow.
struct System {
    Matrix a;
    Vector fish;     ///< change of x per mg/h
    Vector microbes; ///< change of x per mg/h
    Vector inflow;   ///< change of x per mg/L of inflow
};

std::size_t unknowns(const Vessel& vessel) {
    return vessel.cells_l.size() + (vessel.bubble ? 1 : 0) + (vessel.sensor_lag_s > 0.0 ? 1 : 0);
}

System system_of(const Vessel& vessel, double flow_l_per_min) {
    const std::size_t cells = vessel.cells_l.size();
    const std::size_t n = unknowns(vessel);
    System s{.a = Matrix(n), .fish = Vector(n, 0.0), .microbes = Vector(n, 0.0), .inflow = Vector(n, 0.0)};
    const double F = flow_l_per_min / 60.0;
    const double Q = vessel.round_flow_l_per_min / 60.0;
    const double L = vessel.leak_l_per_min / 60.0;
    for (std::size_t i = 0; i < cells; ++i) {
        const double V = vessel.cells_l[i];
        s.a.at(i, i) -= (F + Q) / V;
        if (i > 0) {
            s.a.at(i, i - 1) += (F + Q) / V;
        }
        s.microbes[i] = -1.0 / vessel.water_l() / 3600.0;
    }
    const double V0 = vessel.cells_l[0];
    s.a.at(0, cells - 1) += Q / V0;
    s.a.at(0, 0) -= L / V0;
    s.inflow[0] = (F + L) / V0;
    s.fish[vessel.fish_cell] = -1.0 / vessel.cells_l[vessel.fish_cell] / 3600.0;
    std::size_t next = cells;
    if (vessel.bubble) {
        const double K = vessel.bubble->exchange_l_per_min / 60.0;
        s.a.at(0, 0) -= K / V0;
        s.a.at(0, next) += K / V0;
        s.a.at(next, 0) += K / vessel.bubble->equivalent_l;
        s.a.at(next, next) -= K / vessel.bubble->equivalent_l;
        ++next;
    }
    if (vessel.sensor_lag_s > 0.0) {
        s.a.at(next, vessel.sensor_cell) += 1.0 / vessel.sensor_lag_s;
        s.a.at(next, next) -= 1.0 / vessel.sensor_lag_s;
    }
    return s;
}

/// One step's length and flow, ready to be taken many times.
struct Step {
    std::int64_t length_ns = 0;
    double flow_l_per_min = 0.0;
    Matrix whole;
    std::array<Vector, node.size()> fish;
    std::array<Vector, node.size()> microbes;
    std::array<Vector, node.size()> inflow;
    double seconds = 0.0;
};

Step prepared(const Vessel& vessel, double flow_l_per_min, std::int64_t length_ns) {
    const auto system = system_of(vessel, flow_l_per_min);
    const double h = static_cast<double>(length_ns) * 1e-9;
    Step step{.length_ns = length_ns,
              .flow_l_per_min = flow_l_per_min,
              .whole = exponential(system.a, h),
              .seconds = h};
    for (std::size_t j = 0; j < node.size(); ++j) {
        auto rest = exponential(system.a, h * (1.0 - node[j]));
        for (auto& value : rest.a) {
            value *= h * weight[j];
        }
        step.fish[j] = product(rest, system.fish);
        step.microbes[j] = product(rest, system.microbes);
        step.inflow[j] = product(rest, system.inflow);
    }
    return step;
}

class Stepper {
  public:
    Stepper(const Vessel& vessel, const Forces& forces) : vessel_(vessel), forces_(forces) {}

    /// x from `from_s` to `to_s` under one flow and smooth forces.
    void advance(Vector& x, double from_s, double to_s, double flow_l_per_min) {
        const auto length_ns = std::llround((to_s - from_s) * 1e9);
        if (length_ns <= 0) {
            return;
        }
        const double longest_s = longest_step_s(flow_l_per_min);
        const auto parts =
            static_cast<std::int64_t>(std::ceil(static_cast<double>(length_ns) * 1e-9 / longest_s - 1e-9));
        const auto part_ns = length_ns / parts;
        double t = from_s;
        for (std::int64_t p = 0; p < parts; ++p) {
            const auto ns = p + 1 < parts ? part_ns : length_ns - (part_ns * (parts - 1));
            take(x, t, step_for(flow_l_per_min, ns));
            t += static_cast<double>(ns) * 1e-9;
        }
    }

  private:
    /// Short enough that the quadrature sees the fastest mode of the system and of the forces (rises of some
    /// 20 s).
    double longest_step_s(double flow_l_per_min) {
        if (flow_l_per_min != flow_of_longest_ || longest_ == 0.0) {
            flow_of_longest_ = flow_l_per_min;
            const double fastest = row_norm(system_of(vessel_, flow_l_per_min).a);
            longest_ = fastest > 0.0 ? std::clamp(1.0 / fastest, 0.02, 5.0) : 5.0;
        }
        return longest_;
    }

    const Step& step_for(double flow_l_per_min, std::int64_t length_ns) {
        const auto found = std::find_if(kept_.begin(), kept_.end(), [&](const Step& s) {
            return s.length_ns == length_ns && s.flow_l_per_min == flow_l_per_min;
        });
        if (found != kept_.end()) {
            std::rotate(kept_.begin(), found, found + 1);
        } else {
            constexpr std::size_t most_kept = 8;
            if (kept_.size() == most_kept) {
                kept_.pop_back();
            }
            kept_.insert(kept_.begin(), prepared(vessel_, flow_l_per_min, length_ns));
        }
        return kept_.front();
    }

    void take(Vector& x, double t, const Step& step) const {
        Vector y = product(step.whole, x);
        for (std::size_t j = 0; j < node.size(); ++j) {
            const double at = t + (node[j] * step.seconds);
            add(y, step.fish[j], forces_.fish_mg_per_h, at);
            add(y, step.microbes[j], forces_.microbes_mg_per_h, at);
            add(y, step.inflow[j], forces_.inflow_mg_per_l, at);
        }
        x = std::move(y);
    }

    static void add(Vector& y, const Vector& effect, const std::function<double(double)>& force, double at) {
        if (force) {
            const double u = force(at);
            for (std::size_t i = 0; i < y.size(); ++i) {
                y[i] += effect[i] * u;
            }
        }
    }

    const Vessel& vessel_;
    const Forces& forces_;
    std::vector<Step> kept_;
    double flow_of_longest_ = -1.0;
    double longest_ = 0.0;
};

Error unfit(std::string found, std::string expected) {
    return {.code = ErrorCode::out_of_range,
            .found = std::move(found),
            .expected = std::move(expected),
            .remedy = "mend the simulation's plan"};
}

bool at_least_zero(double value) {
    return std::isfinite(value) && value >= 0.0;
}

Expected<void> fit_to_run(const Vessel& vessel, const State& start, std::span<const FlowChange> flows,
                          std::span<const double> times_s) {
    const bool volumes_ok =
        !vessel.cells_l.empty() && std::all_of(vessel.cells_l.begin(), vessel.cells_l.end(),
                                               [](double v) { return std::isfinite(v) && v > 0.0; });
    if (!volumes_ok) {
        return fail(unfit("a chamber without water", "every cell holds more than 0 L beside the fish"));
    }
    if (vessel.fish_cell >= vessel.cells_l.size() || vessel.sensor_cell >= vessel.cells_l.size()) {
        return fail(unfit("a fish or sensor outside the chamber's cells", "a cell counted from 0"));
    }
    if (!at_least_zero(vessel.round_flow_l_per_min) || !at_least_zero(vessel.leak_l_per_min) ||
        !at_least_zero(vessel.sensor_lag_s)) {
        return fail(unfit("a negative loop flow, leak or sensor lag", "0 or more"));
    }
    if (vessel.bubble &&
        !(vessel.bubble->equivalent_l > 0.0 && at_least_zero(vessel.bubble->exchange_l_per_min))) {
        return fail(unfit("a bubble without volume", "an equivalent volume above 0 L"));
    }
    if (start.cells_mg_per_l.size() != vessel.cells_l.size()) {
        return fail(unfit(fmt::format("a start of {} cells", start.cells_mg_per_l.size()),
                          fmt::format("{}, as the vessel has", vessel.cells_l.size())));
    }
    if (times_s.empty() || times_s.front() < start.at_s || !std::is_sorted(times_s.begin(), times_s.end())) {
        return fail(unfit("no moments, or moments out of order", "ascending moments from the start on"));
    }
    const bool flows_ok =
        std::is_sorted(flows.begin(), flows.end(),
                       [](const FlowChange& a, const FlowChange& b) { return a.at_s < b.at_s; }) &&
        std::all_of(flows.begin(), flows.end(),
                    [](const FlowChange& f) { return at_least_zero(f.flow_l_per_min); });
    if (!flows_ok) {
        return fail(unfit("flows out of order or below 0", "ascending changes of 0 L/min or more"));
    }
    return {};
}

Vector vector_of(const Vessel& vessel, const State& state) {
    Vector x = state.cells_mg_per_l;
    if (vessel.bubble) {
        x.push_back(state.bubble_mg_per_l);
    }
    if (vessel.sensor_lag_s > 0.0) {
        x.push_back(state.lagged_mg_per_l);
    }
    return x;
}

State state_of(const Vessel& vessel, const Vector& x, double at_s) {
    const std::size_t cells = vessel.cells_l.size();
    State state{.at_s = at_s,
                .cells_mg_per_l = Vector(x.begin(), x.begin() + static_cast<std::ptrdiff_t>(cells)),
                .bubble_mg_per_l = vessel.bubble ? x[cells] : x[0]};
    state.lagged_mg_per_l = vessel.sensor_lag_s > 0.0 ? x.back() : x[vessel.sensor_cell];
    return state;
}

} // namespace

double Vessel::water_l() const {
    return std::accumulate(cells_l.begin(), cells_l.end(), 0.0);
}

double State::oxygen_mg(const Vessel& vessel) const {
    const double water =
        std::inner_product(cells_mg_per_l.begin(), cells_mg_per_l.end(), vessel.cells_l.begin(), 0.0);
    return water + (vessel.bubble ? vessel.bubble->equivalent_l * bubble_mg_per_l : 0.0);
}

double State::mean_mg_per_l(const Vessel& vessel) const {
    return std::inner_product(cells_mg_per_l.begin(), cells_mg_per_l.end(), vessel.cells_l.begin(), 0.0) /
           vessel.water_l();
}

State level_state(const Vessel& vessel, double at_s, double mg_per_l) {
    return {.at_s = at_s,
            .cells_mg_per_l = Vector(vessel.cells_l.size(), mg_per_l),
            .bubble_mg_per_l = mg_per_l,
            .lagged_mg_per_l = mg_per_l};
}

Expected<Run> run(const Vessel& vessel, const State& start, std::span<const FlowChange> flows,
                  const Forces& forces, std::span<const double> times_s) {
    if (auto fit = fit_to_run(vessel, start, flows, times_s); !fit) {
        return fail(std::move(fit).error());
    }
    Stepper stepper(vessel, forces);
    Run result;
    result.mean_mg_per_l.reserve(times_s.size());
    result.sensed_mg_per_l.reserve(times_s.size());
    Vector x = vector_of(vessel, start);
    double t = start.at_s;
    auto flow = std::upper_bound(flows.begin(), flows.end(), t,
                                 [](double at, const FlowChange& f) { return at < f.at_s; });
    auto bend = std::upper_bound(forces.breaks_s.begin(), forces.breaks_s.end(), t);
    for (const double asked : times_s) {
        while (t < asked) {
            double stop = asked;
            if (flow != flows.end()) {
                stop = std::min(stop, flow->at_s);
            }
            if (bend != forces.breaks_s.end()) {
                stop = std::min(stop, *bend);
            }
            stepper.advance(x, t, stop, flow == flows.begin() ? 0.0 : std::prev(flow)->flow_l_per_min);
            t = stop;
            while (flow != flows.end() && flow->at_s <= t) {
                ++flow;
            }
            while (bend != forces.breaks_s.end() && *bend <= t) {
                ++bend;
            }
        }
        const auto state = state_of(vessel, x, t);
        if (std::any_of(state.cells_mg_per_l.begin(), state.cells_mg_per_l.end(),
                        [](double c) { return !(c >= 0.0); })) {
            return fail(unfit(fmt::format("no oxygen left in the water at {:.0f} s", t),
                              "a chamber, cycle and flow that keep the fish alive"));
        }
        result.mean_mg_per_l.push_back(state.mean_mg_per_l(vessel));
        result.sensed_mg_per_l.push_back(state.lagged_mg_per_l);
    }
    result.end = state_of(vessel, x, t);
    return result;
}

double washed_share(double turnovers) {
    return -std::expm1(-turnovers);
}

double minutes_to_wash(double share, double water_l, double flow_l_per_min) {
    return -water_l / flow_l_per_min * std::log1p(-share);
}

double flush_level_mg_per_l(double inflow_mg_per_l, double uptake_mg_per_h, double flow_l_per_min) {
    return inflow_mg_per_l - (uptake_mg_per_h / 60.0 / flow_l_per_min);
}

double flushed_mg_per_l(double start_mg_per_l, double flush_level_mg_per_l, double turnovers) {
    return flush_level_mg_per_l + ((start_mg_per_l - flush_level_mg_per_l) * std::exp(-turnovers));
}

} // namespace backeddy::chamber
