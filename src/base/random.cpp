#include "base/random.hpp"

#include <bit>
#include <cmath>

namespace backeddy {

namespace {

std::uint64_t splitmix64(std::uint64_t& x) {
    x += 0x9e3779b97f4a7c15ULL;
    std::uint64_t z = x;
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9ULL;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebULL;
    return z ^ (z >> 31);
}

} // namespace

Random::Random(std::uint64_t seed, std::uint64_t stream) {
    std::uint64_t mix = stream;
    std::uint64_t x = seed ^ splitmix64(mix);
    for (auto& word : state_) {
        word = splitmix64(x);
    }
}

Random::result_type Random::operator()() {
    const std::uint64_t result = std::rotl(state_[1] * 5, 7) * 9;
    const std::uint64_t t = state_[1] << 17;
    state_[2] ^= state_[0];
    state_[3] ^= state_[1];
    state_[1] ^= state_[2];
    state_[0] ^= state_[3];
    state_[2] ^= t;
    state_[3] = std::rotl(state_[3], 45);
    return result;
}

double Random::uniform() {
    return static_cast<double>((*this)() >> 11) * 0x1.0p-53;
}

std::uint64_t Random::below(std::uint64_t n) {
    // Lemire 2019, ACM Trans Model Comput Simul 29:3, with rejection of the short last interval.
    __extension__ using Wide = unsigned __int128;
    Wide product = static_cast<Wide>((*this)()) * n;
    if (static_cast<std::uint64_t>(product) < n) {
        const std::uint64_t threshold = (0 - n) % n;
        while (static_cast<std::uint64_t>(product) < threshold) {
            product = static_cast<Wide>((*this)()) * n;
        }
    }
    return static_cast<std::uint64_t>(product >> 64);
}

double Random::normal() {
    if (has_spare_) {
        has_spare_ = false;
        return spare_;
    }
    double u = 0.0;
    double v = 0.0;
    double s = 0.0;
    do {
        u = (2.0 * uniform()) - 1.0;
        v = (2.0 * uniform()) - 1.0;
        s = (u * u) + (v * v);
    } while (s >= 1.0 || s == 0.0);
    const double factor = std::sqrt(-2.0 * std::log(s) / s);
    spare_ = v * factor;
    has_spare_ = true;
    return u * factor;
}

double Random::exponential() {
    return -std::log1p(-uniform());
}

} // namespace backeddy
