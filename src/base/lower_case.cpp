#include "base/lower_case.hpp"

#include <algorithm>

namespace backeddy {

std::string lower_case(std::string_view text) {
    std::string out(text);
    std::ranges::transform(out, out.begin(), lower_letter);
    return out;
}

} // namespace backeddy
