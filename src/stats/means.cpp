#include "stats/means.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include <fmt/format.h>

namespace backeddy::stats {

namespace {

/// The values at which one variable of the model is looked at, and what they are called.
struct Axis {
    std::vector<double> values;
    std::vector<std::string> names;
};

const MeansRequest::At* held(const MeansRequest& request, const std::string& name) {
    const auto found =
        std::find_if(request.at.begin(), request.at.end(), [&](const auto& at) { return at.column == name; });
    return found == request.at.end() ? nullptr : &*found;
}

Axis axis_of(const Variable& variable, const MeansRequest& request) {
    Axis out;
    for (std::size_t k = 0; k < variable.levels.size(); ++k) {
        out.values.push_back(static_cast<double>(k));
        out.names.push_back(variable.levels[k]);
    }
    if (!variable.levels.empty()) {
        return out;
    }
    const auto* at = held(request, variable.name);
    out.values = at != nullptr ? at->values : std::vector<double>{variable.mean};
    for (const double v : out.values) {
        out.names.push_back(fmt::format("{}", v));
    }
    return out;
}

Expected<void> check(const Design& design, const MeansRequest& request) {
    std::vector<std::string> known;
    for (const auto& variable : design.variables()) {
        known.push_back(variable.name);
    }
    std::vector<std::string> asked = request.of;
    asked.insert(asked.end(), request.by.begin(), request.by.end());
    std::vector<std::string> all = asked;
    for (const auto& at : request.at) {
        all.push_back(at.column);
    }
    for (const auto& name : all) {
        if (std::find(known.begin(), known.end(), name) == known.end()) {
            const auto near = nearest_name(name, known);
            return fail({.code = ErrorCode::unknown_name,
                         .found = fmt::format("means of \"{}\", which is not in the model", name),
                         .expected = fmt::format("one of {}", fmt::join(known, ", ")),
                         .remedy = near ? fmt::format("did you mean \"{}\"?", *near) : ""});
        }
    }
    if (request.of.empty()) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = "means of nothing",
                     .expected = "a column whose levels are compared"});
    }
    for (const auto& variable : design.variables()) {
        const bool is_factor = !variable.levels.empty();
        const auto times = std::count(asked.begin(), asked.end(), variable.name);
        const auto* at = held(request, variable.name);
        if (times > 1) {
            return fail({.code = ErrorCode::bad_relation,
                         .found = fmt::format("\"{}\" asked for twice", variable.name),
                         .expected = "each column once"});
        }
        if (is_factor ? at != nullptr : (times == 1 && (at == nullptr || at->values.empty()))) {
            return fail({.code = ErrorCode::bad_relation,
                         .found = is_factor ? fmt::format("values for the factor \"{}\"", variable.name)
                                            : fmt::format("means of the numbers \"{}\"", variable.name),
                         .expected = is_factor ? "values for columns of numbers alone"
                                               : "the values at which they are wanted"});
        }
    }
    return {};
}

/// Places of the named columns among the variables.
std::vector<std::size_t> places(const Design& design, const std::vector<std::string>& names) {
    std::vector<std::size_t> out;
    for (const auto& name : names) {
        const auto& all = design.variables();
        out.push_back(static_cast<std::size_t>(
            std::find_if(all.begin(), all.end(), [&](const Variable& v) { return v.name == name; }) -
            all.begin()));
    }
    return out;
}

/// Steps through the chosen axes like the digits of a number, the last one fastest; false after the last.
bool next(std::vector<std::size_t>& digit, const std::vector<std::size_t>& chosen,
          const std::vector<Axis>& axes) {
    for (std::size_t k = chosen.size(); k-- > 0;) {
        if (++digit[chosen[k]] < axes[chosen[k]].values.size()) {
            return true;
        }
        digit[chosen[k]] = 0;
    }
    return false;
}

void adjust(std::vector<Comparison>& family, std::size_t means, const CompareOptions& options) {
    std::vector<double> alone;
    for (const auto& one : family) {
        alone.push_back(one.p_alone);
    }
    const auto adjusted = options.adjustment == Adjustment::holm                 ? holm(alone)
                          : options.adjustment == Adjustment::benjamini_hochberg ? benjamini_hochberg(alone)
                                                                                 : alone;
    const double share = options.adjustment == Adjustment::holm
                             ? (1.0 - options.level) / static_cast<double>(family.size())
                             : 1.0 - options.level;
    for (std::size_t i = 0; i < family.size(); ++i) {
        auto& e = family[i].estimate;
        family[i].family = family.size();
        double half = two_sided_quantile(1.0 - share, e.freedom);
        e.p = adjusted[i];
        if (options.adjustment == Adjustment::tukey) {
            half = studentized_range_quantile(options.level, means, e.freedom) / std::numbers::sqrt2;
            e.p = studentized_range_upper(std::abs(e.statistic) * std::numbers::sqrt2, means, e.freedom);
        }
        e.lower = e.value - (half * e.se);
        e.upper = e.value + (half * e.se);
    }
}

} // namespace

Expected<std::vector<Mean>> marginal_means(const Design& design, const MeansRequest& request,
                                           const ContrastTest& test) {
    if (auto fine = check(design, request); !fine) {
        return fail(std::move(fine).error());
    }
    std::vector<Axis> axes;
    for (const auto& variable : design.variables()) {
        axes.push_back(axis_of(variable, request));
    }
    const auto of = places(design, request.of);
    const auto by = places(design, request.by);
    std::vector<std::size_t> chosen = by;
    chosen.insert(chosen.end(), of.begin(), of.end());
    std::vector<std::size_t> averaged;
    for (std::size_t k = 0; k < axes.size(); ++k) {
        if (std::find(chosen.begin(), chosen.end(), k) == chosen.end()) {
            averaged.push_back(k);
        }
    }
    std::vector<Mean> out;
    std::vector<std::size_t> digit(axes.size(), 0);
    std::vector<double> point(axes.size());
    do {
        Mean mean{.weights = std::vector<double>(design.columns(), 0.0)};
        for (const std::size_t k : of) {
            mean.of.push_back(axes[k].names[digit[k]]);
        }
        for (const std::size_t k : by) {
            mean.by.push_back(axes[k].names[digit[k]]);
        }
        double cells = 0.0;
        do {
            for (std::size_t k = 0; k < axes.size(); ++k) {
                point[k] = axes[k].values[digit[k]];
            }
            const auto row = design.row_at(point);
            for (std::size_t k = 0; k < row.size(); ++k) {
                mean.weights[k] += row[k];
            }
            cells += 1.0;
        } while (next(digit, averaged, axes));
        for (auto& w : mean.weights) {
            w /= cells;
        }
        mean.estimate = test(fmt::format("{}", fmt::join(mean.of, ", ")), mean.weights);
        out.push_back(std::move(mean));
    } while (next(digit, chosen, axes));
    return out;
}

Expected<std::vector<Comparison>> compare(const std::vector<Mean>& means, const ContrastTest& test,
                                          const CompareOptions& options) {
    if (options.against == Against::first && options.adjustment == Adjustment::tukey) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = "Tukey's adjustment for comparisons with the first alone",
                     .expected = "every pair compared",
                     .remedy = "compare every pair, or adjust by Holm"});
    }
    std::vector<Comparison> out;
    for (std::size_t from = 0; from < means.size();) {
        std::size_t end = from;
        while (end < means.size() && means[end].by == means[from].by) {
            ++end;
        }
        if (end - from < 2) {
            return fail({.code = ErrorCode::too_few,
                         .found = fmt::format("the one mean \"{}\"", means[from].estimate.name),
                         .expected = "two means or more to compare"});
        }
        std::vector<Comparison> family;
        const std::size_t last = options.against == Against::first ? from + 1 : end;
        for (std::size_t a = from; a < last; ++a) {
            for (std::size_t b = a + 1; b < end; ++b) {
                std::vector<double> weights;
                for (std::size_t k = 0; k < means[a].weights.size(); ++k) {
                    weights.push_back(means[b].weights[k] - means[a].weights[k]);
                }
                Comparison one{
                    .by = means[a].by,
                    .estimate = test(fmt::format("{} - {}", means[b].estimate.name, means[a].estimate.name),
                                     weights)};
                one.p_alone = one.estimate.p;
                family.push_back(std::move(one));
            }
        }
        adjust(family, end - from, options);
        out.insert(out.end(), family.begin(), family.end());
        from = end;
    }
    return out;
}

} // namespace backeddy::stats
