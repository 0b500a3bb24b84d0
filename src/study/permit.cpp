#include "study/permit.hpp"

#include <algorithm>
#include <optional>
#include <utility>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "study/detail/relation_words.hpp"
#include "study/handling.hpp"

namespace backeddy::study {

namespace {

using condition::HandlingKind;

class PermitCheck {
  public:
    PermitCheck(const Brief& brief, const Tables& tables) : brief_(&brief), tables_(&tables) {}

    std::vector<Complaint> take() && {
        count_fish();
        for (const auto& fish : tables_->fish) {
            const auto handled = handling_of(fish, *tables_);
            count_chases(fish, handled);
            for (const auto& part : handled) {
                time_air(fish, part);
            }
        }
        return std::move(out_);
    }

  private:
    void tell(const Place& place, const std::string& column, std::string found, std::string allowed) {
        const auto& permit = brief_->study.permit;
        const auto& who = brief_->permit.watched_by;
        out_.push_back(
            warn(place, column,
                 {.code = ErrorCode::out_of_range,
                  .found = std::move(found),
                  .expected = fmt::format("{}, as the permit{}{} lets", std::move(allowed),
                                          permit.empty() ? "" : " ", permit),
                  .remedy = fmt::format("ask {} before the next one; it stays written down as it was",
                                        who.empty() ? "whoever holds the permit" : who)}));
    }

    void count_fish() {
        const auto most = brief_->permit.fish;
        const auto count = static_cast<std::int64_t>(tables_->fish.size());
        if (most && count > *most) {
            tell(tables_->fish[static_cast<std::size_t>(*most)].place, "fish",
                 fmt::format("{} fish were met", count), fmt::format("at most {}", *most));
        }
    }

    void count_chases(const Fish& fish, const std::vector<Handling>& handled) {
        const auto most = brief_->permit.chases_per_fish;
        if (!most) {
            return;
        }
        std::int64_t count = 0;
        std::optional<Place> first_over;
        for (const auto& part : handled) {
            for (const auto& moment : part.moments) {
                count += moment.kind == HandlingKind::chase_start ? 1 : 0;
                if (count > *most && !first_over) {
                    first_over = part.places[moment.row];
                }
            }
        }
        if (first_over) {
            tell(*first_over, "event", fmt::format("{} was chased {} times", quote(fish.id.text()), count),
                 fmt::format("at most {} of each fish", *most));
        }
    }

    void time_air(const Fish& fish, const Handling& part) {
        if (!brief_->permit.air) {
            return;
        }
        const condition::HandlingMoment* out_of_water = nullptr;
        bool is_timed = false;
        for (const auto& moment : part.moments) {
            if (moment.kind == HandlingKind::air_start) {
                out_of_water = &moment;
            } else if (moment.kind == HandlingKind::air_end && out_of_water != nullptr) {
                is_timed = true;
                tell_of_air(fish, part.places[moment.row], "at",
                            condition::elapsed(*out_of_water, moment).seconds);
                out_of_water = nullptr;
            }
        }
        for (const auto& one : part.all) {
            const bool is_air = one.word == "air_s" || one.word == "air_after_chase_s";
            if (is_air && one.typed && !is_timed) {
                tell_of_air(fish, part.encounter == nullptr ? fish.place : part.encounter->place,
                            one.typed_column, one.typed->seconds);
            }
        }
    }

    void tell_of_air(const Fish& fish, const Place& place, const std::string& column, double seconds) {
        // Through nanoseconds: 60 s are to read as 60; and 60 s of two moments are not more by what rounds.
        const double most = static_cast<double>(brief_->permit.air->nanoseconds()) / 1e9;
        if (seconds > most + 1e-6) {
            tell(place, column, fmt::format("{} was in air for {:.0f} s", quote(fish.id.text()), seconds),
                 fmt::format("at most {} s at a time", exact_text(most)));
        }
    }

    const Brief* brief_;
    const Tables* tables_;
    std::vector<Complaint> out_;
};

} // namespace

std::vector<Complaint> check_permit(const Brief& brief, const Tables& tables) {
    const auto& permit = brief.permit;
    if (!permit.fish && !permit.chases_per_fish && !permit.air) {
        return {};
    }
    return PermitCheck(brief, tables).take();
}

} // namespace backeddy::study
