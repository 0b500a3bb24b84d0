#pragma once
// A study as it stands on disk: the brief and its tables.

#include "study/brief.hpp"
#include "study/nouns.hpp"

namespace backeddy::app {

struct Study {
    study::Brief brief;
    study::Tables tables;
};

} // namespace backeddy::app
