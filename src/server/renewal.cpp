#include "server/renewal.hpp"

#include <condition_variable>
#include <mutex>
#include <thread>
#include <utility>

namespace backeddy::server {

struct Renewal::Inside {
    Inside(Certificate its_shown, Wish its_wish) : shown(std::move(its_shown)), wish(std::move(its_wish)) {}

    Certificate shown;
    Wish wish;
    std::string said; ///< of what failed last
    std::mutex guard;
    std::condition_variable_any pause;
    std::jthread thread; // last: it uses all the others

    void work(const std::stop_token& stop);
    void look();
    void tell_failure(const Error& error);
};

void Renewal::Inside::work(const std::stop_token& stop) {
    std::unique_lock lock(guard);
    while (!stop.stop_requested()) {
        look();
        pause.wait_for(lock, stop, wish.every, [] { return false; });
    }
}

void Renewal::Inside::look() {
    auto now = wish.certificate_at(wish.now());
    if (!now) {
        return tell_failure(now.error());
    }
    if (now->chain_pem == shown.chain_pem) {
        return;
    }
    if (auto ok = wish.show(*now); !ok) {
        return tell_failure(ok.error());
    }
    shown = std::move(*now);
    said.clear();
    wish.say("the certificate that phones see was renewed");
}

void Renewal::Inside::tell_failure(const Error& error) {
    if (auto text = "beware: the certificate that phones see was not renewed: " + error.text();
        text != said) {
        said = text;
        wish.say(std::move(text));
    }
}

Renewal::Renewal(Certificate shown, Wish wish)
    : inside_(std::make_unique<Inside>(std::move(shown), std::move(wish))) {
    inside_->thread =
        std::jthread([working = inside_.get()](const std::stop_token& stop) { working->work(stop); });
}

Renewal::~Renewal() = default;

} // namespace backeddy::server
