#include "uptake/rate.hpp"

#include <algorithm>
#include <map>

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

// Sources that at least two spells share, by one of the spell's two rates.
template <typename Pick>
std::vector<std::string> shared_sources(std::span<const SpellUptake> spells, Pick pick) {
    std::map<std::string, int> seen;
    for (const auto& spell : spells) {
        const Measured* rate = pick(spell);
        if (rate == nullptr) {
            continue;
        }
        for (const auto& contribution : rate->contributions()) {
            ++seen[contribution.source];
        }
    }
    std::vector<std::string> shared;
    for (const auto& [source, times] : seen) {
        if (times > 1) {
            shared.push_back(source);
        }
    }
    return shared; // ascending, as the map is
}

template <typename Pick>
std::optional<Measured> shared_sum(std::span<const SpellUptake> spells, std::span<const double> weights,
                                   Pick pick) {
    const auto shared = shared_sources(spells, pick);
    double value = 0.0;
    std::vector<Contribution> kept;
    for (std::size_t i = 0; i < spells.size(); ++i) {
        if (weights[i] == 0.0) {
            continue;
        }
        const Measured* rate = pick(spells[i]);
        if (rate == nullptr) {
            return std::nullopt;
        }
        value += weights[i] * rate->value();
        for (const auto& contribution : rate->contributions()) {
            if (std::binary_search(shared.begin(), shared.end(), contribution.source)) {
                kept.push_back({contribution.source, weights[i] * contribution.effect});
            }
        }
    }
    return Measured(value, std::move(kept));
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

UptakeRate systematic_sum(std::span<const SpellUptake> spells, std::span<const double> weights) {
    const auto whole = [](const SpellUptake& spell) { return &spell.uptake_mg_per_h; };
    const auto specific = [](const SpellUptake& spell) {
        return spell.uptake_mg_per_kg_h ? &*spell.uptake_mg_per_kg_h : nullptr;
    };
    return {.mg_per_h = shared_sum(spells, weights, whole).value_or(Measured{}),
            .mg_per_kg_h = shared_sum(spells, weights, specific)};
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
