#pragma once
// What is odd about rows that go together: kept, told, never mended here.

#include <cstddef>
#include <string>

namespace backeddy::condition {

struct Doubt {
    std::size_t row = 0; ///< the caller's own number of the row it is about
    std::string found;
    std::string remedy;

    friend bool operator==(const Doubt&, const Doubt&) = default;
};

} // namespace backeddy::condition
