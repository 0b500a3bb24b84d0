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

/// Of a cell of a table: what it holds is none of what the column may, and its row may be lost by it.
bool is_of_cell(const Error& error) {
    return error.place.line && !error.place.column.empty() &&
           (error.code == ErrorCode::out_of_range ||
            (error.code == ErrorCode::unknown_name && error.looked_in.empty()));
}

/// What could not be read whole.
struct Unread {
    bool is_brief = false;
    std::set<std::string> sources; ///< tables by their file, traces by their name
};

Unread unread_of(const std::vector<study::Complaint>& complaints, const Study& study,
                 const RawTraces& traces) {
    Unread out;
    for (const auto& complaint : complaints) {
        const auto& file = complaint.error.place.file;
        if (complaint.severity != study::Severity::stops_the_run ||
            !(is_of_reading(complaint.error.code) || is_of_cell(complaint.error))) {
            continue;
        }
        out.is_brief =
            out.is_brief || (file == study.brief.file && complaint.error.code == ErrorCode::bad_text);
        if (file.ends_with(".csv") && file.find('/') == std::string::npos) {
            out.sources.insert(file);
        }
    }
    for (const auto& source : study.brief.traces) {
        const bool is_read = std::any_of(traces.files.begin(), traces.files.end(), [&](const RawFile& file) {
            return file.trace == source.name && file.report;
        });
        if (!is_read) {
            out.sources.insert(source.name);
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
    return unread.sources.contains(error.looked_in);
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

std::string followers_text(std::size_t count) {
    if (count == 0) {
        return {};
    }
    return fmt::format("{} more that follow{} from what could not be read {} not shown", count,
                       count == 1 ? "s" : "", count == 1 ? "is" : "are");
}

} // namespace backeddy::app
