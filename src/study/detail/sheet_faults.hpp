#pragma once
// What is wrong with the sheets of a fish's condition, and which of their rows are left out for it.

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <iterator>
#include <map>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "study/complaint.hpp"
#include "study/detail/relation_words.hpp"

namespace backeddy::study {

class SheetFaults {
  public:
    /// The row stands all the same.
    void tell(const Place& place, std::string column, Saying saying) {
        complaints_.push_back(warn(place, std::move(column), std::move(saying)));
    }
    /// A complaint made elsewhere.
    void tell(Complaint complaint) {
        complaint.severity = Severity::warning;
        complaints_.push_back(std::move(complaint));
    }
    void leave_out(const Place& place, std::string column, Saying saying) {
        out_.insert(key(place));
        saying.remedy += "; until then the row is left out";
        tell(place, std::move(column), std::move(saying));
    }
    /// Many rows for one reason, told at the first of them; at least one.
    void leave_out(const std::vector<Place>& places, std::string column, Saying saying) {
        if (places.size() == 1) {
            return leave_out(places.front(), std::move(column), std::move(saying));
        }
        for (const auto& place : places) {
            out_.insert(key(place));
        }
        saying.remedy += "; until then its " + std::to_string(places.size()) + " rows are left out";
        tell(places.front(), std::move(column), std::move(saying));
    }
    void leave_out(Complaint complaint) {
        out_.insert(key(complaint.error.place));
        complaint.error.remedy += "; until then the row is left out";
        tell(std::move(complaint));
    }
    void leave_out(const Place& place, std::string column, Error error) {
        leave_out(place, std::move(column),
                  Saying{.code = error.code,
                         .found = std::move(error.found),
                         .expected = std::move(error.expected),
                         .remedy = error.remedy.empty() ? "correct it" : std::move(error.remedy)});
    }
    void leave_out_silently(const Place& place) { out_.insert(key(place)); } ///< told elsewhere
    void stop(Complaint complaint) { complaints_.push_back(std::move(complaint)); }

    [[nodiscard]] bool is_left_out(const Place& place) const { return out_.contains(key(place)); }

    /// Rows of one key contradict each other: none of them counts. One that is left out already contradicts
    /// nothing.
    template <typename Rows, typename Key, typename Text>
    void leave_out_repeated(const Rows& rows, const std::string& column, Key key_of, Text text_of) {
        std::map<decltype(key_of(rows.front())), Place> seen;
        const auto before = out_;
        for (const auto& row : rows) {
            if (before.contains(key(row.place))) {
                continue;
            }
            const auto [first, is_new] = seen.emplace(key_of(row), row.place);
            if (is_new) {
                continue;
            }
            out_.insert({key(first->second), key(row.place)});
            tell(row.place, column,
                 {.code = ErrorCode::duplicate,
                  .found = text_of(row) + " stands in " + line_text(first->second) + " already",
                  .expected = "each once",
                  .remedy = "delete one, or correct it; until then neither row counts"});
        }
    }

    [[nodiscard]] std::vector<Complaint> take() { return std::move(complaints_); }

  private:
    using Key = std::pair<std::string, std::uint64_t>;
    static Key key(const Place& place) { return {place.file, place.line.value_or(0)}; }

    std::set<Key> out_;
    std::vector<Complaint> complaints_;
};

/// Rows that are not left out.
template <typename Row>
[[nodiscard]] std::vector<Row> kept(const std::vector<Row>& rows, const SheetFaults& faults) {
    std::vector<Row> out;
    std::ranges::copy_if(rows, std::back_inserter(out),
                         [&](const Row& row) { return !faults.is_left_out(row.place); });
    return out;
}

/// A fish of these sheets that is in no table.
template <typename Rows>
void leave_out_unknown_fish(SheetFaults& faults, const Rows& rows, const Tables& tables) {
    for (const auto& row : rows) {
        if (tables.find(row.fish) == nullptr) {
            faults.leave_out(unknown_fish(row.place, row.fish, tables));
        }
    }
}

// Each looks through its sheets.
void check_samples(SheetFaults& faults, const Tables& tables);
void check_blood(SheetFaults& faults, const Brief& brief, const Tables& tables);
void check_plates(SheetFaults& faults, const Tables& tables);
void check_scores(SheetFaults& faults, const Brief& brief, const Tables& tables);
void check_fates(SheetFaults& faults, const Brief& brief, const Tables& tables);

} // namespace backeddy::study
