#include "instruments/instruments.hpp"

#include <algorithm>
#include <chrono>
#include <ctime>

#include <fmt/format.h>

#include "instruments/detail/driver.hpp"

namespace backeddy::instruments {

Stamp machine_now() {
    const auto wall = std::chrono::system_clock::now().time_since_epoch();
    timespec since_boot{};
    ::clock_gettime(CLOCK_BOOTTIME, &since_boot);
    constexpr std::int64_t second = 1'000'000'000;
    return {.wall =
                Instant::unix_nanoseconds(std::chrono::duration_cast<std::chrono::nanoseconds>(wall).count()),
            .monotonic_ns = since_boot.tv_sec * second + since_boot.tv_nsec};
}

class Instruments::Work {
  public:
    Work(const Station& station, Loop& loop, const Sink& sink, const InstrumentsOptions& options) {
        std::uint64_t seed = options.seed;
        for (const auto& device : station.devices) {
            // A device that speaks after stop() speaks to nobody.
            const auto still = [sink, going = going_](const Report& report) {
                if (*going) {
                    sink(report);
                }
            };
            drivers_.push_back(
                made(device, {.loop = loop, .sink = still, .now = options.now, .seed = seed++}));
        }
        loop.post([this, going = going_] {
            if (*going) {
                for (auto& driver : drivers_) {
                    driver->start();
                }
            }
        });
        constexpr double tick_s = 0.05;
        ticking_ = std::make_unique<EveryTimer>(loop, Duration::seconds(tick_s), [this] {
            for (auto& driver : drivers_) {
                driver->tick();
            }
        });
    }

    void stop() {
        *going_ = false;
        ticking_.reset();
        for (auto& driver : drivers_) {
            driver->stop();
        }
    }

    template <typename Say>
    Expected<void> say(const std::string& pump, const Say& to) {
        const bool known =
            std::any_of(drivers_.begin(), drivers_.end(), [&](auto& driver) { return to(driver->pumps()); });
        if (!known) {
            return fail({.code = ErrorCode::unknown_name,
                         .found = fmt::format("a command to pump \"{}\"", pump),
                         .expected = "the name of a pump in station.toml",
                         .remedy = "add the pump there, or mend the name"});
        }
        return {};
    }

  private:
    static std::unique_ptr<Driver> made(const Device& device, const Surroundings& around) {
        if (const auto* line = std::get_if<LineDevice>(&device.by)) {
            return make_line_driver(device, *line, around);
        }
        if (const auto* modbus = std::get_if<ModbusDevice>(&device.by)) {
            return make_modbus_driver(device, *modbus, around);
        }
        if (const auto* mqtt = std::get_if<MqttDevice>(&device.by)) {
            return make_mqtt_driver(device, *mqtt, around);
        }
        return make_file_driver(device, std::get<FileDevice>(device.by), around);
    }

    std::shared_ptr<bool> going_ = std::make_shared<bool>(true);
    std::vector<std::unique_ptr<Driver>> drivers_;
    std::unique_ptr<EveryTimer> ticking_;
};

Instruments::Instruments(const Station& station, Loop& loop, const Sink& sink,
                         const InstrumentsOptions& options)
    : work_(std::make_unique<Work>(station, loop, sink, options)) {}

Instruments::~Instruments() {
    stop();
}

Expected<void> Instruments::flush(const std::string& pump) {
    return work_->say(pump, [&](Pumps& pumps) { return pumps.flush(pump); });
}

Expected<void> Instruments::seal(const std::string& pump, Duration good_for) {
    return work_->say(pump, [&](Pumps& pumps) { return pumps.seal(pump, good_for); });
}

void Instruments::stop() {
    work_->stop();
}

} // namespace backeddy::instruments
