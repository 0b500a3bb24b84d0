#include "live/machine.hpp"

#include <algorithm>
#include <fstream>

#include <fmt/format.h>
#include <unistd.h>

#include "base/number_text.hpp"

namespace backeddy::live {

namespace {

std::string first_line(const std::filesystem::path& file) {
    std::string line;
    std::ifstream in(file);
    std::getline(in, line);
    return line;
}

void add_supply(const std::filesystem::path& supply, watch::Machine& out) {
    const std::string type = first_line(supply / "type");
    if (type == "Mains" || type == "USB") {
        const std::string online = first_line(supply / "online");
        if (!online.empty()) {
            out.on_mains = out.on_mains.value_or(false) || online == "1";
        }
    } else if (type == "Battery" && first_line(supply / "scope") != "Device") { // not a mouse's
        if (const auto percent = parse_number(first_line(supply / "capacity"))) {
            out.battery_percent = std::min(out.battery_percent.value_or(100.0), *percent);
        }
    }
}

} // namespace

std::string boot_id() {
    const std::string said = first_line("/proc/sys/kernel/random/boot_id");
    return said.empty() ? fmt::format("unknown-{}", ::getpid()) : said;
}

watch::Machine machine_state(const std::filesystem::path& folder, const std::filesystem::path& supplies) {
    watch::Machine out;
    std::error_code unknown;
    const auto space = std::filesystem::space(folder, unknown);
    if (!unknown) {
        out.disk_free_mb = static_cast<double>(space.available) / 1e6;
    }
    for (std::filesystem::directory_iterator each(supplies, unknown), end; !unknown && each != end;
         each.increment(unknown)) {
        add_supply(each->path(), out);
    }
    return out;
}

} // namespace backeddy::live
