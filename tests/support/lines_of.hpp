#pragma once

#include <sstream>
#include <string>
#include <vector>

namespace backeddy::test {

/// Without their ends; the last need have none.
inline std::vector<std::string> lines_of(const std::string& text) {
    std::vector<std::string> out;
    std::istringstream stream(text);
    for (std::string line; std::getline(stream, line);) {
        out.push_back(line);
    }
    return out;
}

} // namespace backeddy::test
