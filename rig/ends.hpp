#pragma once
// The rig's ends of the wires: a pseudo-terminal, lines over TCP, Modbus TCP, a client of an MQTT broker.
// Each gives descriptors to wait on, does what it can without waiting, and hands commands to pumps on.

#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include <poll.h>

#include "base/error.hpp"

namespace backeddy::rig {

/// A word to the pump of a chamber, counted from 1.
using PumpWord = std::function<void(std::size_t chamber, bool seal)>;

class End {
  public:
    End() = default;
    virtual ~End() = default;
    End(const End&) = delete;
    End& operator=(const End&) = delete;
    End(End&&) = delete;
    End& operator=(End&&) = delete;

    /// Where it is to be reached, for people.
    [[nodiscard]] virtual std::string where() const = 0;
    /// Appends what to wait on.
    virtual void wait_on(std::vector<pollfd>& waited) const = 0;
    /// Takes what has come, without waiting.
    virtual void serve() = 0;
    /// The connection fault: lets go of everybody and takes nobody, until it is called with true.
    virtual void connected(bool yes) = 0;
};

/// Lines to whoever listens.
class LineEnd : public End {
  public:
    /// Bytes as they are, line ends included.
    virtual void send(std::string_view bytes) = 0;
};

/// `link`: a name for the terminal that stays when it is made anew; "" for none.
[[nodiscard]] Expected<std::unique_ptr<LineEnd>> make_terminal(const std::string& link, PumpWord pump);
/// Port 0 takes a free one, which then stands in `port`.
[[nodiscard]] Expected<std::unique_ptr<LineEnd>> make_line_server(int& port, PumpWord pump);

class RegisterEnd : public End {
  public:
    virtual void set(const std::vector<std::uint16_t>& input_registers) = 0;
    [[nodiscard]] virtual int port() const = 0;
};
[[nodiscard]] Expected<std::unique_ptr<RegisterEnd>> make_modbus_server(int port, std::size_t chambers,
                                                                        std::size_t registers, PumpWord pump);

class MessageEnd : public End {
  public:
    virtual void publish(std::size_t chamber, const std::string& payload) = 0;
};
/// Tries again by itself where there is no broker.
[[nodiscard]] Expected<std::unique_ptr<MessageEnd>> make_mqtt_client(const std::string& host, int port,
                                                                     const std::string& topic,
                                                                     std::size_t chambers, PumpWord pump);

/// "pump c3 seal", "pump c3 flush"; false for anything else.
bool take_pump_line(std::string_view line, const PumpWord& pump);

/// A socket that listens on this machine alone; its port in `port`.
[[nodiscard]] Expected<int> listen_here(int& port);

} // namespace backeddy::rig
