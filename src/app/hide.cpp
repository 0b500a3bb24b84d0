#include "app/hide.hpp"

#include <algorithm>
#include <set>
#include <string>

#include <fmt/format.h>

namespace backeddy::app {

namespace {

/// Everything that was taken out.
class Hidden {
  public:
    void take(std::string& cell) {
        if (!cell.empty()) {
            words_.insert(std::move(cell));
        }
        cell.clear();
    }
    void take(std::vector<study::FreeCell>& cells) {
        for (auto& cell : cells) {
            take(cell.value);
        }
        cells.clear();
    }
    /// Whether a message names one of the words; a bare number betrays nothing.
    [[nodiscard]] bool is_told_by(const std::string& message) const {
        return std::any_of(words_.begin(), words_.end(), [&](const std::string& word) {
            return word.find_first_not_of("0123456789.,-+ ") != std::string::npos &&
                   message.find(word) != std::string::npos;
        });
    }

  private:
    std::set<std::string> words_;
};

std::size_t drop_told(const Hidden& hidden, std::vector<study::Complaint>& complaints) {
    return std::erase_if(complaints, [&](const study::Complaint& complaint) {
        return complaint.severity == study::Severity::warning && hidden.is_told_by(complaint.error.text());
    });
}

} // namespace

void hide_treatments(OpenedStudy& opened) {
    Hidden hidden;
    auto& tables = opened.study.tables;
    for (auto& encounter : tables.encounters) {
        for (auto* cell :
             {&encounter.rig, &encounter.unhooking, &encounter.landing, &encounter.hook_location}) {
            hidden.take(*cell);
        }
        hidden.take(encounter.free);
    }
    for (auto& event : tables.events) {
        hidden.take(event.rig);
    }
    for (auto& fish : tables.fish) {
        hidden.take(fish.free);
    }
    opened.study.brief.questions.clear();
    opened.study.brief.report.group_by.clear();
    opened.study.brief.mortality.control.clear();
    const auto dropped = drop_told(hidden, opened.complaints);
    drop_told(hidden, opened.beside);
    opened.complaints.push_back(
        {.severity = study::Severity::warning,
         .error = {.code = ErrorCode::bad_relation,
                   .found = fmt::format(
                       "treatments are hidden (--hide-treatment), and {} warning{} that would name them",
                       dropped, dropped == 1 ? "" : "s"),
                   .expected = "a report for judging traces, without groups, rigs and questions",
                   .remedy = "run without --hide-treatment for the findings"}});
}

} // namespace backeddy::app
