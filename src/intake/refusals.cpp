#include "intake/refusals.hpp"

#include <algorithm>
#include <map>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace backeddy::intake {

namespace {

class Groups {
  public:
    explicit Groups(std::size_t most_listed) : most_listed_(most_listed) {}

    void add(const Error& reason, LineRange lines, std::size_t listed_as = not_listed) {
        auto& group = group_of(reason);
        group.rows += lines.last - lines.first + 1;
        if (listed_as != not_listed && group.listed.size() < most_listed_) {
            group.listed.push_back(listed_as);
        }
        group.lines.push_back(lines);
    }

    std::vector<Refusals> take() && {
        for (auto& group : groups_) {
            join(group.lines);
        }
        std::stable_sort(groups_.begin(), groups_.end(), [](const Refusals& a, const Refusals& b) {
            return a.lines.front().first < b.lines.front().first;
        });
        return std::move(groups_);
    }

    static constexpr std::size_t not_listed = static_cast<std::size_t>(-1);

  private:
    Refusals& group_of(const Error& reason) {
        const auto [place, fresh] = index_.emplace(reason_key(reason), groups_.size());
        if (fresh) {
            groups_.push_back({.reason = reason});
        }
        return groups_[place->second];
    }

    static void join(std::vector<LineRange>& lines) {
        std::sort(lines.begin(), lines.end(),
                  [](const LineRange& a, const LineRange& b) { return a.first < b.first; });
        std::size_t kept = 0;
        for (std::size_t i = 1; i < lines.size(); ++i) {
            if (lines[i].first == lines[kept].last + 1) {
                lines[kept].last = lines[i].last;
            } else {
                lines[++kept] = lines[i];
            }
        }
        lines.resize(kept + 1);
    }

    std::size_t most_listed_;
    std::vector<Refusals> groups_;
    std::map<std::string, std::size_t> index_;
};

} // namespace

std::string reason_key(const Error& reason) {
    return fmt::format("{}\n{}\n{}", static_cast<int>(reason.code), reason.place.column, reason.expected);
}

std::vector<Refusals> refusals_of(const ReadReport& report, std::size_t most_listed) {
    Groups groups(most_listed);
    for (std::size_t i = 0; i < report.refused.size(); ++i) {
        const auto& row = report.refused[i];
        groups.add(row.reason, {.first = row.line, .last = row.line}, i);
    }
    for (const auto& range : report.refused_beyond) {
        groups.add(report.beyond_reasons[range.reason], {.first = range.first_line, .last = range.last_line});
    }
    return std::move(groups).take();
}

std::string in_words(const std::vector<LineRange>& lines, std::size_t most) {
    std::vector<std::string> parts;
    for (const auto& range : lines) {
        if (parts.size() == most) {
            break;
        }
        parts.push_back(range.first == range.last ? std::to_string(range.first)
                                                  : fmt::format("{} to {}", range.first, range.last));
    }
    const bool is_one = lines.size() == 1 && lines[0].first == lines[0].last;
    std::string out = fmt::format("line{} {}", is_one ? "" : "s", fmt::join(parts, ", "));
    if (lines.size() > most) {
        out += fmt::format(" and {} more stretches", lines.size() - most);
    }
    return out;
}

} // namespace backeddy::intake
