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
        }
        return std::move(log_);
    }

  private:
    void lines_in(const CatchEntry& entry) {
        if (!in_.try_emplace(entry.rod, entry).second) {
            log_.doubts.push_back({entry.row, "lines in that were in already",
                                   "add the lines_out between, or delete one; hours count from the first"});
        }
    }

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

ByLine by_line(const CatchLog& log) {
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
        ++line->bites;
        line->hook_ups += strike.was_hooked() ? 1 : 0;
        line->landed += strike.landed ? 1 : 0;
    }
    return out;
}

std::vector<RigCatch> by_rig(const CatchLog& log, std::span<const std::string> species) {
    std::map<std::string, RigCatch> rigs;
    for (const auto& effort : log.effort) {
        rigs[effort.rig].rod_hours += effort.rod_hours();
    }
    for (const auto& strike : log.strikes) {
        auto& rig = rigs[strike.rig];
        ++rig.bites;
        rig.hook_ups += strike.was_hooked() ? 1 : 0;
        rig.landed += strike.landed ? 1 : 0;
        rig.bycatch += strike.landed && is_bycatch(strike, species) ? 1 : 0;
        if (strike.lost) {
            ++rig.lost;
            ++rig.losses[strike.reason];
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
