#pragma once
// How long work shows that it is alive: the front end decides what to do with it.

#include <cstddef>
#include <functional>
#include <string_view>

namespace backeddy::app {

/// what ("reading"), done, total (0: unknown), unit ("MB"). Called from one thread at a time.
using Progress = std::function<void(std::string_view, std::size_t, std::size_t, std::string_view)>;

} // namespace backeddy::app
