#pragma once
// What TLS connections show has an end, and a program may run past it: looked at now and then, and replaced
// for connections that come from then on.

#include <chrono>
#include <functional>
#include <memory>
#include <string>

#include "base/error.hpp"
#include "series/instant.hpp"
#include "server/certificate.hpp"

namespace backeddy::server {

class Renewal {
  public:
    struct Wish {
        /// What is to be shown at a moment: the same as before while that has time left.
        std::function<Expected<Certificate>(Instant)> certificate_at;
        std::function<Expected<void>(const Certificate&)> show;
        std::function<void(std::string)> say; ///< one line for the terminal
        std::function<Instant()> now;         ///< the wall clock
        std::chrono::milliseconds every = std::chrono::hours(1);
    };
    /// `shown`: by the connections that there are. All of `wish` is called from a thread of its own. What
    /// fails is said once and tried again.
    Renewal(Certificate shown, Wish wish);
    ~Renewal();
    Renewal(const Renewal&) = delete;
    Renewal& operator=(const Renewal&) = delete;

  private:
    struct Inside;
    std::unique_ptr<Inside> inside_;
};

} // namespace backeddy::server
