// MQTT by libmosquitto, on a thread of its own.

#include <cstring>
#include <mutex>

#include <fmt/format.h>
#include <mosquitto.h>

#include "base/file.hpp"
#include "instruments/detail/driver.hpp"
#include "instruments/detail/thread_link.hpp"

namespace backeddy::instruments {

namespace {

struct FreeClient {
    void operator()(mosquitto* client) const { mosquitto_destroy(client); }
};

/// A message as it came, and when.
struct Message {
    std::string topic;
    std::string payload;
    bool retained = false;
    Stamp received;
};

class MqttDriver : public Driver {
  public:
    MqttDriver(const Device& device, MqttDevice mqtt, const Surroundings& around)
        : id_(device.id), mqtt_(std::move(mqtt)), now_(around.now), teller_(device, around),
          pumps_(pumps_of(device), teller_, [this](std::size_t i, PumpState state) { return say(i, state); }),
          handover_(around.loop), backoff_(around.seed) {
        static std::once_flag once;
        std::call_once(once, [] { mosquitto_lib_init(); });
    }
    ~MqttDriver() override { MqttDriver::stop(); }
    MqttDriver(const MqttDriver&) = delete;
    MqttDriver& operator=(const MqttDriver&) = delete;
    MqttDriver(MqttDriver&&) = delete;
    MqttDriver& operator=(MqttDriver&&) = delete;

    void start() override {
        client_.reset(mosquitto_new(nullptr, true, this));
        mosquitto_threaded_set(client_.get(), true);
        set_callbacks();
        thread_ = std::thread([this] { run(); });
    }

    void stop() override {
        handover_.end();
        ended_.end();
        if (thread_.joinable()) {
            thread_.join();
        }
    }
    void tick() override { pumps_.beat(); }
    Pumps& pumps() override { return pumps_; }

  private:
    void set_callbacks() {
        mosquitto_connect_callback_set(client_.get(), [](mosquitto*, void* own, int code) {
            static_cast<MqttDriver*>(own)->on_connect(code);
        });
        mosquitto_message_callback_set(client_.get(),
                                       [](mosquitto*, void* own, const mosquitto_message* message) {
                                           static_cast<MqttDriver*>(own)->on_message(*message);
                                       });
    }

    // ------------------------------------------------------------ on the thread

    /// Anew for each connection: the password's file may come to be mended. Says what is wrong.
    std::string set_login() {
        if (mqtt_.user.empty()) {
            return {};
        }
        std::string password;
        if (!mqtt_.password_file.empty()) {
            auto read = read_file(mqtt_.password_file, 4096);
            if (!read) {
                return read.error().text();
            }
            password = read->substr(0, read->find_first_of("\r\n"));
        }
        mosquitto_username_pw_set(client_.get(), mqtt_.user.c_str(), password.c_str());
        return {};
    }

    void run() {
        while (!ended_.ended()) {
            const auto why = one_connection();
            if (ended_.ended()) {
                return;
            }
            const auto wait = backoff_.next();
            handover_.post([this, why, wait] {
                pumps_.reached(false);
                teller_.lost(why, wait);
            });
            ended_.wait_for_end(wait);
        }
    }

    /// Until it is lost or the end; says why it was lost.
    std::string one_connection() {
        refused_.clear();
        if (auto complaint = set_login(); !complaint.empty()) {
            return complaint;
        }
        int code = mosquitto_connect_async(client_.get(), mqtt_.broker.host.c_str(), mqtt_.broker.port,
                                           static_cast<int>(mqtt_.keep_alive.seconds()));
        constexpr int wait_ms = 50;
        while (code <= MOSQ_ERR_SUCCESS && refused_.empty() && !ended_.ended()) {
            code = mosquitto_loop(client_.get(), wait_ms, 1);
        }
        // The loop's own errno is overwritten by what it does after a failure, but tells most.
        const std::string why = !refused_.empty()        ? refused_
                                : code == MOSQ_ERR_ERRNO ? std::strerror(errno)
                                                         : mosquitto_strerror(code);
        if (ended_.ended()) {
            say_goodbye();
        } else {
            mosquitto_disconnect(client_.get());
        }
        return why;
    }

    void say_goodbye() {
        for (const auto& pump : mqtt_.pumps) {
            publish(pump.topic, pump.flush);
        }
        mosquitto_disconnect(client_.get());
        constexpr int rounds = 5;
        for (int i = 0; i < rounds && mosquitto_loop(client_.get(), 10, 1) == MOSQ_ERR_SUCCESS; ++i) {
        }
    }

    void on_connect(int code) {
        if (code != 0) {
            refused_ = mosquitto_connack_string(code);
            return;
        }
        for (const auto& channel : mqtt_.channels) {
            mosquitto_subscribe(client_.get(), nullptr, channel.topic.c_str(), 0);
        }
        backoff_.reset();
        handover_.post([this] {
            teller_.connected(fmt::format("{}:{}", mqtt_.broker.host, mqtt_.broker.port));
            pumps_.reached(true);
        });
    }

    void on_message(const mosquitto_message& message) {
        Message own{.topic = message.topic, .retained = message.retain, .received = now_()};
        if (message.payloadlen > 0) {
            own.payload.assign(static_cast<const char*>(message.payload),
                               static_cast<std::size_t>(message.payloadlen));
        }
        handover_.post([this, own = std::move(own)] { take(own); });
    }

    // ------------------------------------------------------------ on the loop

    void take(const Message& message) {
        if (message.retained) {
            teller_.garbage(message.payload, message.payload.size(),
                            "kept by the broker from earlier: nobody knows how old it is");
            return;
        }
        Frame frame{.device = id_, .received = message.received, .bytes = message.payload};
        std::string complaint;
        for (const auto& channel : mqtt_.channels) {
            if (channel.topic != message.topic) {
                continue;
            }
            auto read = read_payload(channel, message.payload, message.received);
            if (read.reading) {
                frame.readings.push_back(std::move(*read.reading));
            } else {
                complaint = std::move(read.complaint);
            }
        }
        if (!complaint.empty()) {
            teller_.garbage(message.payload, message.payload.size(), message.topic + ": " + complaint);
        }
        if (!frame.readings.empty()) {
            teller_.frame(std::move(frame));
        }
    }

    bool say(std::size_t pump, PumpState state) {
        const auto& words = mqtt_.pumps[pump];
        const int code = publish(words.topic, state == PumpState::sealed ? words.seal : words.flush);
        if (code != MOSQ_ERR_SUCCESS) {
            teller_.command_failed(words.pump.name, mosquitto_strerror(code));
        }
        return code == MOSQ_ERR_SUCCESS;
    }

    /// At most once and never retained: a command that comes late or again is worse than none.
    int publish(const std::string& topic, const std::string& payload) {
        return mosquitto_publish(client_.get(), nullptr, topic.c_str(), static_cast<int>(payload.size()),
                                 payload.data(), 0, false);
    }

    DeviceId id_;
    MqttDevice mqtt_;
    std::function<Stamp()> now_;
    Teller teller_;
    Pumps pumps_;
    Handover handover_;
    Backoff backoff_;     ///< the thread's
    std::string refused_; ///< the thread's
    WishBox ended_;       ///< for its end alone
    std::unique_ptr<mosquitto, FreeClient> client_;
    std::thread thread_;
};

} // namespace

std::unique_ptr<Driver> make_mqtt_driver(const Device& device, const MqttDevice& mqtt,
                                         const Surroundings& around) {
    return std::make_unique<MqttDriver>(device, mqtt, around);
}

} // namespace backeddy::instruments
