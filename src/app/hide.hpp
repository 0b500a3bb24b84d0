#pragma once
// Traces are judged by people, and people who know a fish's treatment see what they expect.

#include "app/run.hpp"

namespace backeddy::app {

/// Takes out of an opened study what says which treatment a fish had: its encounter's rig, unhooking,
/// landing, hook location and columns of its own, the rigs of the deck's log, its own columns in fish.csv,
/// the questions. Complaints that speak of any of these values go too; one is added that says so. No measured
/// number rests on them. What happened to the fish and when (air, fight, chase) stays, since numbers do rest
/// on it, and so do notes.
void hide_treatments(OpenedStudy& opened);

} // namespace backeddy::app
