// Instruments against the simulated rig over the real ways of speaking: a pseudo-terminal, TCP, Modbus TCP, a
// broker. Each test waits for what must come, never for a time.

#include <algorithm>
#include <csignal>
#include <cstdlib>
#include <filesystem>
#include <map>

#include <fcntl.h>
#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include "base/file.hpp"
#include "instruments/instruments.hpp"

namespace backeddy::rig {
namespace {

namespace fs = std::filesystem;
using namespace instruments;
using testing::Contains;
using testing::HasSubstr;

/// A folder of this test's own, gone at its end.
class Folder {
  public:
    Folder() {
        std::string name = (fs::temp_directory_path() / "backeddy_rig_XXXXXX").string();
        path_ = ::mkdtemp(name.data());
    }
    ~Folder() { fs::remove_all(path_); }
    Folder(const Folder&) = delete;
    Folder& operator=(const Folder&) = delete;
    Folder(Folder&&) = delete;
    Folder& operator=(Folder&&) = delete;
    [[nodiscard]] std::string operator/(const std::string& name) const { return (path_ / name).string(); }

  private:
    fs::path path_;
};

/// A program that runs until it is no longer needed; what it says is in a file, what it hears comes by a
/// pipe.
class Program {
  public:
    Program(std::vector<std::string> words, std::string out) : out_(std::move(out)) {
        int pipe[2] = {-1, -1};
        if (::pipe2(pipe, O_CLOEXEC) != 0) {
            std::abort();
        }
        std::vector<char*> arguments;
        for (auto& word : words) {
            arguments.push_back(word.data());
        }
        arguments.push_back(nullptr);
        child_ = ::fork();
        if (child_ == 0) {
            const int file = ::open(out_.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0600);
            ::dup2(pipe[0], STDIN_FILENO);
            ::dup2(file, STDOUT_FILENO);
            ::dup2(file, STDERR_FILENO);
            ::execv(arguments.front(), arguments.data());
            ::_exit(127);
        }
        ::close(pipe[0]);
        to_ = pipe[1];
    }
    ~Program() {
        ::kill(child_, SIGTERM);
        ::waitpid(child_, nullptr, 0);
        ::close(to_);
    }
    Program(const Program&) = delete;
    Program& operator=(const Program&) = delete;
    Program(Program&&) = delete;
    Program& operator=(Program&&) = delete;

    void order(const std::string& line) const {
        const auto bytes = line + "\n";
        ASSERT_EQ(::write(to_, bytes.data(), bytes.size()), static_cast<ssize_t>(bytes.size()));
    }
    [[nodiscard]] std::string said() const { return read_file(out_).value_or(std::string()); }

  private:
    std::string out_;
    ::pid_t child_ = -1;
    int to_ = -1;
};

/// A rig, the station.toml that it wrote, and a program's instruments on it.
class Night {
  public:
    explicit Night(std::vector<std::string> wires) {
        std::vector<std::string> words{BACKEDDY_RIG, "--station",   folder_ / "station.toml",
                                       "--every",    "1",           "--speed",
                                       "20",         "--heartbeat", "2"};
        words.insert(words.end(), wires.begin(), wires.end());
        if (std::find(wires.begin(), wires.end(), "--heartbeat-limit") == wires.end()) {
            words.insert(words.end(), {"--heartbeat-limit", "100"}); // 5 s, whatever else the machine does
        }
        rig_ = std::make_unique<Program>(words, folder_ / "rig_said");
        if (!loop_.run_until([&] { return rig_->said().find("at work") != std::string::npos; }, at_most)) {
            throw std::runtime_error("the rig did not begin: " + rig_->said());
        }
        const auto text = read_file(folder_ / "station.toml");
        const auto read = read_station(text.value_or(std::string()), "station.toml");
        if (!read.complaints.empty()) {
            throw std::runtime_error(read.complaints[0].text());
        }
        station_ = read.station;
        begin();
    }

    Station& station() { return station_; }
    void begin() {
        instruments_ = std::make_unique<Instruments>(station_, loop_, [this](const Report& r) { take(r); });
    }
    void end() { instruments_.reset(); }

    [[nodiscard]] bool until(const std::function<bool()>& done) { return loop_.run_until(done, at_most); }
    [[nodiscard]] bool until_said(std::string_view words) {
        return until([&] { return count(words) > 0; });
    }
    /// One of the channel's next readings is so. None is passed over, however many come at once.
    [[nodiscard]] bool until_reads(const std::string& channel,
                                   const std::function<bool(const Reading&)>& so) {
        bool met = false;
        hear_ = [&](const Reading& reading) {
            met = met || (reading.channel.text == channel && so(reading));
        };
        const bool in_time = until([&] { return met; });
        hear_ = nullptr;
        return in_time;
    }
    [[nodiscard]] long count(std::string_view words) const {
        return std::count_if(events.begin(), events.end(), [&](const std::string& event) {
            return event.find(words) != std::string::npos;
        });
    }
    [[nodiscard]] const Reading& last(const std::string& channel) const { return last_.at(channel); }
    [[nodiscard]] Instruments& instruments() { return *instruments_; }
    [[nodiscard]] const Program& rig() const { return *rig_; }
    [[nodiscard]] const Folder& folder() const { return folder_; }

    std::vector<std::string> events;
    std::vector<Event> raw_events;

  private:
    static constexpr auto at_most = Duration::nanoseconds(60'000'000'000);

    void take(const Report& report) {
        if (const auto* frame = std::get_if<Frame>(&report)) {
            EXPECT_FALSE(frame->bytes.empty());
            for (const auto& reading : frame->readings) {
                last_.insert_or_assign(reading.channel.text, reading);
                if (hear_) {
                    hear_(reading);
                }
            }
        } else {
            raw_events.push_back(std::get<Event>(report));
            events.push_back(in_words(raw_events.back()));
        }
    }

    Folder folder_;
    Loop loop_;
    std::unique_ptr<Program> rig_;
    Station station_;
    std::map<std::string, Reading> last_;
    std::function<void(const Reading&)> hear_;
    std::unique_ptr<Instruments> instruments_;
};

bool has_number(const Reading& reading) {
    return reading.missing == Missing::no;
}

/// Readings come, a pump obeys, the seal lasts as long as it is good for and no longer.
void reads_and_commands(Night& night) {
    ASSERT_TRUE(night.until_reads("c1_oxygen", has_number));
    EXPECT_GT(night.last("c1_oxygen").value, 5.0);
    EXPECT_LT(night.last("c1_oxygen").value, 15.0);
    ASSERT_TRUE(night.until_reads("c2_temperature", has_number));
    EXPECT_NEAR(night.last("c2_temperature").value, 12.0, 3.0);
    EXPECT_EQ(night.count("connected to"), 1);

    const auto sealed = [](const Reading& r) { return r.value == 1.0; };
    const auto flushed = [](const Reading& r) { return r.value == 0.0; };
    ASSERT_TRUE(night.until_reads("c2_pump", flushed));
    ASSERT_TRUE(night.instruments().seal("c2_pump", Duration::hours(1.0)).has_value());
    ASSERT_TRUE(night.until_reads("c2_pump", sealed));
    ASSERT_TRUE(night.until_reads("c1_pump", flushed)) << "the other chamber's pump is left alone";
    ASSERT_TRUE(night.instruments().flush("c2_pump").has_value());
    ASSERT_TRUE(night.until_reads("c2_pump", flushed));
    ASSERT_TRUE(night.instruments().seal("c2_pump", Duration::seconds(1.5)).has_value());
    ASSERT_TRUE(night.until_reads("c2_pump", sealed));
    ASSERT_TRUE(night.until_reads("c2_pump", flushed)) << "nobody renewed it";
}

/// A sensor without a number has a reason; a wire that is gone is said, comes back, and leaves a gap.
void loses_and_comes_back(Night& night) {
    ASSERT_TRUE(night.until_reads("c1_oxygen", has_number));
    night.rig().order("dropout c1");
    ASSERT_TRUE(night.until_reads("c1_oxygen", [](const Reading& r) { return r.missing != Missing::no; }));
    ASSERT_TRUE(night.until_reads("c2_oxygen", has_number));
    night.rig().order("end dropout c1");
    ASSERT_TRUE(night.until_reads("c1_oxygen", has_number));
}

void survives_disconnection(Night& night) {
    ASSERT_TRUE(night.until_reads("c1_oxygen", has_number));
    const auto before = night.last("c1_oxygen").received;
    night.rig().order("disconnect");
    ASSERT_TRUE(night.until_said(" lost: "));
    night.rig().order("end disconnect");
    ASSERT_TRUE(night.until([&] { return night.count("connected to") >= 2; }));
    ASSERT_TRUE(night.until_reads("c1_oxygen", has_number));
    EXPECT_GT(night.last("c1_oxygen").received.monotonic_ns, before.monotonic_ns);
}

bool there_is_a_broker() {
    return ::access("/usr/sbin/mosquitto", X_OK) == 0;
}

int free_port() {
    const int fd = ::socket(AF_INET, SOCK_STREAM, 0);
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    socklen_t size = sizeof(address);
    EXPECT_EQ(::bind(fd, reinterpret_cast<sockaddr*>(&address), size), 0);
    ::getsockname(fd, reinterpret_cast<sockaddr*>(&address), &size);
    ::close(fd);
    return ntohs(address.sin_port);
}

int connected_to(int port) {
    const int fd = ::socket(AF_INET, SOCK_STREAM, 0);
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_port = htons(static_cast<std::uint16_t>(port));
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    if (::connect(fd, reinterpret_cast<sockaddr*>(&address), sizeof(address)) != 0) {
        ::close(fd);
        return -1;
    }
    return fd;
}

// ---------------------------------------------------------------- each wire

TEST(EndToEnd, serial_line_over_a_pseudo_terminal) {
    Night night({"--serial"});
    reads_and_commands(night);
    loses_and_comes_back(night);
}

TEST(EndToEnd, serial_line_comes_back_under_its_name) {
    const Folder links;
    Night night({"--link", links / "adapter"});
    survives_disconnection(night);
}

TEST(EndToEnd, lines_over_tcp) {
    Night night({"--line-port", "0"});
    reads_and_commands(night);
    loses_and_comes_back(night);
    survives_disconnection(night);
}

TEST(EndToEnd, modbus_tcp) {
    Night night({"--modbus-port", "0"});
    reads_and_commands(night);
    loses_and_comes_back(night);
    survives_disconnection(night);
}

TEST(EndToEnd, mqtt_through_a_broker_that_goes_and_comes_back) {
    if (!there_is_a_broker()) {
        GTEST_SKIP() << "no mosquitto here: apt-get install mosquitto";
    }
    const Folder folder;
    const auto port = std::to_string(free_port());
    const auto start = [&] {
        return std::make_unique<Program>(std::vector<std::string>{"/usr/sbin/mosquitto", "-p", port},
                                         folder / "broker_said");
    };
    auto broker = start();
    Night night({"--mqtt", "127.0.0.1:" + port});
    reads_and_commands(night);
    loses_and_comes_back(night);
    broker.reset();
    ASSERT_TRUE(night.until_said(" lost: "));
    ASSERT_TRUE(night.instruments().seal("c1_pump", Duration::seconds(1.0)).has_value());
    EXPECT_THAT(night.events, Contains(HasSubstr("pump c1_pump not reached")));
    broker = start();
    ASSERT_TRUE(night.until([&] { return night.count("connected to") >= 2; }));
    ASSERT_TRUE(night.until_reads("c1_oxygen", has_number));
}

TEST(EndToEnd, a_message_kept_by_the_broker_is_no_reading) {
    if (!there_is_a_broker()) {
        GTEST_SKIP() << "no mosquitto here: apt-get install mosquitto";
    }
    const Folder folder;
    const auto port = free_port();
    const Program broker({"/usr/sbin/mosquitto", "-p", std::to_string(port)}, folder / "broker_said");
    const auto toml = fmt::format("[[mqtt]]\nname = \"b\"\nhost = \"127.0.0.1\"\nport = {}\n"
                                  "[[mqtt.channel]]\nname = \"old\"\nquantity = \"oxygen\"\nunit = \"mg/L\"\n"
                                  "topic = \"old\"\n",
                                  port);
    const auto read = read_station(toml, "station.toml");
    ASSERT_TRUE(read.complaints.empty());
    // Publish it as a tool of the broker's own package would: by a station's pump, which never retains, it
    // cannot be done; so by hand, MQTT 3.1.1 byte for byte (sections 3.1 and 3.3; retain is bit 0 of the
    // first byte).
    Loop loop;
    int fd = -1;
    ASSERT_TRUE(loop.run_until([&] { return (fd = connected_to(port)) >= 0; }, Duration::seconds(30.0)));
    const std::string connect("\x10\x0f\x00\x04MQTT\x04\x02\x00\x3c\x00\x03tst", 17);
    const std::string publish("\x31\x08\x00\x03old7.7", 10);
    ASSERT_EQ(::write(fd, connect.data(), connect.size()), 17);
    char answer[4] = {};
    ASSERT_EQ(::read(fd, answer, 4), 4);
    ASSERT_EQ(answer[3], 0) << "the broker takes it";
    ASSERT_EQ(::write(fd, publish.data(), publish.size()), 10);
    std::vector<std::string> events;
    int readings = 0;
    const Instruments instruments(read.station, loop, [&](const Report& report) {
        if (const auto* event = std::get_if<Event>(&report)) {
            events.push_back(in_words(*event));
        } else {
            ++readings;
        }
    });
    const auto heard = [&] {
        return std::any_of(events.begin(), events.end(), [](const std::string& event) {
            return event.find("kept by the broker from earlier") != std::string::npos;
        });
    };
    EXPECT_TRUE(loop.run_until(heard, Duration::seconds(30.0)));
    EXPECT_EQ(readings, 0);
    ::close(fd);
}

// ---------------------------------------------------------------- what only a line can do

TEST(EndToEnd, garbage_and_half_lines_are_said_and_never_read) {
    Night night({"--line-port", "0"});
    ASSERT_TRUE(night.until_reads("c1_oxygen", has_number));
    night.rig().order("garbage 0.5");
    ASSERT_TRUE(night.until_said("bytes that are no reading"));
    night.rig().order("end garbage");
    night.rig().order("half_lines 0.5");
    ASSERT_TRUE(night.until_said("its check is missing or wrong"));
    ASSERT_TRUE(night.until_reads("c1_oxygen", has_number)) << "whole lines are read in between";
    EXPECT_LT(night.last("c1_oxygen").value, 15.0);
}

TEST(EndToEnd, the_devices_own_clock_stands_beside_the_time_of_reception) {
    Night night({"--line-port", "0", "--start", "2026-06-14T21:00:00Z"});
    ASSERT_TRUE(night.until_reads("c1_oxygen", has_number));
    const auto right = night.last("c1_oxygen");
    ASSERT_TRUE(right.device_time);
    const auto begin = *parse_iso("2026-06-14T21:00:00Z");
    EXPECT_GE(*right.device_time, begin);
    EXPECT_LT(*right.device_time, begin + Duration::hours(2.0));
    night.rig().order("clock 7200");
    ASSERT_TRUE(night.until_reads("c1_oxygen", [&](const Reading& r) {
        return *r.device_time - *right.device_time > Duration::seconds(7200.0);
    }));
    const auto wrong = night.last("c1_oxygen");
    EXPECT_LT(wrong.received.wall - right.received.wall, Duration::hours(1.0));
    EXPECT_GT(wrong.received.monotonic_ns, right.received.monotonic_ns);
}

TEST(EndToEnd, the_hardware_flushes_when_the_heartbeat_stops) {
    Night night({"--line-port", "0", "--heartbeat-limit", "40"});
    // These instruments only look: whoever sealed says so once and is heard of no more.
    night.end();
    auto& line = std::get<LineDevice>(night.station().devices.at(0).by);
    line.pumps.clear();
    night.begin();
    const auto is = [](double state) { return [state](const Reading& r) { return r.value == state; }; };
    ASSERT_TRUE(night.until_reads("c1_pump", is(0.0)));
    const int fd = connected_to(std::get<TcpPort>(line.over).port);
    ASSERT_GE(fd, 0);
    ASSERT_EQ(::write(fd, "pump c1 seal\n", 13), 13);
    ASSERT_TRUE(night.until_reads("c1_pump", is(1.0)));
    ::close(fd);
    EXPECT_TRUE(night.until_reads("c1_pump", is(0.0)));
}

TEST(EndToEnd, the_last_word_of_a_program_that_ends_is_flush) {
    Night night({"--line-port", "0", "--heartbeat-limit", "86400"});
    ASSERT_TRUE(night.until_reads("c1_oxygen", has_number));
    ASSERT_TRUE(night.instruments().seal("c1_pump", Duration::hours(1.0)).has_value());
    ASSERT_TRUE(night.until_reads("c1_pump", [](const Reading& r) { return r.value == 1.0; }));
    night.end();
    std::get<LineDevice>(night.station().devices.at(0).by).pumps.clear();
    night.begin();
    ASSERT_TRUE(night.until_reads("c1_pump", [](const Reading& r) { return r.value == 0.0; }));
}

TEST(EndToEnd, a_gap_is_recorded_with_its_beginning_and_end) {
    Night night({"--line-port", "0"});
    // Ten seconds of real silence would be a long test: the gap begins with the program, whose channels are
    // awaited at once, while the sensor says nothing.
    night.end();
    night.rig().order("dropout c1");
    Station station;
    {
        auto text = read_file(night.folder() / "station.toml").value();
        for (std::size_t at = 0; (at = text.find("unit = ", at)) != std::string::npos; ++at) {
            text.insert(at, "gap_after_s = 0.5\n");
            at += 20;
        }
        const auto read = read_station(text, "station.toml");
        ASSERT_TRUE(read.complaints.empty()) << read.complaints[0].text();
        station = read.station;
    }
    std::optional<Gap> gap;
    std::optional<Stamp> missing_since;
    Loop loop;
    const auto begun = machine_now();
    const Instruments instruments(station, loop, [&](const Report& report) {
        if (const auto* event = std::get_if<Event>(&report)) {
            if (const auto* found = std::get_if<Gap>(&event->what);
                found && found->channel.text == "c1_oxygen") {
                gap = *found;
            }
        } else if (const auto& readings = std::get<Frame>(report).readings; !missing_since) {
            missing_since = readings.front().received;
        }
    });
    const auto after = [&](double seconds) {
        return [&, seconds] {
            return missing_since && machine_now().monotonic_ns - missing_since->monotonic_ns >
                                        Duration::seconds(seconds).nanoseconds();
        };
    };
    ASSERT_TRUE(loop.run_until(after(0.6), Duration::seconds(60.0)));
    EXPECT_FALSE(gap) << "it is not over yet";
    night.rig().order("end dropout c1");
    ASSERT_TRUE(loop.run_until([&] { return gap.has_value(); }, Duration::seconds(60.0)));
    EXPECT_GE(gap->from.monotonic_ns, begun.monotonic_ns);
    EXPECT_GT(gap->to.monotonic_ns - gap->from.monotonic_ns, Duration::seconds(0.5).nanoseconds());
}

// ---------------------------------------------------------------- the rig's own words

TEST(Rig, says_what_is_wrong_with_its_script_and_begins_nothing) {
    const Folder folder;
    ASSERT_TRUE(write_new_file(folder / "script", "at 5 noise c1\nat 6 nose c1\n").has_value());
    const Program rig({BACKEDDY_RIG, "--serial", "--script", folder / "script"}, folder / "said");
    Loop loop;
    EXPECT_TRUE(loop.run_until([&] { return rig.said().find("line 2") != std::string::npos; },
                               Duration::seconds(30.0)));
    EXPECT_THAT(rig.said(), HasSubstr("did you mean \"noise\"?"));
    EXPECT_THAT(rig.said(), Not(HasSubstr("at work")));
}

TEST(Rig, asks_for_a_wire) {
    const Folder folder;
    const Program rig({BACKEDDY_RIG}, folder / "said");
    Loop loop;
    EXPECT_TRUE(loop.run_until([&] { return rig.said().find("no wire") != std::string::npos; },
                               Duration::seconds(30.0)));
}

} // namespace
} // namespace backeddy::rig
