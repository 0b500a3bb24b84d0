#pragma once
// What a raw file says of itself that a person should know before believing it, although most of it was read.

#include <vector>

#include "app/raw_traces.hpp"
#include "study/complaint.hpp"

namespace backeddy::app {

/// Another header among the rows, and dates whose day and month change places on the way: both stop, since
/// what follows was read wrongly. Warnings: a hole of over ten days (choice), cells that cannot be read, a
/// column without one usable reading, over one in a hundred rows refused (choice).
[[nodiscard]] std::vector<study::Complaint> doubts_of(const RawFile& file);

} // namespace backeddy::app
