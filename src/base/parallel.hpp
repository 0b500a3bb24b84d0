#pragma once
// Work shared between threads so that the answer cannot depend on how many there are.

#include <atomic>
#include <cstddef>
#include <exception>
#include <functional>
#include <mutex>
#include <thread>
#include <vector>

namespace backeddy {

/// How many threads `parallel_for` may use; 0 means as many as the machine has. A value that is passed along,
/// never a global.
struct Threads {
    unsigned count = 0;
    [[nodiscard]] unsigned resolved() const {
        const unsigned hardware = std::thread::hardware_concurrency();
        return count != 0 ? count : (hardware != 0 ? hardware : 1);
    }
};

/// Calls work(i) once for every i in [0, n), in any order and on any thread; returns when all are done.
/// `work` writes only to its own slot i, so that the result does not depend on the number of threads. The
/// first exception by index is rethrown.
template <typename Work>
void parallel_for(std::size_t n, Threads threads, const Work& work) {
    const unsigned count = static_cast<unsigned>(std::min<std::size_t>(threads.resolved(), n));
    if (count <= 1) {
        for (std::size_t i = 0; i < n; ++i) {
            work(i);
        }
        return;
    }
    std::atomic<std::size_t> next{0};
    std::mutex guard;
    std::exception_ptr first;
    std::size_t first_index = n;
    const auto worker = [&] {
        for (std::size_t i = next++; i < n; i = next++) {
            try {
                work(i);
            } catch (...) {
                const std::lock_guard lock(guard);
                if (i < first_index) {
                    first_index = i;
                    first = std::current_exception();
                }
            }
        }
    };
    {
        std::vector<std::jthread> pool;
        pool.reserve(count - 1);
        for (unsigned t = 1; t < count; ++t) {
            pool.emplace_back(worker);
        }
        worker();
    }
    if (first) {
        std::rethrow_exception(first);
    }
}

} // namespace backeddy
