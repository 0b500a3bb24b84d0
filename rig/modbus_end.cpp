// Modbus TCP by libmodbus. Input registers hold what the sensors say, coils are the pumps' seals.

#include <algorithm>
#include <array>
#include <cerrno>

#include <fmt/format.h>
#include <modbus.h>
#include <sys/socket.h>
#include <unistd.h>

#include "ends.hpp"

namespace backeddy::rig {

namespace {

struct FreeMapping {
    void operator()(modbus_mapping_t* mapping) const { modbus_mapping_free(mapping); }
};
struct FreeContext {
    void operator()(modbus_t* context) const { modbus_free(context); }
};

class ModbusServer : public RegisterEnd {
  public:
    ModbusServer(int listening, int port, std::size_t chambers, std::size_t registers, PumpWord pump)
        : listening_(listening), port_(port), chambers_(chambers), pump_(std::move(pump)),
          context_(modbus_new_tcp("127.0.0.1", port)),
          mapping_(modbus_mapping_new(static_cast<int>(chambers), 0, 0, static_cast<int>(registers))) {}
    ~ModbusServer() override {
        close_clients();
        ::close(listening_);
    }
    ModbusServer(const ModbusServer&) = delete;
    ModbusServer& operator=(const ModbusServer&) = delete;
    ModbusServer(ModbusServer&&) = delete;
    ModbusServer& operator=(ModbusServer&&) = delete;

    [[nodiscard]] std::string where() const override { return fmt::format("127.0.0.1:{}", port_); }
    [[nodiscard]] int port() const override { return port_; }
    void wait_on(std::vector<pollfd>& waited) const override {
        waited.push_back({.fd = listening_, .events = POLLIN, .revents = 0});
        for (const int client : clients_) {
            waited.push_back({.fd = client, .events = POLLIN, .revents = 0});
        }
    }
    void serve() override {
        for (int fd = accepted(); fd >= 0; fd = accepted()) {
            if (connected_) {
                clients_.push_back(fd);
            } else {
                ::close(fd);
            }
        }
        std::erase_if(clients_, [this](int client) { return has_come(client) && !answer(client); });
    }
    void connected(bool yes) override {
        connected_ = yes;
        if (!yes) {
            close_clients();
        }
    }
    void set(const std::vector<std::uint16_t>& input_registers) override {
        std::copy(input_registers.begin(), input_registers.end(), mapping_->tab_input_registers);
    }

  private:
    [[nodiscard]] int accepted() const {
        return ::accept4(listening_, nullptr, nullptr, SOCK_CLOEXEC); // libmodbus waits within a question
    }
    static bool has_come(int client) {
        pollfd waited{.fd = client, .events = POLLIN, .revents = 0};
        return ::poll(&waited, 1, 0) == 1;
    }

    /// One question; false when the client is gone.
    bool answer(int client) {
        modbus_set_socket(context_.get(), client);
        std::array<std::uint8_t, MODBUS_TCP_MAX_ADU_LENGTH> query{};
        const int size = modbus_receive(context_.get(), query.data());
        if (size < 0) {
            ::close(client);
            return false;
        }
        if (size > 0 && modbus_reply(context_.get(), query.data(), size, mapping_.get()) >= 0) {
            tell_pumps(query);
        }
        return true;
    }

    /// Each write of a coil is a word to its pump, also where nothing changes: it is the heartbeat.
    void tell_pumps(const std::array<std::uint8_t, MODBUS_TCP_MAX_ADU_LENGTH>& query) {
        const auto at = static_cast<std::size_t>(modbus_get_header_length(context_.get()));
        const auto word = [&](std::size_t i) {
            return static_cast<std::size_t>((query[at + i] << 8U) | query[at + i + 1]);
        };
        std::size_t count = 0;
        if (query[at] == MODBUS_FC_WRITE_SINGLE_COIL) {
            count = 1;
        } else if (query[at] == MODBUS_FC_WRITE_MULTIPLE_COILS) {
            count = word(3);
        }
        for (std::size_t i = word(1); i < std::min(word(1) + count, chambers_); ++i) {
            pump_(i + 1, mapping_->tab_bits[i] != 0);
        }
    }

    void close_clients() {
        for (const int client : clients_) {
            ::close(client);
        }
        clients_.clear();
    }

    int listening_;
    int port_;
    std::size_t chambers_;
    PumpWord pump_;
    std::unique_ptr<modbus_t, FreeContext> context_;
    std::unique_ptr<modbus_mapping_t, FreeMapping> mapping_;
    std::vector<int> clients_;
    bool connected_ = true;
};

} // namespace

Expected<std::unique_ptr<RegisterEnd>> make_modbus_server(int port, std::size_t chambers,
                                                          std::size_t registers, PumpWord pump) {
    const auto listening = listen_here(port);
    if (!listening) {
        return fail(listening.error());
    }
    return std::unique_ptr<RegisterEnd>(
        std::make_unique<ModbusServer>(*listening, port, chambers, registers, std::move(pump)));
}

} // namespace backeddy::rig
