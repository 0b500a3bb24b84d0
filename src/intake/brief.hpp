#pragma once
// Start here: reading study.toml.
//
//   auto read = read_brief(text, "study.toml");
//   if (study::stops_a_run(read.complaints)) ...     // every fault of the file, each with its line
//   auto settings = read_settings(read.brief.traces[0], read.brief.study.zone);
//
// Which settings there are, their units, limits and defaults is said once, in study/settings.hpp.

#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "intake/dialect.hpp"
#include "study/brief.hpp"
#include "study/complaint.hpp"

namespace backeddy::intake {

struct BriefRead {
    study::Brief brief;
    std::vector<study::Complaint> complaints;
};

/// Any bytes are taken; none makes it fail. Unknown sections and keys (near names offered), wrong kinds and
/// values out of their limits are complaints that stop a run, and the default stays. Text that is no TOML at
/// all is one complaint.
[[nodiscard]] BriefRead read_brief(std::string_view text, const std::string& file);

/// What the brief says of a trace's files, as the trace reader takes it. Fails with bad_setting or bad_unit
/// for a word that is none of the reader's.
[[nodiscard]] Expected<ReadSettings> read_settings(const study::TraceSource& source,
                                                   const std::string& study_zone);

} // namespace backeddy::intake
