#include "angling/catch_log.hpp"

#include <algorithm>
#include <tuple>
#include <utility>

namespace backeddy::angling {

namespace {

bool may_be_one(const std::string& a, const std::string& b) {
    return a.empty() || b.empty() || a == b;
}

void fill(std::string& known, const std::string& more) {
    if (known.empty()) {
        known = more;
    }
}

/// One fish on one line, as far as the two say: a named fish is itself whoever wrote the row.
bool may_be_one(const Strike& strike, const CatchEntry& entry) {
    if (!strike.fish.empty() && !entry.fish.empty()) {
        return strike.fish == entry.fish;
    }
    return may_be_one(strike.rod, entry.rod) && may_be_one(strike.rig, entry.rig);
}

/// Reads entries in the order of time.
class CatchReader {
  public:
    explicit CatchReader(const CatchSettings& settings) : settings_(settings) {}

    void take(const CatchEntry& entry) {
        switch (entry.kind) {
        case CatchKind::lines_out:
            lines_out(entry);
            break;
        case CatchKind::lines_in:
            lines_in(entry);
            break;
        case CatchKind::bite:
            strike(entry, nullptr).bite = entry.at;
            break;
        case CatchKind::hook_up:
            strike(entry, open_bite(entry)).hook_up = entry.at;
            break;
        case CatchKind::landed:
            strike(entry, open_fight(entry)).landed = entry.at;
            break;
        case CatchKind::lost:
            strike(entry, open_fight(entry)).lost = entry.at;
            break;
        }
    }

    /// After the last entry.
    CatchLog take_log() && {
        for (const auto& [rod, since] : in_) {
            log_.doubts.push_back({since.row, "lines that went in and never came out",
                                   "add the lines_out; without it these hours count for nothing"});
            leave_open(since);
        }
        return std::move(log_);
    }

  private:
    void lines_in(const CatchEntry& entry) {
        const auto [in, is_new] = in_.try_emplace(entry.rod, entry);
        if (!is_new) {
            log_.doubts.push_back({entry.row, "lines in that were in already",
                                   "add the lines_out between, or delete one; the hours before it count for "
                                   "nothing"});
            leave_open(in->second);
            in->second = entry;
        }
    }

    void leave_open(const CatchEntry& since) { log_.never_out.push_back({since.rod, since.rig, since.at}); }

    void lines_out(const CatchEntry& entry) {
        const auto in = in_.find(entry.rod);
        if (in == in_.end() || entry.at <= in->second.at) {
            log_.doubts.push_back({entry.row, "lines out that were not in", "add the lines_in before it"});
            return;
        }
        const CatchEntry& since = in->second;
        log_.effort.push_back({.rod = entry.rod,
                               .rig = since.rig.empty() ? entry.rig : since.rig,
                               .angler = since.angler.empty() ? entry.angler : since.angler,
                               .from = since.at,
                               .to = entry.at});
        in_.erase(in);
    }

    /// The strike that an entry belongs to: the one found, or a new one.
    Strike& strike(const CatchEntry& entry, Strike* found) {
        auto& out = found != nullptr ? *found : log_.strikes.emplace_back();
        fill(out.rod, entry.rod);
        fill(out.rig, entry.rig);
        fill(out.angler, entry.angler);
        fill(out.fish, entry.fish);
        fill(out.species, entry.species);
        if (const auto in = in_.find(out.rod); in != in_.end()) {
            fill(out.rig, in->second.rig);
            fill(out.angler, in->second.angler);
        }
        out.reason = entry.reason; // of the last step: what came before did go further
        return out;
    }

    template <typename Fits>
    Strike* last_strike(const CatchEntry& entry, Fits fits) {
        auto& strikes = log_.strikes;
        const auto found = std::find_if(strikes.rbegin(), strikes.rend(),
                                        [&](const Strike& s) { return may_be_one(s, entry) && fits(s); });
        return found == strikes.rend() ? nullptr : &*found;
    }

    Strike* open_bite(const CatchEntry& entry) {
        return last_strike(entry, [&](const Strike& s) {
            return s.bite && !s.was_hooked() && entry.at - *s.bite <= settings_.bite_to_hook_up;
        });
    }

    Strike* open_fight(const CatchEntry& entry) {
        return last_strike(entry, [&](const Strike& s) {
            return s.hook_up && !s.landed && !s.lost && entry.at - *s.hook_up <= settings_.hook_up_to_end;
        });
    }

    const CatchSettings& settings_;
    CatchLog log_;
    std::map<std::string, CatchEntry> in_; ///< lines in the water, by rod
};

} // namespace

Instant Strike::at() const {
    for (const auto& moment : {bite, hook_up, lost, landed}) {
        if (moment) {
            return *moment;
        }
    }
    return {};
}

CatchLog read_catch(std::vector<CatchEntry> entries, const CatchSettings& settings) {
    std::stable_sort(entries.begin(), entries.end(), [](const CatchEntry& a, const CatchEntry& b) {
        return std::tie(a.at, a.kind) < std::tie(b.at, b.kind);
    });
    CatchReader reader(settings);
    for (const auto& entry : entries) {
        reader.take(entry);
    }
    CatchLog log = std::move(reader).take_log();
    std::stable_sort(log.effort.begin(), log.effort.end(),
                     [](const Effort& a, const Effort& b) { return a.from < b.from; });
    std::stable_sort(log.never_out.begin(), log.never_out.end(),
                     [](const OpenLine& a, const OpenLine& b) { return a.from < b.from; });
    std::stable_sort(log.strikes.begin(), log.strikes.end(),
                     [](const Strike& a, const Strike& b) { return a.at() < b.at(); });
    std::stable_sort(log.doubts.begin(), log.doubts.end(),
                     [](const CatchDoubt& a, const CatchDoubt& b) { return a.row < b.row; });
    return log;
}

bool is_bycatch(const Strike& strike, std::span<const std::string> species) {
    return !species.empty() && !strike.species.empty() &&
           std::find(species.begin(), species.end(), strike.species) == species.end();
}

namespace {

void add(const Strike& strike, std::span<const std::string> species, Chain& chain) {
    ++chain.bites;
    chain.hook_ups += strike.was_hooked() ? 1 : 0;
    chain.landed += strike.landed ? 1 : 0;
    const bool is_wanted = species.empty() || (!strike.species.empty() && !is_bycatch(strike, species));
    chain.wanted += strike.landed && is_wanted ? 1 : 0;
}

} // namespace

ByLine by_line(const CatchLog& log, std::span<const std::string> species) {
    ByLine out;
    for (const auto& effort : log.effort) {
        out.lines.push_back({.effort = effort});
    }
    for (const auto& strike : log.strikes) {
        const auto line = std::find_if(out.lines.begin(), out.lines.end(), [&](const LineCatch& one) {
            const bool same_rig =
                strike.rig.empty() || one.effort.rig.empty() || strike.rig == one.effort.rig;
            return strike.rod == one.effort.rod && same_rig && one.effort.from <= strike.at() &&
                   strike.at() <= one.effort.to;
        });
        if (line == out.lines.end()) {
            ++out.unplaced;
            continue;
        }
        add(strike, species, line->chain);
    }
    return out;
}

std::optional<double> bite_dispersion(const ByLine& by_line) {
    struct Rig {
        double bites = 0.0;
        double hours = 0.0;
    };
    std::map<std::string, Rig> rigs;
    for (const auto& line : by_line.lines) {
        auto& rig = rigs[line.effort.rig];
        rig.bites += static_cast<double>(line.chain.bites);
        rig.hours += line.effort.rod_hours();
    }
    std::erase_if(rigs, [](const auto& named) { return !(named.second.bites > 0.0); });
    double chi_squared = 0.0;
    double freedom = -static_cast<double>(rigs.size());
    for (const auto& line : by_line.lines) {
        if (const auto rig = rigs.find(line.effort.rig); rig != rigs.end()) {
            const double expected = rig->second.bites / rig->second.hours * line.effort.rod_hours();
            const double off = static_cast<double>(line.chain.bites) - expected;
            chi_squared += off * off / expected;
            freedom += 1.0;
        }
    }
    return freedom > 0.0 ? std::optional(chi_squared / freedom) : std::nullopt;
}

std::vector<RigCatch> by_rig(const CatchLog& log, std::span<const std::string> species) {
    std::map<std::string, RigCatch> rigs;
    for (const auto& line : by_line(log, species).lines) {
        auto& rig = rigs[line.effort.rig];
        ++rig.lines;
        rig.rod_hours += line.effort.rod_hours();
        rig.in_hours.bites += line.chain.bites;
        rig.in_hours.hook_ups += line.chain.hook_ups;
        rig.in_hours.landed += line.chain.landed;
        rig.in_hours.wanted += line.chain.wanted;
    }
    for (const auto& line : log.never_out) {
        ++rigs[line.rig].never_out;
    }
    for (const auto& strike : log.strikes) {
        auto& rig = rigs[strike.rig];
        add(strike, species, rig.all);
        rig.unseen_bites += strike.bite ? 0 : 1;
        if (!strike.was_hooked()) {
            ++rig.misses[strike.reason];
        }
        if (strike.lost) {
            ++rig.lost;
            ++rig.losses[strike.reason];
        }
        if (strike.landed) {
            ++rig.species[strike.species];
        }
    }
    std::vector<RigCatch> out;
    for (auto& [name, rig] : rigs) {
        rig.rig = name;
        out.push_back(std::move(rig));
    }
    return out;
}

} // namespace backeddy::angling
