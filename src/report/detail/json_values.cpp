#include "report/detail/json_values.hpp"

#include <algorithm>
#include <map>

#include <fmt/format.h>

#include "base/number_text.hpp"

namespace backeddy::report::detail {

namespace {

/// What a figure can show: six significant digits, in the shortest notation.
std::string six_digits(double value) {
    return exact_text(parse_number(fmt::format("{:.5e}", value)).value_or(0.0));
}

/// An integral over a night has a hundred sources that each do next to nothing: those under this share of the
/// variance are gathered by kind.
constexpr double least_named_share = 0.01;

struct Gathered {
    std::size_t count = 0;
    double squares = 0.0;
    double last_effect = 0.0;
    std::string last_source;
};

/// An Interval, or one source of uncertainty, as an object.
class SmallWriter : public StructWriter<SmallWriter> {
  public:
    using StructWriter::put;
    SmallWriter(JsonStream& out, Detail detail) : StructWriter(out, detail) {}
    void put(const Interval& v) {
        object("low", v.low, "high", v.high, "level", v.level, "method", v.method);
    }
    void source(const std::string& name, double effect, double share) {
        object("source", name, "effect", effect, "share", share);
    }
};

} // namespace

std::string kind_of(const std::string& source) {
    return source.substr(0, std::min(source.find(':'), source.find(" (")));
}

void ValueWriter::put(double v) {
    if (detail_ == Detail::whole || !std::isfinite(v)) {
        out_.value(v);
    } else {
        out_.literal(six_digits(v));
    }
}

void ValueWriter::put_contributions(const Number& v) {
    double variance = 0.0;
    for (const Contribution& each : v.contributions) {
        variance += each.effect * each.effect;
    }
    const auto share = [&](double squares) { return variance > 0.0 ? squares / variance : 0.0; };
    SmallWriter writer(out_, detail_);
    std::map<std::string, Gathered> small;
    out_.key("contributions");
    out_.begin_array();
    for (const Contribution& each : v.contributions) {
        const double squares = each.effect * each.effect;
        const bool is_named = share(squares) >= least_named_share || v.contributions.size() <= 12;
        if (detail_ == Detail::whole && is_named) {
            writer.source(each.source, each.effect, share(squares));
            continue;
        }
        Gathered& kind = small[kind_of(each.source)];
        ++kind.count;
        kind.squares += squares;
        kind.last_effect = each.effect;
        kind.last_source = each.source;
    }
    for (const auto& [kind, all] : small) {
        const bool is_alone = all.count == 1;
        const std::string many =
            detail_ == Detail::whole ? fmt::format("{}: {} small ones", kind, all.count) : kind;
        writer.source(is_alone ? all.last_source : many, is_alone ? all.last_effect : std::sqrt(all.squares),
                      share(all.squares));
    }
    out_.end_array();
}

void ValueWriter::put(const Number& v) {
    const auto field = [this](std::string_view name, const auto& value) {
        out_.key(name);
        put(value);
    };
    out_.begin_object();
    out_.key("value");
    if (v.has_value()) {
        put(*v.value);
    } else {
        out_.null();
    }
    field("unit", v.unit);
    if (!v.has_value()) {
        const std::string reason = v.reason.empty() ? "not recorded" : v.reason;
        field("text", reason);
        field("reason", reason);
    } else {
        field("text", bare_text_of(v));
    }
    if (v.standard_uncertainty) {
        field("standard_uncertainty", *v.standard_uncertainty);
    }
    if (v.interval) {
        out_.key("interval");
        SmallWriter(out_, detail_).put(*v.interval);
    }
    if (!v.method.empty()) {
        field("method", v.method);
    }
    if (!v.contributions.empty()) {
        put_contributions(v);
    }
    if (v.is_at_least) {
        field("is_at_least", true);
    }
    out_.end_object();
}

} // namespace backeddy::report::detail
