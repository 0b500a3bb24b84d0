#pragma once
// The machine that the watch runs on: its clocks, its disk, its power.

#include <filesystem>
#include <string>

#include "watch/input.hpp"

namespace backeddy::live {

/// The machine's boot id (/proc/sys/kernel/random/boot_id); a new one each time where there is none.
[[nodiscard]] std::string boot_id();

/// Room on the folder's disk, mains and battery as /sys/class/power_supply says; nothing where it says
/// nothing. `supplies` is that folder.
[[nodiscard]] watch::Machine machine_state(const std::filesystem::path& folder,
                                           const std::filesystem::path& supplies = "/sys/class/power_supply");

} // namespace backeddy::live
