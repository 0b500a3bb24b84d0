// Modbus by libmodbus, whose calls block, on a thread of its own.

#include <algorithm>
#include <cerrno>
#include <memory>

#include <fmt/format.h>
#include <modbus.h>

#include "instruments/detail/driver.hpp"
#include "instruments/detail/thread_link.hpp"

namespace backeddy::instruments {

namespace {

using Clock = std::chrono::steady_clock;

struct FreeContext {
    void operator()(modbus_t* context) const {
        modbus_close(context);
        modbus_free(context);
    }
};
using Context = std::unique_ptr<modbus_t, FreeContext>;

std::chrono::nanoseconds length(Duration duration) {
    return std::chrono::nanoseconds(duration.nanoseconds());
}

char letter(Parity parity) {
    return parity == Parity::none ? 'N' : parity == Parity::even ? 'E' : 'O';
}

modbus_t* new_context(const std::variant<SerialPort, TcpPort>& over) {
    if (const auto* serial = std::get_if<SerialPort>(&over)) {
        return modbus_new_rtu(serial->path.c_str(), serial->baud, letter(serial->parity), serial->data_bits,
                              serial->stop_bits);
    }
    const auto& tcp = std::get<TcpPort>(over);
    return modbus_new_tcp_pi(tcp.host.c_str(), std::to_string(tcp.port).c_str());
}

std::string name_of(const std::variant<SerialPort, TcpPort>& over) {
    if (const auto* serial = std::get_if<SerialPort>(&over)) {
        return serial->path;
    }
    const auto& tcp = std::get<TcpPort>(over);
    return fmt::format("{}:{}", tcp.host, tcp.port);
}

/// What came of one exchange.
enum class Outcome : std::uint8_t {
    answered,
    refused, ///< by the device: it is there and does not have what was asked for
    silent,  ///< no answer, or one that was damaged
    broken,  ///< the connection is gone
};

Outcome outcome_of(int error) {
    if (error == ETIMEDOUT || error == EMBBADCRC || error == EMBBADDATA || error == EMBBADSLAVE ||
        error == EMBMDATA || error == EMBBADEXC || error == EMBUNKEXC) {
        return Outcome::silent;
    }
    return error > MODBUS_ENOBASE ? Outcome::refused : Outcome::broken;
}

/// What the loop and the thread share.
struct Shared {
    WishBox wishes;
    Handover handover;
    explicit Shared(Loop& loop) : handover(loop) {}
};

class ModbusThread {
  public:
    struct Told {
        std::function<void()> connected;
        std::function<void(std::string why, Duration next_try)> lost;
        std::function<void(Frame)> frame;
        std::function<void(std::string why)> garbage;
        std::function<void(std::size_t pump, std::string why)> command_failed;
    };

    ModbusThread(const Device& device, ModbusDevice modbus, const Surroundings& around,
                 std::shared_ptr<Shared> shared, Told told)
        : id_(device.id), silence_(device.silence), modbus_(std::move(modbus)), now_(around.now),
          shared_(std::move(shared)), told_(std::move(told)), backoff_(around.seed),
          requests_(requests_for(modbus_.channels)) {}

    void run() {
        while (!shared_->wishes.ended()) {
            const auto why = connect() ? work() : complaint_;
            context_.reset();
            if (shared_->wishes.ended()) {
                return;
            }
            const auto wait = backoff_.next();
            post([told = &told_, why, wait] { told->lost(why, wait); });
            shared_->wishes.wait_for_end(wait);
        }
    }

  private:
    void post(std::function<void()> work) { shared_->handover.post(std::move(work)); }

    bool connect() {
        context_ = Context(new_context(modbus_.over));
        if (!context_) {
            complaint_ = modbus_strerror(errno);
            return false;
        }
        const auto micro = modbus_.answer_within.nanoseconds() / 1000;
        modbus_set_response_timeout(context_.get(), static_cast<std::uint32_t>(micro / 1'000'000),
                                    static_cast<std::uint32_t>(micro % 1'000'000));
        if (modbus_connect(context_.get()) != 0) {
            complaint_ = modbus_strerror(errno);
            return false;
        }
        if (std::holds_alternative<SerialPort>(modbus_.over)) {
            complaint_ = lock_port(modbus_get_socket(context_.get()));
            return complaint_.empty();
        }
        return true;
    }

    /// Until the end or the loss of the connection; says why it was lost.
    std::string work() {
        post([told = &told_] { told->connected(); });
        answered_at_ = Clock::now();
        auto due = Clock::now();
        while (!shared_->wishes.ended()) {
            if (!tell_pumps()) {
                return complaint_;
            }
            if (Clock::now() >= due) {
                due = std::max(due + length(modbus_.every), Clock::now());
                if (!ask_all()) {
                    return complaint_;
                }
            }
            shared_->wishes.wait(due);
        }
        flush_all();
        return {};
    }

    /// False when the connection is gone.
    bool ask_all() {
        for (const auto& request : requests_) {
            if (shared_->wishes.ended()) {
                return true;
            }
            if (!ask(request) || !tell_pumps()) {
                return false;
            }
        }
        if (!requests_.empty() && Clock::now() - answered_at_ > length(silence_)) {
            complaint_ = fmt::format("no answer for {} s", silence_.seconds());
            return false;
        }
        return true;
    }

    bool ask(const RegisterRequest& request) {
        std::vector<std::uint16_t> registers(request.count);
        modbus_set_slave(context_.get(), request.unit);
        const auto read =
            request.table == RegisterTable::holding ? modbus_read_registers : modbus_read_input_registers;
        if (read(context_.get(), request.address, request.count, registers.data()) != request.count) {
            return survives(fmt::format("unit {} register {}", request.unit, request.address));
        }
        heard();
        const auto at = now_();
        Frame frame{.device = id_,
                    .received = at,
                    .bytes = register_bytes(registers),
                    .readings = read_registers(modbus_.channels, request, registers, at)};
        post([told = &told_, frame = std::move(frame)]() mutable { told->frame(std::move(frame)); });
        return true;
    }

    void heard() {
        answered_at_ = Clock::now();
        backoff_.reset();
    }

    /// After a failed exchange, errno its error: whether the connection is still of use.
    bool survives(const std::string& what) {
        const int error = errno;
        const auto outcome = outcome_of(error);
        complaint_ = modbus_strerror(error);
        if (outcome == Outcome::broken) {
            return false;
        }
        post([told = &told_, why = what + ": " + complaint_] { told->garbage(why); });
        if (outcome == Outcome::refused) {
            heard(); // it is there
        } else {
            drop_late_answer();
        }
        return true;
    }

    /// An answer that comes late must not be taken for that to the next question, which on a serial line
    /// nothing but its length tells apart.
    void drop_late_answer() {
        if (std::holds_alternative<SerialPort>(modbus_.over)) {
            shared_->wishes.wait_for_end(modbus_.answer_within);
        }
        modbus_flush(context_.get());
    }

    /// False when the connection is gone.
    bool tell_pumps() {
        for (const auto& [pump, wish] : shared_->wishes.take()) {
            if (!tell_pump(pump, wish)) {
                return false;
            }
        }
        return true;
    }

    bool tell_pump(std::size_t which, const Wish& wish) {
        const auto& pump = modbus_.pumps[which];
        const auto age = Duration::nanoseconds(now_().monotonic_ns - wish.at_ns);
        if (age > pump.pump.heartbeat || write(pump, wish.state)) {
            return true; // a late seal is worse than none, and the next beat is due
        }
        const bool alive = survives(fmt::format("pump {}", pump.pump.name));
        post([told = &told_, which, why = complaint_] { told->command_failed(which, why); });
        return alive;
    }

    bool write(const CoilPump& pump, PumpState state) {
        modbus_set_slave(context_.get(), pump.unit);
        const bool on = (state == PumpState::sealed) == pump.seal;
        if (modbus_write_bit(context_.get(), pump.coil, on ? 1 : 0) != 1) {
            return false;
        }
        heard();
        return true;
    }

    void flush_all() {
        for (const auto& pump : modbus_.pumps) {
            write(pump, PumpState::flush);
        }
    }

    DeviceId id_;
    Duration silence_;
    ModbusDevice modbus_;
    std::function<Stamp()> now_;
    std::shared_ptr<Shared> shared_;
    Told told_;
    Backoff backoff_;
    std::vector<RegisterRequest> requests_;
    Context context_;
    std::string complaint_;
    Clock::time_point answered_at_;
};

class ModbusDriver : public Driver {
  public:
    ModbusDriver(const Device& device, ModbusDevice modbus, const Surroundings& around)
        : teller_(device, around), shared_(std::make_shared<Shared>(around.loop)),
          pumps_(pumps_of(device), teller_,
                 [this](std::size_t i, PumpState state) {
                     shared_->wishes.put(i, {.state = state, .at_ns = teller_.now().monotonic_ns});
                     return true;
                 }),
          to_(name_of(modbus.over)), names_(pumps_of(device)),
          work_(device, std::move(modbus), around, shared_, told()) {}
    ~ModbusDriver() override { ModbusDriver::stop(); }
    ModbusDriver(const ModbusDriver&) = delete;
    ModbusDriver& operator=(const ModbusDriver&) = delete;
    ModbusDriver(ModbusDriver&&) = delete;
    ModbusDriver& operator=(ModbusDriver&&) = delete;

    void start() override {
        thread_ = std::thread([this] { work_.run(); });
    }
    void stop() override {
        shared_->handover.end();
        shared_->wishes.end();
        if (thread_.joinable()) {
            thread_.join();
        }
    }
    void tick() override { pumps_.beat(); }
    Pumps& pumps() override { return pumps_; }

  private:
    /// Called on the loop.
    ModbusThread::Told told() {
        return {.connected =
                    [this] {
                        teller_.connected(to_);
                        pumps_.reached(true);
                    },
                .lost =
                    [this](std::string why, Duration next_try) {
                        pumps_.reached(false);
                        teller_.lost(std::move(why), next_try);
                    },
                .frame = [this](Frame frame) { teller_.frame(std::move(frame)); },
                .garbage = [this](std::string why) { teller_.garbage("", 0, std::move(why)); },
                .command_failed =
                    [this](std::size_t pump, std::string why) {
                        teller_.command_failed(names_[pump].name, std::move(why));
                    }};
    }

    Teller teller_;
    std::shared_ptr<Shared> shared_;
    Pumps pumps_;
    std::string to_;
    std::vector<Pump> names_;
    ModbusThread work_;
    std::thread thread_;
};

} // namespace

std::unique_ptr<Driver> make_modbus_driver(const Device& device, const ModbusDevice& modbus,
                                           const Surroundings& around) {
    return std::make_unique<ModbusDriver>(device, modbus, around);
}

} // namespace backeddy::instruments
