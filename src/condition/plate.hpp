#pragma once
// Start here: what a fish's blood, fins and fate say of its condition; this header: an assay plate, from the
// responses of its wells to concentrations that know how unsure they are.

#include "condition/plate_well.hpp"
