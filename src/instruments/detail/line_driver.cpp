// Lines over a serial port or TCP, on the loop itself.

#include <array>
#include <chrono>
#include <deque>

#include <fmt/format.h>
#include <sys/ioctl.h>
#include <termios.h>

#include "instruments/detail/asio.hpp"
#include "instruments/detail/driver.hpp"
#include "instruments/line_cutter.hpp"

namespace backeddy::instruments {

namespace {

/// A port or a connection: opened, read from, written to, closed.
class Wire {
  public:
    Wire() = default;
    virtual ~Wire() = default;
    Wire(const Wire&) = delete;
    Wire& operator=(const Wire&) = delete;
    Wire(Wire&&) = delete;
    Wire& operator=(Wire&&) = delete;

    using Opened = std::function<void(const std::string& complaint)>;
    using Read = std::function<void(error_code, std::size_t)>;
    [[nodiscard]] virtual std::string name() const = 0;
    virtual void open(Opened opened) = 0;
    virtual void read(asio::mutable_buffer into, Read done) = 0;
    virtual void write(const std::string& bytes, Read done) = 0;
    /// At once and whole, as far as the wire takes it without waiting.
    virtual void write_now(const std::string& bytes) = 0;
    virtual void close() = 0;
};

class SerialWire : public Wire {
  public:
    SerialWire(SerialPort port, asio::io_context& io) : settings_(std::move(port)), port_(io) {}

    [[nodiscard]] std::string name() const override { return settings_.path; }
    void open(Opened opened) override {
        error_code error;
        port_.open(settings_.path, error);
        if (error) {
            return opened(error.message());
        }
        if (const auto complaint = lock_port(port_.native_handle()); !complaint.empty()) {
            close();
            return opened(complaint);
        }
        set(error);
        if (error) {
            close();
            return opened("cannot be set to baud, bits and parity: " + error.message());
        }
        ::tcflush(port_.native_handle(), TCIFLUSH); // what came before is not of now
        opened("");
    }
    void read(asio::mutable_buffer into, Read done) override { port_.async_read_some(into, std::move(done)); }
    void write(const std::string& bytes, Read done) override {
        asio::async_write(port_, asio::buffer(bytes), std::move(done));
    }
    void write_now(const std::string& bytes) override {
        error_code ignored;
        port_.write_some(asio::buffer(bytes), ignored);
    }
    void close() override {
        if (port_.is_open()) {
            static_cast<void>(::ioctl(port_.native_handle(), TIOCNXCL)); // others may open it again
        }
        error_code ignored;
        port_.close(ignored);
    }

  private:
    void set(error_code& error) {
        using Base = asio::serial_port_base;
        const auto option = [&](const auto& value) {
            if (!error) {
                port_.set_option(value, error);
            }
        };
        option(Base::baud_rate(static_cast<unsigned>(settings_.baud)));
        option(Base::character_size(static_cast<unsigned>(settings_.data_bits)));
        option(Base::parity(settings_.parity == Parity::none  ? Base::parity::none
                            : settings_.parity == Parity::odd ? Base::parity::odd
                                                              : Base::parity::even));
        option(Base::stop_bits(settings_.stop_bits == 2 ? Base::stop_bits::two : Base::stop_bits::one));
        option(Base::flow_control(Base::flow_control::none));
    }

    SerialPort settings_;
    asio::serial_port port_;
};

class TcpWire : public Wire {
  public:
    TcpWire(TcpPort port, asio::io_context& io) : settings_(std::move(port)), resolver_(io), socket_(io) {}

    [[nodiscard]] std::string name() const override {
        return fmt::format("{}:{}", settings_.host, settings_.port);
    }
    void open(Opened opened) override {
        resolver_.async_resolve(
            settings_.host, std::to_string(settings_.port),
            [this, opened = std::move(opened)](error_code error, const tcp::resolver::results_type& found) {
                if (error) {
                    return opened(error.message());
                }
                asio::async_connect(socket_, found, [opened](error_code failed, const tcp::endpoint&) {
                    opened(failed ? failed.message() : "");
                });
            });
    }
    void read(asio::mutable_buffer into, Read done) override {
        socket_.async_read_some(into, std::move(done));
    }
    void write(const std::string& bytes, Read done) override {
        asio::async_write(socket_, asio::buffer(bytes), std::move(done));
    }
    void write_now(const std::string& bytes) override {
        error_code ignored;
        socket_.non_blocking(true, ignored);
        socket_.write_some(asio::buffer(bytes), ignored);
    }
    void close() override {
        resolver_.cancel();
        error_code ignored;
        socket_.close(ignored);
    }

  private:
    TcpPort settings_;
    tcp::resolver resolver_;
    tcp::socket socket_;
};

std::unique_ptr<Wire> wire_of(const LineDevice& line, asio::io_context& io) {
    if (const auto* serial = std::get_if<SerialPort>(&line.over)) {
        return std::make_unique<SerialWire>(*serial, io);
    }
    return std::make_unique<TcpWire>(std::get<TcpPort>(line.over), io);
}

/// One opening of the wire, until it is lost. Work that is still under way holds it, and finds it ended.
struct Spell {
    explicit Spell(std::unique_ptr<Wire> own, LineCutter::Begin begin)
        : wire(std::move(own)), cutter(begin) {}
    std::unique_ptr<Wire> wire;
    LineCutter cutter;
    std::array<char, 4096> buffer{};
    std::deque<std::string> writing; ///< the first is on its way
    bool open = false;
    bool ended = false;
};

class LineDriver : public Driver {
  public:
    LineDriver(const Device& device, LineDevice line, const Surroundings& around)
        : line_(std::move(line)), silence_(device.silence), loop_(around.loop), teller_(device, around),
          pumps_(pumps_of(device), teller_, [this](std::size_t i, PumpState state) { return say(i, state); }),
          backoff_(around.seed), again_(loop_), silent_(loop_) {}
    ~LineDriver() override { LineDriver::stop(); }
    LineDriver(const LineDriver&) = delete;
    LineDriver& operator=(const LineDriver&) = delete;
    LineDriver(LineDriver&&) = delete;
    LineDriver& operator=(LineDriver&&) = delete;

    void start() override {
        // A device that is asked answers with a whole line; one that speaks by itself may be in the midst of
        // one.
        const auto begin = line_.ask.empty() ? LineCutter::Begin::in_midst_of : LineCutter::Begin::at_a_line;
        spell_ = std::make_shared<Spell>(wire_of(line_, loop_.context().io), begin);
        listen_for_silence();
        spell_->wire->open([this, spell = spell_](const std::string& complaint) {
            if (spell->ended) {
                return;
            }
            if (!complaint.empty()) {
                return lose(complaint);
            }
            opened();
        });
    }

    void stop() override {
        if (spell_ && spell_->open) {
            for (const auto& pump : line_.pumps) {
                spell_->wire->write_now(pump.flush + "\n");
            }
        }
        end_spell();
        again_.cancel();
    }

    void tick() override { pumps_.beat(); }
    Pumps& pumps() override { return pumps_; }

  private:
    void opened() {
        spell_->open = true;
        teller_.connected(spell_->wire->name());
        listen_for_silence();
        read();
        if (!line_.ask.empty()) {
            asking_ =
                std::make_unique<EveryTimer>(loop_, line_.ask_every, [this] { write(line_.ask + "\n"); });
        }
        pumps_.reached(true);
    }

    void listen_for_silence() {
        silent_.after(silence_, [this] {
            lose(fmt::format("no {} for {} s", spell_->open ? "reading" : "connection", silence_.seconds()));
        });
    }

    void read() {
        spell_->wire->read(
            asio::buffer(spell_->buffer), [this, spell = spell_](error_code error, std::size_t size) {
                if (spell->ended) {
                    return;
                }
                if (error) {
                    return lose(error == asio::error::eof ? "closed by the other side" : error.message());
                }
                take({spell->buffer.data(), size});
                if (!spell->ended) {
                    read();
                }
            });
    }

    void take(std::string_view bytes) {
        const auto cuts = spell_->cutter.feed(bytes);
        if (tell_lines(cuts, line_.shape, teller_.now(), teller_)) {
            backoff_.reset();
            if (spell_ && !spell_->ended) {
                listen_for_silence();
            }
        }
    }

    bool say(std::size_t pump, PumpState state) {
        const auto& words = line_.pumps[pump];
        return write((state == PumpState::sealed ? words.seal : words.flush) + "\n");
    }

    bool write(std::string bytes) {
        constexpr std::size_t most_waiting = 64;
        auto& writing = spell_->writing;
        if (writing.size() >= most_waiting) {
            // From the loop, not from within whoever wants to write.
            loop_.post([this, spell = spell_] {
                if (!spell->ended) {
                    lose("it takes nothing that is written");
                }
            });
            return false;
        }
        writing.push_back(std::move(bytes));
        if (writing.size() == 1) {
            write_first();
        }
        return true;
    }

    void write_first() {
        spell_->wire->write(spell_->writing.front(), [this, spell = spell_](error_code error, std::size_t) {
            if (spell->ended) {
                return;
            }
            if (error) {
                return lose(error.message());
            }
            spell->writing.pop_front();
            if (!spell->writing.empty()) {
                write_first();
            }
        });
    }

    void end_spell() {
        silent_.cancel();
        asking_.reset();
        if (spell_) {
            spell_->ended = true;
            spell_->open = false;
            spell_->wire->close();
        }
    }

    void lose(const std::string& why) {
        static_cast<void>(tell_lines(spell_->cutter.finish(), line_.shape, teller_.now(), teller_));
        end_spell();
        pumps_.reached(false);
        const auto wait = backoff_.next();
        teller_.lost(why, wait);
        again_.after(wait, [this] { start(); });
    }

    LineDevice line_;
    Duration silence_;
    Loop& loop_;
    Teller teller_;
    Pumps pumps_;
    Backoff backoff_;
    OnceTimer again_;
    OnceTimer silent_;
    std::unique_ptr<EveryTimer> asking_;
    std::shared_ptr<Spell> spell_;
};

} // namespace

std::unique_ptr<Driver> make_line_driver(const Device& device, const LineDevice& line,
                                         const Surroundings& around) {
    return std::make_unique<LineDriver>(device, line, around);
}

} // namespace backeddy::instruments
