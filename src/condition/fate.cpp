#include "condition/fate.hpp"

#include <algorithm>
#include <array>
#include <limits>
#include <map>
#include <tuple>
#include <utility>

#include <fmt/format.h>

namespace backeddy::condition {

namespace {

constexpr double infinite = std::numeric_limits<double>::infinity();

std::string_view words_of(FateKind kind) {
    static constexpr std::array<std::string_view, 9> words{"seen alive", "tagged",   "held",
                                                           "released",   "detected", "recaptured",
                                                           "tag shed",   "lost",     "found dead"};
    return words.at(static_cast<std::size_t>(kind));
}

/// What nobody wrote may be any: but a tag outside is not one inside, nor one type another.
bool may_be_one(const std::optional<Tag>& a, const std::optional<Tag>& b) {
    if (!a || !b) {
        return true;
    }
    const auto agree = [](const std::string& x, const std::string& y) {
        return x.empty() || y.empty() || x == y;
    };
    return a->place == b->place && agree(a->type, b->type) && agree(a->serial, b->serial);
}

auto is(FateKind kind) {
    return [kind](const FateRecord& record) { return record.kind == kind; };
}

/// One fish's records in the order of time; at one moment in the order of FateKind, death last.
class Story {
  public:
    Story(std::span<const FateRecord> records, const FateOptions& options)
        : records_(records.begin(), records.end()), options_(options) {
        std::stable_sort(records_.begin(), records_.end(), [](const FateRecord& a, const FateRecord& b) {
            return std::tie(a.at, a.kind, a.row) < std::tie(b.at, b.kind, b.row);
        });
        const auto dead = std::find_if(records_.begin(), records_.end(), is(FateKind::dead));
        death_ = static_cast<std::size_t>(dead - records_.begin());
    }

    Fate told() && {
        for (std::size_t i = 0; i < records_.size(); ++i) {
            if (i > death_) {
                tell_after_death(records_[i]);
            } else {
                take(records_[i]);
            }
        }
        std::stable_sort(fate_.doubts.begin(), fate_.doubts.end(),
                         [](const Doubt& a, const Doubt& b) { return a.row < b.row; });
        return std::move(fate_);
    }

  private:
    void take(const FateRecord& record) {
        if (record.last_alive) {
            take_written_life(record);
        }
        const bool is_second_loss = record.kind == FateKind::lost && fate_.ending == FateEnding::lost;
        fate_.stage = record.stage && !is_second_loss ? record.stage : fate_.stage;
        switch (record.kind) {
        case FateKind::dead:
            end(record, FateEnding::dead);
            fate_.found_dead = record.at;
            break;
        case FateKind::lost:
            if (fate_.ending == FateEnding::lost) {
                tell(record, fmt::format("lost again, and not seen since it was lost at {}: the first stands",
                                         iso_text(*fate_.lost)));
                break;
            }
            end(record, FateEnding::lost);
            fate_.lost = record.at;
            break;
        case FateKind::tag_shed:
            break;
        case FateKind::detected:
            if (!tell_detection(record) && options_.is_detection_alive) {
                show_life(record.at);
            }
            break;
        case FateKind::released:
            fate_.released = fate_.released ? fate_.released : record.at;
            show_life(record.at);
            break;
        default:
            show_life(record.at);
        }
    }

    void end(const FateRecord& record, FateEnding ending) {
        fate_.ending = ending;
        fate_.lost.reset();
        fate_.stage = record.stage ? record.stage : fate_.stage;
        fate_.cause = record.cause;
    }

    /// Alive at a moment: a loss before it is over.
    void show_life(Instant at) {
        fate_.last_alive = std::max(fate_.last_alive.value_or(at), at);
        if (fate_.ending == FateEnding::lost) {
            fate_.ending = FateEnding::alive;
            fate_.lost.reset();
            fate_.cause.clear();
        }
    }

    void take_written_life(const FateRecord& record) {
        if (*record.last_alive > record.at) {
            tell(record, fmt::format("last alive at {}, after it was {}", iso_text(*record.last_alive),
                                     words_of(record.kind)));
        } else if (fate_.lost && *fate_.lost < *record.last_alive) {
            show_life(*record.last_alive); // seen since the loss, which is over by that
        } else {
            fate_.last_alive = std::max(fate_.last_alive.value_or(*record.last_alive), *record.last_alive);
        }
    }

    /// Whether something is wrong with a detection, so that it shows no life.
    bool tell_detection(const FateRecord& record) {
        const auto before = [&](FateKind kind) {
            return std::any_of(records_.begin(), records_.end(), [&](const FateRecord& other) {
                return other.kind == kind && other.at <= record.at && may_be_one(other.tag, record.tag);
            });
        };
        if (before(FateKind::tag_shed)) {
            tell(record, "detected by a tag that had been shed: it shows no life");
            return true;
        }
        const bool is_ever_tagged = std::any_of(records_.begin(), records_.end(), is(FateKind::tagged));
        if (is_ever_tagged && !before(FateKind::tagged)) {
            tell(record, "detected by a tag that the fish did not have yet: it shows no life");
            return true;
        }
        return false;
    }

    void tell_after_death(const FateRecord& record) {
        if (record.kind == FateKind::tag_shed) {
            return; // a tag found off a dead fish contradicts nothing
        }
        tell(record, fmt::format("{} at {}, after it was found dead at {}", words_of(record.kind),
                                 iso_text(record.at), iso_text(records_[death_].at)));
    }

    void tell(const FateRecord& record, std::string found) {
        fate_.doubts.push_back(
            {record.row, std::move(found), "mend the time, or give the row to the fish it belongs to"});
    }

    std::vector<FateRecord> records_;
    FateOptions options_;
    std::size_t death_ = 0; ///< number of the first death; of all records when there is none
    Fate fate_;
};

Error before_origin(std::string_view what, Instant at, Instant origin) {
    return {.code = ErrorCode::bad_relation,
            .found = fmt::format("{} at {}, counted from {}", what, iso_text(at), iso_text(origin)),
            .expected = "a fish alive when counting begins",
            .remedy = "leave it out of this count, or mend one of the times"};
}

} // namespace

Fate fate_of(std::span<const FateRecord> records, const FateOptions& options) {
    return Story(records, options).told();
}

// ---- one fish for the models of times

Expected<stats::Interval> hours_from(const Fate& fate, Instant origin) {
    const double alive_h =
        fate.last_alive && *fate.last_alive > origin ? (*fate.last_alive - origin).hours() : 0.0;
    if (fate.found_dead) {
        if (*fate.found_dead <= origin) {
            return fail(before_origin("found dead", *fate.found_dead, origin));
        }
        return stats::Interval{alive_h, (*fate.found_dead - origin).hours()};
    }
    if (!(alive_h > 0.0)) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("nothing known of the fish after {}", iso_text(origin)),
                     .expected = "a look at it after counting begins",
                     .remedy = "leave it out of this count, and say how many there were"});
    }
    return stats::Interval{alive_h, infinite};
}

Expected<stats::FollowUp> follow_up(const Fate& fate, Instant origin) {
    const auto hours = hours_from(fate, origin);
    if (!hours) {
        return fail(hours.error());
    }
    const bool is_dead = fate.found_dead.has_value();
    return stats::FollowUp{.time = is_dead ? hours->upper : hours->lower, .is_event = is_dead};
}

Expected<stats::FateTime> fate_time(const Fate& fate, Instant origin, const std::vector<std::string>& fates) {
    const auto place_of = [&](std::string_view name) -> std::optional<std::size_t> {
        const auto found = std::find(fates.begin(), fates.end(), name);
        return found == fates.end() ? std::nullopt
                                    : std::optional(static_cast<std::size_t>(found - fates.begin()));
    };
    if (const auto place = place_of("lost"); place && fate.lost) {
        if (*fate.lost <= origin) {
            return fail(before_origin("lost", *fate.lost, origin));
        }
        return stats::FateTime{.time = (*fate.lost - origin).hours(), .fate = place};
    }
    const auto followed = follow_up(fate, origin);
    if (!followed) {
        return fail(followed.error());
    }
    const auto place = place_of(fate.cause);
    if (followed->is_event && !place) {
        return fail({.code = ErrorCode::unknown_name,
                     .found = fmt::format("a death of \"{}\"", fate.cause),
                     .expected = fmt::format("one of {}", fmt::join(fates, ", ")),
                     .remedy = "name its cause, or add it (\"not known\" is one) to the fates compared"});
    }
    return stats::FateTime{.time = followed->time, .fate = followed->is_event ? place : std::nullopt};
}

// ---- many fish

Expected<Mortality> mortality(std::span<const Fate> fates, std::span<const Instant> origins, Duration horizon,
                              double level) {
    if (fates.size() != origins.size()) {
        return fail(
            {.code = ErrorCode::bad_relation,
             .found = fmt::format("{} fish and {} moments to count from", fates.size(), origins.size()),
             .expected = "one for each"});
    }
    if (fates.empty()) {
        return fail({.code = ErrorCode::too_few, .found = "no fish", .expected = "at least one"});
    }
    if (!(horizon > Duration())) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = fmt::format("a horizon of {} h", horizon.hours()),
                     .expected = "a time above 0"});
    }
    Mortality out;
    for (std::size_t i = 0; i < fates.size(); ++i) {
        // Found dead at the very moment counting begins: it has no hours, and is dead all the same.
        const bool is_dead_at_once = fates[i].found_dead == origins[i];
        const auto hours = hours_from(fates[i], origins[i]);
        if (!hours && !is_dead_at_once && hours.error().code != ErrorCode::too_few) {
            return fail(Error(hours.error()).within(fmt::format("fish {}", i + 1)));
        }
        const bool is_dead = is_dead_at_once || (hours && hours->upper <= horizon.hours());
        const bool is_alive = hours && hours->lower >= horizon.hours() && !is_dead;
        out.share.count += is_dead ? 1 : 0;
        out.share.of += is_dead || is_alive ? 1 : 0;
        out.unknown += is_dead || is_alive ? 0 : 1;
    }
    const auto all = static_cast<double>(fates.size());
    out.can_be = {static_cast<double>(out.share.count) / all,
                  static_cast<double>(out.share.count + out.unknown) / all};
    auto proportion = stats::proportion(out.share.of > 0 ? out.share : stats::Share{0, 1}, level);
    if (!proportion) {
        return fail(std::move(proportion).error());
    }
    if (out.share.of > 0) {
        out.proportion = *proportion;
    }
    return out;
}

namespace {

Expected<void> check_within(stats::Share share, std::string_view what) {
    if (share.count <= share.of) {
        return {};
    }
    return fail({.code = ErrorCode::out_of_range,
                 .found = fmt::format("{} of {} {}", share.count, share.of, what),
                 .expected = "a count within its whole"});
}

stats::Interval one_less(const stats::Interval& interval) {
    return {1.0 - interval.upper, 1.0 - interval.lower};
}

} // namespace

Expected<CorrectedMortality> control_corrected(stats::Share dead_treated, stats::Share dead_control,
                                               double level) {
    for (auto fine :
         {check_within(dead_treated, "treated dead"), check_within(dead_control, "controls dead")}) {
        if (!fine) { // before survivors are counted: what is unsigned would wrap
            return fail(std::move(fine).error());
        }
    }
    const stats::Share alive_treated{dead_treated.of - dead_treated.count, dead_treated.of};
    const stats::Share alive_control{dead_control.of - dead_control.count, dead_control.of};
    if (dead_control.of > 0 && alive_control.count == 0) {
        return fail({.code = ErrorCode::degenerate,
                     .found = fmt::format("all {} controls died", dead_control.of),
                     .expected = "controls that live: what the treatment adds cannot be seen otherwise"});
    }
    const auto ratio = stats::ratio_of_shares(alive_treated, alive_control, level);
    if (!ratio) {
        return fail(ratio.error());
    }
    CorrectedMortality out{
        .value = 1.0 - ratio->value, .interval = one_less(ratio->interval), .log_interval = std::nullopt};
    if (ratio->log_interval) {
        out.log_interval = one_less(*ratio->log_interval);
    }
    return out;
}

Expected<Retention> tag_retention(std::uint64_t both, std::uint64_t one, double level) {
    const auto with_both = stats::proportion({both, both + one}, level);
    if (!with_both) {
        return fail(with_both.error());
    }
    const auto retained = [](double share) { return 2.0 * share / (1.0 + share); };
    return Retention{.value = retained(with_both->value),
                     .interval = {retained(with_both->exact.lower), retained(with_both->exact.upper)}};
}

namespace {

/// Records of tags, each tag once; one without a serial number may be any.
std::vector<const FateRecord*> each_tag_once(std::span<const FateRecord> records, FateKind kind) {
    std::vector<const FateRecord*> out;
    for (const auto& record : records) {
        const bool is_met = std::any_of(out.begin(), out.end(), [&](const FateRecord* other) {
            return record.tag && !record.tag->serial.empty() && other->tag->serial == record.tag->serial &&
                   may_be_one(record.tag, other->tag);
        });
        if (record.kind == kind && record.tag && !is_met) {
            out.push_back(&record);
        }
    }
    return out;
}

} // namespace

std::vector<TagsLeft> tags_left(std::span<const FateRecord> records) {
    using Kind = std::pair<TagPlace, std::string>;
    std::map<Kind, std::vector<const FateRecord*>> given;
    for (const auto* record : each_tag_once(records, FateKind::tagged)) {
        given[{record->tag->place, record->tag->type}].push_back(record);
    }
    const auto shed = each_tag_once(records, FateKind::tag_shed);
    std::vector<TagsLeft> out;
    for (const auto& [kind, both] : given) {
        if (both.size() != 2) {
            continue;
        }
        const Instant from = std::max(both[0]->at, both[1]->at);
        const bool is_in_hand = std::any_of(records.begin(), records.end(), [&](const FateRecord& record) {
            return record.at > from && (record.kind == FateKind::recaptured || record.kind == FateKind::dead);
        });
        const auto off =
            static_cast<std::size_t>(std::count_if(shed.begin(), shed.end(), [&](const FateRecord* record) {
                return record->at > from &&
                       (may_be_one(record->tag, both[0]->tag) || may_be_one(record->tag, both[1]->tag));
            }));
        if (is_in_hand || off > 0) {
            out.push_back(
                {.place = kind.first, .type = kind.second, .left = 2 - std::min<std::size_t>(off, 2)});
        }
    }
    return out;
}

} // namespace backeddy::condition
