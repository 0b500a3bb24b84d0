#pragma once
// How fast an address may ask, and how fast somebody may guess passphrases. Time is given, never looked at.

#include <chrono>
#include <cstddef>
#include <map>
#include <string>
#include <string_view>

namespace backeddy::server {

using Moment = std::chrono::steady_clock::time_point;
using Length = std::chrono::steady_clock::duration;

/// Whom limits per address take for one: an IPv4 address, or the first 64 bits of an IPv6 one, which one
/// household or phone has to itself.
[[nodiscard]] std::string address_group(std::string_view address);
[[nodiscard]] bool is_loopback(std::string_view address);

/// So many at once, and so many a second for good (a bucket of tokens per key). Remembers a bounded number of
/// keys; where more than that ask at the same time, new ones are refused.
class Pace {
  public:
    Pace(double per_second, double at_once) : per_second_(per_second), at_once_(at_once) {}
    /// Whether one more may now, and then counts it.
    [[nodiscard]] bool take(const std::string& key, Moment now);

    static constexpr std::size_t most_keys = 4096;

  private:
    struct Bucket {
        double tokens;
        Moment at;
    };
    [[nodiscard]] double tokens_now(const Bucket& bucket, Moment now) const;

    double per_second_;
    double at_once_;
    std::map<std::string, Bucket> buckets_;
};

/// Wrong guesses of one kind of key (addresses, or names): two are free, then the wait doubles from one
/// second up to `longest`. An hour without a wrong guess and all is forgotten.
class Guesses {
  public:
    explicit Guesses(Length longest) : longest_(longest) {}
    /// How long this key has to wait yet; zero when it may try.
    [[nodiscard]] Length wait(const std::string& key, Moment now) const;
    void wrong(const std::string& key, Moment now);
    void right(const std::string& key) { tried_.erase(key); }

    static constexpr std::size_t most_keys =
        4096; ///< beyond, the key whose last guess is oldest is forgotten

  private:
    struct Tried {
        int times = 0;
        Moment last;
    };
    Length longest_;
    std::map<std::string, Tried> tried_;
};

} // namespace backeddy::server
