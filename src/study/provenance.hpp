#pragma once
// Where a number came from: the program, the settings, and every input byte.

#include <cstdint>
#include <string>
#include <vector>

#include "study/settings.hpp"

namespace backeddy::study {

enum class InputKind : std::uint8_t { brief, table, trace };

/// One file that was read. The path is relative to the study folder, with '/' between its parts.
struct InputFile {
    std::string path;
    InputKind kind = InputKind::table;
    std::string sha256;
    std::uint64_t bytes = 0;
    std::vector<std::string> understood; ///< "semicolon; decimal comma", one fact each
};

struct Provenance {
    std::string program_version;
    std::vector<InputFile> inputs; ///< by path
    std::vector<SettingUsed> settings;
};

} // namespace backeddy::study
