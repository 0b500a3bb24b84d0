#include "faults.hpp"

#include <algorithm>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/number_text.hpp"

namespace backeddy::rig {

namespace {

std::vector<std::string_view> words_of(std::string_view line) {
    std::vector<std::string_view> out;
    line = line.substr(0, line.find('#'));
    while (true) {
        const auto from = line.find_first_not_of(" \t\r");
        if (from == std::string_view::npos) {
            return out;
        }
        const auto end = std::min(line.find_first_of(" \t\r", from), line.size());
        out.push_back(line.substr(from, end - from));
        line.remove_prefix(end);
    }
}

Error not_understood(std::string found, std::string expected) {
    return {.code = ErrorCode::bad_setting,
            .found = std::move(found),
            .expected = std::move(expected),
            .remedy = "write for example  at 600 for 120 noise c3 0.5   or  end noise c3"};
}

const FaultMeaning* meaning_of(std::string_view word) {
    const auto& all = fault_meanings();
    const auto found = std::find_if(all.begin(), all.end(), [&](const auto& m) { return m.word == word; });
    return found == all.end() ? nullptr : &*found;
}

Error no_fault(std::string_view word) {
    std::vector<std::string> known;
    for (const auto& meaning : fault_meanings()) {
        known.emplace_back(meaning.word);
    }
    const auto near = nearest_name(word, known);
    return {.code = ErrorCode::unknown_name,
            .found = fmt::format("\"{}\"", word),
            .expected = fmt::format("a fault: {}", fmt::join(known, ", ")),
            .remedy = near ? fmt::format("did you mean \"{}\"?", *near) : "see  backeddy-rig --help"};
}

/// The words of one line, taken one after another.
class Reader {
  public:
    explicit Reader(std::string_view line) : words_(words_of(line)) {}
    [[nodiscard]] bool at_end() const { return next_ == words_.size(); }
    [[nodiscard]] std::string_view peek() const { return at_end() ? std::string_view() : words_[next_]; }
    std::string_view take() { return at_end() ? std::string_view() : words_[next_++]; }
    bool take(std::string_view word) {
        const bool there = peek() == word;
        next_ += there ? 1 : 0;
        return there;
    }
    /// A number of seconds behind `word`, where that word comes next.
    Expected<std::optional<double>> seconds_after(std::string_view word) {
        if (!take(word)) {
            return std::optional<double>();
        }
        const auto text = take();
        const auto number = parse_number(text);
        if (!number || *number < 0.0) {
            return fail(not_understood(fmt::format("{} \"{}\"", word, text), "seconds, 0 or more"));
        }
        return number;
    }

  private:
    std::vector<std::string_view> words_;
    std::size_t next_ = 0;
};

/// "c3" or "all", where one comes next.
Expected<std::optional<std::size_t>> take_chamber(Reader& words, std::size_t chambers) {
    if (words.take("all")) {
        return std::optional<std::size_t>(0);
    }
    if (!words.peek().starts_with('c')) {
        return std::optional<std::size_t>();
    }
    const auto text = words.take();
    const auto number = parse_whole(text.substr(1));
    if (!number || *number < 1 || static_cast<std::size_t>(*number) > chambers) {
        return fail(
            not_understood(fmt::format("chamber \"{}\"", text), fmt::format("c1 to c{}, or all", chambers)));
    }
    return std::optional(static_cast<std::size_t>(*number));
}

/// Which fault, in which chamber.
Expected<Fault> take_subject(Reader& words, std::size_t chambers) {
    const auto word = words.take();
    const auto* meaning = meaning_of(word);
    if (meaning == nullptr) {
        return fail(no_fault(word));
    }
    auto chamber = take_chamber(words, chambers);
    if (!chamber) {
        return fail(std::move(chamber).error());
    }
    if (!meaning->whole_rig && !*chamber) {
        return fail(not_understood(fmt::format("\"{}\" without a chamber", word),
                                   fmt::format("c1 to c{}, or all", chambers)));
    }
    return Fault{.kind = meaning->kind, .chamber = chamber->value_or(0), .amount = meaning->amount};
}

Expected<Order> finished(const Reader& words, const Order& order) {
    if (!words.at_end()) {
        return fail(not_understood(fmt::format("\"{}\" at the end", words.peek()), "nothing more"));
    }
    return order;
}

} // namespace

const std::vector<FaultMeaning>& fault_meanings() {
    using Kind = FaultKind;
    static const std::vector<FaultMeaning> all{
        {Kind::dead_pump, "dead_pump", "the flush brings nothing, whatever is commanded", ""},
        {Kind::stuck_pump, "stuck_pump", "the flush goes on, whatever is commanded", ""},
        {Kind::stuck_valve, "stuck_valve", "the pump says that it flushes, and the same water goes round",
         ""},
        {Kind::weak_flush, "weak_flush", "the flush brings less", "share left", 0.3},
        {Kind::leak, "leak", "water changes with the bath all the time", "L/min", 0.3},
        {Kind::bubble, "bubble", "gas under the lid", "mL", 40.0},
        {Kind::fish_out, "fish_out", "nobody breathes in the chamber", ""},
        {Kind::fish_dies, "fish_dies", "the fish stops breathing and does not begin again", ""},
        {Kind::restless, "restless", "the fish takes up more", "mg/h more", 60.0},
        {Kind::poor_inflow, "poor_inflow", "the flush brings water with less oxygen", "mg/L", 4.0, true},
        {Kind::dropout, "dropout", "the oxygen sensor gives no number", ""},
        {Kind::frozen, "frozen", "the oxygen sensor gives its last number again and again", ""},
        {Kind::drift, "drift", "the oxygen sensor runs away from the truth", "mg/L an hour", 0.5},
        {Kind::offset, "offset", "the oxygen sensor reads too high", "mg/L", 1.0},
        {Kind::noise, "noise", "the oxygen sensor is noisy", "mg/L standard deviation", 0.5},
        {Kind::implausible, "implausible", "the oxygen sensor gives a number that no water has", "mg/L",
         850.0},
        {Kind::clock, "clock", "the devices' own clock is wrong", "s fast", 3600.0, true},
        {Kind::garbage, "garbage", "lines are rubbish; messages are no JSON", "share of lines", 0.5, true},
        {Kind::half_lines, "half_lines", "lines are cut short", "share of lines", 0.5, true},
        {Kind::disconnect, "disconnect", "every connection ends and none is taken", "", 0.0, true},
    };
    return all;
}

Expected<Order> parse_order(std::string_view line, double now_s, std::size_t chambers) {
    Reader words(line);
    if (words.at_end()) {
        return Order();
    }
    if (words.take("quit")) {
        return finished(words, {.what = Order::What::quit});
    }
    if (words.take("end")) {
        auto fault = take_subject(words, chambers);
        return fault ? finished(words, {.what = Order::What::end, .fault = *fault})
                     : Expected<Order>(fail(std::move(fault).error()));
    }
    const auto at = words.seconds_after("at");
    const auto length = at ? words.seconds_after("for") : at;
    if (!length) {
        return fail(length.error());
    }
    auto fault = take_subject(words, chambers);
    if (!fault) {
        return fail(std::move(fault).error());
    }
    fault->from_s = at->value_or(now_s);
    if (*length) {
        fault->to_s = fault->from_s + **length;
    }
    if (const auto amount = parse_number(words.peek())) {
        words.take();
        fault->amount = *amount;
    }
    return finished(words, {.what = Order::What::begin, .fault = *fault});
}

void FaultPlan::end(FaultKind kind, std::size_t chamber, double now_s) {
    for (auto& fault : faults_) {
        if (fault.kind == kind && (chamber == 0 || fault.chamber == chamber)) {
            fault.to_s = std::min(fault.to_s, now_s);
        }
    }
}

const Fault* FaultPlan::find(FaultKind kind, std::size_t chamber, double at_s) const {
    const auto found = std::find_if(faults_.rbegin(), faults_.rend(), [&](const Fault& f) {
        return f.kind == kind && (f.chamber == 0 || f.chamber == chamber) && f.from_s <= at_s &&
               at_s < f.to_s;
    });
    return found == faults_.rend() ? nullptr : &*found;
}

std::optional<double> FaultPlan::active(FaultKind kind, std::size_t chamber, double at_s) const {
    const auto* fault = find(kind, chamber, at_s);
    return fault == nullptr ? std::nullopt : std::optional(fault->amount);
}

double FaultPlan::since_s(FaultKind kind, std::size_t chamber, double at_s) const {
    const auto* fault = find(kind, chamber, at_s);
    return fault == nullptr ? at_s : fault->from_s;
}

} // namespace backeddy::rig
