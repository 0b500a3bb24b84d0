#include "instruments/pump_heart.hpp"

namespace backeddy::instruments {

std::string_view in_words(PumpState state) {
    return state == PumpState::flush ? "flush" : "sealed";
}

PumpState PumpHeart::wanted(std::int64_t now_ns) const {
    return now_ns < sealed_until_ns_ ? PumpState::sealed : PumpState::flush;
}

std::optional<PumpState> PumpHeart::due(std::int64_t now_ns) const {
    const PumpState state = wanted(now_ns);
    const bool fresh = last_ && last_->state == state && now_ns - last_->at_ns < heartbeat_.nanoseconds();
    return fresh ? std::nullopt : std::optional(state);
}

void PumpHeart::sent(PumpState state, std::int64_t now_ns) {
    last_ = Sent{.state = state, .at_ns = now_ns};
}

} // namespace backeddy::instruments
