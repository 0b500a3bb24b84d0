#pragma once
// A fish's condition, and the study's, as they stand in the results document.

#include "report/condition.hpp"
#include "report/json.hpp"
#include "report/json_stream.hpp"

namespace backeddy::report::detail {

/// Fish::condition, the next value of `out`.
void put_condition(JsonStream& out, Detail detail, const FishCondition& condition);
/// Results::condition, likewise.
void put_condition(JsonStream& out, Detail detail, const StudyCondition& condition);

} // namespace backeddy::report::detail
