#include "uptake/rate.hpp"

#include <algorithm>
#include <cmath>
#include <string_view>
#include <unordered_map>

namespace backeddy::uptake {

namespace {

template <typename Operation>
std::optional<Measured> both(const std::optional<Measured>& a, const std::optional<Measured>& b,
                             Operation operation) {
    if (!a || !b) {
        return std::nullopt;
    }
    return operation(*a, *b);
}

} // namespace

UptakeRate rate_of(const SpellUptake& spell) {
    return {.mg_per_h = spell.uptake_mg_per_h, .mg_per_kg_h = spell.uptake_mg_per_kg_h};
}

UptakeRate operator+(const UptakeRate& a, const UptakeRate& b) {
    return {.mg_per_h = a.mg_per_h + b.mg_per_h,
            .mg_per_kg_h = both(a.mg_per_kg_h, b.mg_per_kg_h,
                                [](const Measured& x, const Measured& y) { return x + y; })};
}

UptakeRate operator-(const UptakeRate& a, const UptakeRate& b) {
    return {.mg_per_h = a.mg_per_h - b.mg_per_h,
            .mg_per_kg_h = both(a.mg_per_kg_h, b.mg_per_kg_h,
                                [](const Measured& x, const Measured& y) { return x - y; })};
}

UptakeRate operator*(const UptakeRate& a, double k) {
    UptakeRate out{.mg_per_h = a.mg_per_h * k, .mg_per_kg_h = std::nullopt};
    if (a.mg_per_kg_h) {
        out.mg_per_kg_h = *a.mg_per_kg_h * k;
    }
    return out;
}

UptakeRate operator*(const UptakeRate& a, const Measured& k) {
    UptakeRate out{.mg_per_h = a.mg_per_h * k, .mg_per_kg_h = std::nullopt};
    if (a.mg_per_kg_h) {
        out.mg_per_kg_h = *a.mg_per_kg_h * k;
    }
    return out;
}

double per_kilogram(const UptakeRate& a) {
    if (!a.mg_per_kg_h || a.mg_per_h.value() == 0.0) {
        return 0.0;
    }
    return a.mg_per_kg_h->value() / a.mg_per_h.value();
}

UptakeRate with_uncertainty(const UptakeRate& a, double mg_per_h, const std::string& source) {
    UptakeRate out{.mg_per_h = a.mg_per_h.with(mg_per_h, source), .mg_per_kg_h = a.mg_per_kg_h};
    if (a.mg_per_kg_h) {
        out.mg_per_kg_h = a.mg_per_kg_h->with(mg_per_h * per_kilogram(a), source);
    }
    return out;
}

UptakeRate moved(const UptakeRate& a, double mg_per_h) {
    UptakeRate out{.mg_per_h = a.mg_per_h.shifted(mg_per_h), .mg_per_kg_h = a.mg_per_kg_h};
    if (a.mg_per_kg_h) {
        out.mg_per_kg_h = a.mg_per_kg_h->shifted(mg_per_h * per_kilogram(a));
    }
    return out;
}

Interval normal_interval(const Measured& value, double z) {
    const double half = z * value.standard_uncertainty();
    return {.low = value.value() - half, .high = value.value() + half};
}

template <typename Pick>
SystematicSums::Part SystematicSums::part_of(std::span<const SpellUptake> spells, Pick pick,
                                             std::vector<double>* own_errors) {
    // Names are looked up, not copied: a night's spells each bring one that no other has.
    std::unordered_map<std::string_view, std::size_t> times;
    for (const auto& spell : spells) {
        if (const Measured* rate = pick(spell)) {
            for (const auto& contribution : rate->contributions()) {
                ++times[contribution.source];
            }
        }
    }
    Part out;
    for (const auto& [source, seen] : times) {
        if (seen > 1) {
            out.sources.emplace_back(source);
        }
    }
    std::sort(out.sources.begin(), out.sources.end());
    for (const auto& spell : spells) {
        auto& effects = out.effects.emplace_back();
        const Measured* rate = pick(spell);
        out.values.push_back(rate != nullptr ? std::optional(rate->value()) : std::nullopt);
        double own = 0.0;
        for (const auto& contribution :
             rate != nullptr ? rate->contributions() : std::span<const Contribution>()) {
            const auto found = std::lower_bound(out.sources.begin(), out.sources.end(), contribution.source);
            if (found != out.sources.end() && *found == contribution.source) {
                effects.push_back({.source = static_cast<std::size_t>(found - out.sources.begin()),
                                   .effect = contribution.effect});
            } else {
                own += contribution.effect * contribution.effect;
            }
        }
        if (own_errors != nullptr) {
            own_errors->push_back(std::sqrt(own));
        }
    }
    return out;
}

SystematicSums::SystematicSums(std::span<const SpellUptake> spells) {
    whole_ = part_of(spells, [](const SpellUptake& spell) { return &spell.uptake_mg_per_h; }, &own_errors_);
    specific_ = part_of(
        spells,
        [](const SpellUptake& spell) {
            return spell.uptake_mg_per_kg_h ? &*spell.uptake_mg_per_kg_h : nullptr;
        },
        nullptr);
}

std::optional<Measured> SystematicSums::sum_of(const Part& part, std::span<const double> weights) {
    double value = 0.0;
    std::vector<std::optional<double>> sums(part.sources.size());
    for (std::size_t i = 0; i < weights.size(); ++i) {
        if (weights[i] == 0.0) {
            continue;
        }
        if (!part.values[i]) {
            return std::nullopt;
        }
        value += weights[i] * *part.values[i];
        for (const auto& [source, effect] : part.effects[i]) {
            sums[source] = sums[source] ? *sums[source] + (weights[i] * effect) : weights[i] * effect;
        }
    }
    std::vector<Contribution> kept;
    for (std::size_t k = 0; k < sums.size(); ++k) {
        if (sums[k]) {
            kept.push_back({part.sources[k], *sums[k]});
        }
    }
    return Measured(value, std::move(kept));
}

UptakeRate SystematicSums::of(std::span<const double> weights) const {
    return {.mg_per_h = sum_of(whole_, weights).value_or(Measured{}),
            .mg_per_kg_h = sum_of(specific_, weights)};
}

std::string joined(std::span<const Reason> reasons) {
    std::string out;
    for (const auto& reason : reasons) {
        if (!out.empty()) {
            out += "; ";
        }
        out += reason.text;
    }
    return out;
}

} // namespace backeddy::uptake
