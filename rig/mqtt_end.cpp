// A client of an MQTT broker by libmosquitto: publishes what the sensors say, hears words to the pumps.

#include <chrono>

#include <fmt/format.h>
#include <mosquitto.h>

#include "ends.hpp"

namespace backeddy::rig {

namespace {

using Clock = std::chrono::steady_clock;

struct FreeClient {
    void operator()(mosquitto* client) const { mosquitto_destroy(client); }
};

class MqttClient : public MessageEnd {
  public:
    MqttClient(std::string host, int port, std::string topic, std::size_t chambers, PumpWord pump)
        : host_(std::move(host)), port_(port), topic_(std::move(topic)), chambers_(chambers),
          pump_(std::move(pump)), client_(mosquitto_new(nullptr, true, this)) {
        mosquitto_connect_callback_set(client_.get(), [](mosquitto* client, void* own, int code) {
            if (code == 0) {
                static_cast<MqttClient*>(own)->subscribe(client);
            }
        });
        mosquitto_message_callback_set(client_.get(),
                                       [](mosquitto*, void* own, const mosquitto_message* message) {
                                           static_cast<MqttClient*>(own)->hear(*message);
                                       });
    }

    [[nodiscard]] std::string where() const override {
        return fmt::format("{}:{}, topics {}/c1 ..., pumps {}/c1/pump ...", host_, port_, topic_, topic_);
    }
    void wait_on(std::vector<pollfd>& waited) const override {
        if (const int fd = mosquitto_socket(client_.get()); fd >= 0) {
            const bool writes = mosquitto_want_write(client_.get());
            waited.push_back(
                {.fd = fd, .events = static_cast<short>(POLLIN | (writes ? POLLOUT : 0)), .revents = 0});
        }
    }
    void serve() override {
        if (!connected_) {
            return;
        }
        if (mosquitto_socket(client_.get()) < 0) {
            try_again();
        } else {
            mosquitto_loop(client_.get(), 0, 1);
        }
    }
    void connected(bool yes) override {
        if (connected_ && !yes) {
            mosquitto_disconnect(client_.get());
            mosquitto_loop(client_.get(), 0, 1);
        }
        connected_ = yes;
    }
    void publish(std::size_t chamber, const std::string& payload) override {
        if (connected_ && mosquitto_socket(client_.get()) >= 0) {
            const auto topic = fmt::format("{}/c{}", topic_, chamber);
            mosquitto_publish(client_.get(), nullptr, topic.c_str(), static_cast<int>(payload.size()),
                              payload.data(), 0, false);
        }
    }

  private:
    void try_again() {
        using namespace std::chrono_literals;
        if (Clock::now() >= next_try_) {
            next_try_ = Clock::now() + 500ms;
            constexpr int keep_alive_s = 10;
            mosquitto_connect_async(client_.get(), host_.c_str(), port_, keep_alive_s);
        }
    }
    void subscribe(mosquitto* client) const {
        for (std::size_t i = 1; i <= chambers_; ++i) {
            mosquitto_subscribe(client, nullptr, fmt::format("{}/c{}/pump", topic_, i).c_str(), 0);
        }
    }
    void hear(const mosquitto_message& message) const {
        const std::string_view topic(message.topic);
        const std::string_view word(static_cast<const char*>(message.payload),
                                    static_cast<std::size_t>(message.payloadlen));
        if (message.retain || topic.size() < topic_.size() + 7) {
            return; // an old word is none
        }
        const auto name = topic.substr(topic_.size() + 1, topic.size() - topic_.size() - 6);
        take_pump_line(fmt::format("pump {} {}", name, word), pump_);
    }

    std::string host_;
    int port_;
    std::string topic_;
    std::size_t chambers_;
    PumpWord pump_;
    bool connected_ = true;
    Clock::time_point next_try_;
    std::unique_ptr<mosquitto, FreeClient> client_;
};

} // namespace

Expected<std::unique_ptr<MessageEnd>> make_mqtt_client(const std::string& host, int port,
                                                       const std::string& topic, std::size_t chambers,
                                                       PumpWord pump) {
    mosquitto_lib_init();
    return std::unique_ptr<MessageEnd>(
        std::make_unique<MqttClient>(host, port, topic, chambers, std::move(pump)));
}

} // namespace backeddy::rig
