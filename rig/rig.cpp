#include "rig.hpp"

#include <algorithm>
#include <array>

#include <fmt/format.h>
#include <unistd.h>

#include "wire_text.hpp"

namespace backeddy::rig {

using Clock = std::chrono::steady_clock;

Rig::Rig(const RigSettings& settings) : settings_(settings), random_(settings.seed) {
    for (std::size_t i = 1; i <= settings.chambers; ++i) {
        chambers_.emplace_back(settings.chamber, i, settings.seed);
    }
}

double Rig::now_s() const {
    return std::chrono::duration<double>(Clock::now() - begun_).count() * settings_.speed;
}

PumpWord Rig::pump_word() {
    return [this](std::size_t chamber, bool seal) {
        if (chamber < 1 || chamber > chambers_.size()) {
            return;
        }
        // Water first, so that what was until now stays as it was.
        auto& own = chambers_[chamber - 1];
        const double at_s = now_s();
        own.advance(at_s, faults_);
        if (seal) {
            own.seal(at_s);
        } else {
            own.flush(at_s);
        }
    };
}

bool Rig::take_order(std::string_view line) {
    const double at_s = now_s();
    const auto order = parse_order(line, at_s, chambers_.size());
    if (!order) {
        fmt::print(stderr, "backeddy-rig: {}\n", order.error().text());
        return true;
    }
    switch (order->what) {
    case Order::What::nothing:
        return true;
    case Order::What::quit:
        return false;
    case Order::What::begin:
        faults_.add(order->fault);
        break;
    case Order::What::end:
        faults_.end(order->fault.kind, order->fault.chamber, at_s);
        break;
    }
    fmt::print("at {:.1f} s taken: {}\n", at_s, line);
    std::fflush(stdout);
    return true;
}

Expected<void> Rig::take_script(std::string_view text, const std::string& file) {
    std::uint64_t number = 0;
    while (!text.empty()) {
        ++number;
        const auto end = std::min(text.find('\n'), text.size());
        const auto order = parse_order(text.substr(0, end), 0.0, chambers_.size());
        if (!order) {
            auto error = order.error();
            return fail(std::move(error).at({.file = file, .line = number}));
        }
        if (order->what == Order::What::begin) {
            faults_.add(order->fault);
        } else if (order->what != Order::What::nothing) {
            return fail({.code = ErrorCode::bad_setting,
                         .found = fmt::format("\"{}\" in a script", text.substr(0, end)),
                         .expected = "faults with their times",
                         .remedy = "give a fault its length: at 600 for 120 noise c3 0.5",
                         .place = {.file = file, .line = number}});
        }
        text.remove_prefix(std::min(end + 1, text.size()));
    }
    return {};
}

void Rig::tell_line(const std::vector<Sample>& samples, Instant device_time, double at_s) {
    auto line = line_of(samples, device_time);
    const double chance = random_.uniform();
    if (chance < faults_.active(FaultKind::garbage, 0, at_s).value_or(0.0)) {
        for (auto& each : line) {
            each = static_cast<char>(random_.below(256));
        }
    } else if (chance < faults_.active(FaultKind::half_lines, 0, at_s).value_or(0.0)) {
        line.resize(random_.below(line.size()));
    }
    line += "\r\n";
    for (auto& end : ends_.lines) {
        end->send(line);
    }
}

void Rig::tell_messages(const std::vector<Sample>& samples, Instant device_time, double at_s) {
    for (std::size_t i = 0; i < samples.size(); ++i) {
        auto message = message_of(samples[i], device_time);
        if (random_.uniform() < faults_.active(FaultKind::garbage, 0, at_s).value_or(0.0)) {
            message.resize(message.size() / 2);
        }
        ends_.messages->publish(i + 1, message);
    }
}

void Rig::tell_readings(double at_s) {
    std::vector<Sample> samples;
    for (auto& chamber : chambers_) {
        samples.push_back(chamber.step(at_s, faults_));
    }
    const double wrong_s = faults_.active(FaultKind::clock, 0, at_s).value_or(0.0);
    // In whole milliseconds, as devices write it.
    const auto milliseconds = std::llround((at_s + wrong_s) * 1e3);
    const auto device_time = settings_.start + Duration::nanoseconds(milliseconds * 1'000'000);
    tell_line(samples, device_time, at_s);
    if (ends_.registers) {
        ends_.registers->set(registers_of(samples));
    }
    if (ends_.messages) {
        tell_messages(samples, device_time, at_s);
    }
}

void Rig::set_connected(bool yes) {
    if (yes == connected_) {
        return;
    }
    connected_ = yes;
    for (auto& end : ends_.lines) {
        end->connected(yes);
    }
    if (ends_.registers) {
        ends_.registers->connected(yes);
    }
    if (ends_.messages) {
        ends_.messages->connected(yes);
    }
}

bool Rig::hear_orders() {
    std::array<char, 1024> buffer{};
    const auto size = ::read(STDIN_FILENO, buffer.data(), buffer.size());
    if (size <= 0) {
        hears_orders_ = false; // nobody there any more; the rig goes on
        return true;
    }
    orders_.append(buffer.data(), static_cast<std::size_t>(size));
    for (auto end = orders_.find('\n'); end != std::string::npos; end = orders_.find('\n')) {
        const auto line = orders_.substr(0, end);
        orders_.erase(0, end + 1);
        if (!take_order(line)) {
            return false;
        }
    }
    return true;
}

bool Rig::wait_and_serve(Clock::time_point until) {
    std::vector<pollfd> waited;
    if (hears_orders_) {
        waited.push_back({.fd = STDIN_FILENO, .events = POLLIN, .revents = 0});
    }
    for (auto& end : ends_.lines) {
        end->wait_on(waited);
    }
    if (ends_.registers) {
        ends_.registers->wait_on(waited);
    }
    if (ends_.messages) {
        ends_.messages->wait_on(waited);
    }
    const auto left = std::chrono::ceil<std::chrono::milliseconds>(until - Clock::now()).count();
    constexpr long longest_ms = 200; // the broker's client wants to be served now and then
    ::poll(waited.data(), waited.size(),
           static_cast<int>(std::clamp(static_cast<long>(left), 0L, longest_ms)));
    for (auto& end : ends_.lines) {
        end->serve();
    }
    if (ends_.registers) {
        ends_.registers->serve();
    }
    if (ends_.messages) {
        ends_.messages->serve();
    }
    return !hears_orders_ || waited.front().revents == 0 || hear_orders();
}

void Rig::run(const volatile std::sig_atomic_t& asked_to_end) {
    // Readings are due at whole multiples of their interval. A machine that was busy or slept leaves some
    // out, and does not send them in one burst afterwards.
    std::int64_t next = 0;
    while (asked_to_end == 0) {
        const double due_s = static_cast<double>(next) * settings_.every_s;
        if (now_s() >= due_s) {
            set_connected(!faults_.active(FaultKind::disconnect, 0, now_s()));
            tell_readings(std::max(due_s, now_s()));
            next = static_cast<std::int64_t>(now_s() / settings_.every_s) + 1;
            continue;
        }
        const auto due = begun_ + std::chrono::duration_cast<Clock::duration>(
                                      std::chrono::duration<double>(due_s / settings_.speed));
        if (!wait_and_serve(due)) {
            return;
        }
    }
}

} // namespace backeddy::rig
