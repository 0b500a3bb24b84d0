#include "server/pace.hpp"

#include <algorithm>
#include <array>

#include <arpa/inet.h>
#include <fmt/format.h>

namespace backeddy::server {

std::string address_group(std::string_view address) {
    std::string text(address.substr(0, address.find('%'))); // without the interface of a link's own address
    std::array<unsigned char, 16> bytes{};
    if (::inet_pton(AF_INET6, text.c_str(), bytes.data()) != 1) {
        return text;
    }
    std::string out;
    for (std::size_t i = 0; i < 8; ++i) {
        out += fmt::format("{:02x}", bytes[i]);
    }
    return out + "/64";
}

bool is_loopback(std::string_view address) {
    return address == "::1" || address.starts_with("127.");
}

double Pace::tokens_now(const Bucket& bucket, Moment now) const {
    const double seconds = std::chrono::duration<double>(now - bucket.at).count();
    return std::min(at_once_, bucket.tokens + std::max(0.0, seconds) * per_second_);
}

bool Pace::take(const std::string& key, Moment now) {
    if (buckets_.size() >= most_keys && !buckets_.contains(key)) {
        std::erase_if(buckets_, [&](const auto& each) { return tokens_now(each.second, now) >= at_once_; });
        if (buckets_.size() >= most_keys) {
            return false;
        }
    }
    auto& bucket = buckets_.try_emplace(key, Bucket{.tokens = at_once_, .at = now}).first->second;
    bucket = {.tokens = tokens_now(bucket, now), .at = now};
    if (bucket.tokens < 1.0) {
        return false;
    }
    bucket.tokens -= 1.0;
    return true;
}

namespace {
constexpr int free_guesses = 2;
constexpr std::chrono::hours remembered{1};
} // namespace

Length Guesses::wait(const std::string& key, Moment now) const {
    const auto found = tried_.find(key);
    if (found == tried_.end() || found->second.times <= free_guesses ||
        now - found->second.last >= remembered) {
        return Length::zero();
    }
    const int doublings = std::min(found->second.times - free_guesses - 1, 20);
    const Length pause = std::min<Length>(std::chrono::seconds(1 << doublings), longest_);
    return std::max(Length::zero(), found->second.last + pause - now);
}

void Guesses::wrong(const std::string& key, Moment now) {
    std::erase_if(tried_, [&](const auto& each) { return now - each.second.last >= remembered; });
    if (tried_.size() >= most_keys && !tried_.contains(key)) {
        tried_.erase(std::ranges::min_element(tried_, {}, [](const auto& each) { return each.second.last; }));
    }
    auto& tried = tried_[key];
    tried = {.times = tried.times + 1, .last = now};
}

} // namespace backeddy::server
