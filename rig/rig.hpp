#pragma once
// The rig at work: time, chambers, faults, wires.

#include <chrono>
#include <csignal>
#include <memory>
#include <string>
#include <vector>

#include "base/random.hpp"
#include "ends.hpp"
#include "faults.hpp"
#include "rig_chamber.hpp"
#include "series/instant.hpp"

namespace backeddy::rig {

struct RigSettings {
    ChamberSettings chamber;
    std::size_t chambers = 2;
    double every_s = 1.0; ///< between readings, of the rig's time
    double speed = 1.0;   ///< times as fast as real time
    std::uint64_t seed = 1;
    Instant start; ///< of the devices' clock
};

/// The wires that were asked for.
struct Ends {
    std::vector<std::unique_ptr<LineEnd>> lines;
    std::unique_ptr<RegisterEnd> registers;
    std::unique_ptr<MessageEnd> messages;
};

class Rig {
  public:
    explicit Rig(const RigSettings& settings);

    /// Where pump words of the ends have to go.
    [[nodiscard]] PumpWord pump_word();
    void use(Ends ends) { ends_ = std::move(ends); }

    /// An order as a line; complaints and what was understood are printed. False when it is to quit.
    bool take_order(std::string_view line);
    /// The script's orders; fails at the first that is not understood, naming its line.
    [[nodiscard]] Expected<void> take_script(std::string_view text, const std::string& file);

    /// Serves the wires until it is told to quit, by an order on the standard input or `asked_to_end`.
    void run(const volatile std::sig_atomic_t& asked_to_end);

  private:
    [[nodiscard]] double now_s() const;
    void tell_readings(double at_s);
    void tell_line(const std::vector<Sample>& samples, Instant device_time, double at_s);
    void tell_messages(const std::vector<Sample>& samples, Instant device_time, double at_s);
    void set_connected(bool yes);
    [[nodiscard]] bool wait_and_serve(std::chrono::steady_clock::time_point until);
    [[nodiscard]] bool hear_orders();

    RigSettings settings_;
    std::chrono::steady_clock::time_point begun_ = std::chrono::steady_clock::now();
    std::vector<RigChamber> chambers_;
    FaultPlan faults_;
    Ends ends_;
    Random random_;
    bool connected_ = true;
    bool hears_orders_ = true;
    std::string orders_; ///< what of the standard input is no whole line yet
};

} // namespace backeddy::rig
