#include "condition/plate_well.hpp"

namespace backeddy::condition {

std::string well_name(std::size_t row, std::size_t column) {
    std::string letters;
    for (std::size_t left = row; left > 0; left = (left - 1) / 26) {
        letters.insert(letters.begin(), static_cast<char>('A' + ((left - 1) % 26)));
    }
    return letters + std::to_string(column);
}

} // namespace backeddy::condition
