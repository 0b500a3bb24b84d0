#include "app/followers.hpp"

#include <algorithm>
#include <set>
#include <string>

#include <fmt/format.h>

namespace backeddy::app {

namespace {

bool is_of_reading(ErrorCode code) {
    return code >= ErrorCode::file_missing && code <= ErrorCode::missing_column;
}

/// What could not be read whole.
struct Unread {
    bool is_brief = false;
    std::set<std::string> tables;
    std::set<std::string> traces;
};

Unread unread_of(const std::vector<study::Complaint>& complaints, const Study& study,
                 const RawTraces& traces) {
    Unread out;
    for (const auto& complaint : complaints) {
        const auto& file = complaint.error.place.file;
        if (complaint.severity != study::Severity::stops_the_run || !is_of_reading(complaint.error.code)) {
            continue;
        }
        out.is_brief =
            out.is_brief || (file == study.brief.file && complaint.error.code == ErrorCode::bad_text);
        if (file.ends_with(".csv") && file.find('/') == std::string::npos) {
            out.tables.insert(file);
        }
    }
    for (const auto& source : study.brief.traces) {
        const bool is_read = std::any_of(traces.files.begin(), traces.files.end(), [&](const RawFile& file) {
            return file.trace == source.name && file.report;
        });
        if (!is_read) {
            out.traces.insert(source.name);
        }
    }
    return out;
}

bool follows(const study::Complaint& complaint, const Unread& unread, const Study& study) {
    const auto& error = complaint.error;
    if (unread.is_brief) {
        const bool is_cause = is_of_reading(error.code) &&
                              (error.place.file != study.brief.file || error.code == ErrorCode::bad_text);
        return !is_cause;
    }
    if (error.code != ErrorCode::unknown_name) {
        return false;
    }
    const auto says = [&](const std::string& words) { return error.found.find(words) != std::string::npos; };
    return std::any_of(unread.tables.begin(), unread.tables.end(),
                       [&](const std::string& table) { return says("is not in " + table); }) ||
           std::any_of(unread.traces.begin(), unread.traces.end(), [&](const std::string& trace) {
               return says(fmt::format("no readings in the trace \"{}\"", trace));
           });
}

} // namespace

std::size_t drop_followers(std::vector<study::Complaint>& complaints, const Study& study,
                           const RawTraces& traces) {
    if (!study::stops_a_run(complaints)) {
        return 0;
    }
    const Unread unread = unread_of(complaints, study, traces);
    return std::erase_if(
        complaints, [&](const study::Complaint& complaint) { return follows(complaint, unread, study); });
}

} // namespace backeddy::app
