#pragma once
// What every device's driver has in common. All of it on the loop's thread, but where it says otherwise.

#include <functional>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include "instruments/backoff.hpp"
#include "instruments/gap_watch.hpp"
#include "instruments/instruments.hpp"
#include "instruments/line_cutter.hpp"
#include "instruments/pump_heart.hpp"

namespace backeddy::instruments {

/// What a driver needs from outside.
struct Surroundings {
    Loop& loop;
    Instruments::Sink sink;
    std::function<Stamp()> now;
    std::uint64_t seed = 1;
};

/// Says what happened to one device: frames with the gaps that they end, events, garbage at most once a
/// second.
class Teller {
  public:
    Teller(const Device& device, Surroundings around);

    void connected(std::string to);
    void lost(std::string why, Duration next_try);
    void frame(Frame frame);
    void garbage(std::string_view bytes, std::uint64_t length, std::string why);
    void begun_anew(std::string why);
    void command_failed(const std::string& pump, std::string why);
    [[nodiscard]] Stamp now() const { return around_.now(); }
    [[nodiscard]] const DeviceId& device() const { return id_; }

  private:
    template <typename What>
    void tell(What what, const Stamp& at) {
        around_.sink(Event{.device = id_, .at = at, .what = std::move(what)});
    }
    void tell_held_garbage(const Stamp& at);

    DeviceId id_;
    Surroundings around_;
    GapWatch gaps_;
    std::optional<std::int64_t> garbage_told_ns_;
    std::optional<Garbage> held_; ///< since then
};

/// The pumps of one device and what was last said to them.
class Pumps {
  public:
    /// `send(pump, state)` hands the word to the wire; true when it is on its way.
    using Send = std::function<bool(std::size_t pump, PumpState state)>;
    Pumps(std::vector<Pump> pumps, Teller& teller, Send send);

    /// False when it is none of this device's.
    bool flush(const std::string& name);
    bool seal(const std::string& name, Duration good_for);
    /// Says what is due. Call often while the device is there.
    void beat();
    /// The device is there again, or not any more.
    void reached(bool yes);
    void flush_all();

  private:
    struct One {
        Pump pump;
        PumpHeart heart;
    };
    [[nodiscard]] One* find(const std::string& name);
    /// A change that cannot be said now is told at once.
    void changed(One& one);

    std::vector<One> pumps_;
    Teller& teller_;
    Send send_;
    bool reached_ = false;
};

/// One device at work.
class Driver {
  public:
    Driver() = default;
    virtual ~Driver() = default;
    Driver(const Driver&) = delete;
    Driver& operator=(const Driver&) = delete;
    Driver(Driver&&) = delete;
    Driver& operator=(Driver&&) = delete;

    virtual void start() = 0;
    /// Flushes its pumps if it can and lets go; hands nothing on afterwards. May be called twice.
    virtual void stop() = 0;
    /// Every 50 ms or so.
    virtual void tick() = 0;
    [[nodiscard]] virtual Pumps& pumps() = 0;
};

[[nodiscard]] std::unique_ptr<Driver> make_line_driver(const Device& device, const LineDevice& line,
                                                       const Surroundings& around);
[[nodiscard]] std::unique_ptr<Driver> make_modbus_driver(const Device& device, const ModbusDevice& modbus,
                                                         const Surroundings& around);
[[nodiscard]] std::unique_ptr<Driver> make_mqtt_driver(const Device& device, const MqttDevice& mqtt,
                                                       const Surroundings& around);
[[nodiscard]] std::unique_ptr<Driver> make_file_driver(const Device& device, const FileDevice& file,
                                                       const Surroundings& around);

/// Locks an open serial port for this program; "" or why not. Two programs on one port would each get some of
/// the bytes.
[[nodiscard]] std::string lock_port(int fd);

/// Takes the lines in `cuts` to the teller: frames and garbage. True when one of them gave a reading.
[[nodiscard]] bool tell_lines(const std::vector<Cut>& cuts, const LineShape& shape, const Stamp& received,
                              Teller& teller);

} // namespace backeddy::instruments
