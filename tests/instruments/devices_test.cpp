// Devices over real ports, pipes and files, without the simulated rig: what is sent here is written down
// here.

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <thread>

#include <fcntl.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/file.h>
#include <sys/socket.h>
#include <termios.h>
#include <unistd.h>

#include "instruments/instruments.hpp"
#include "instruments/support.hpp"

namespace backeddy::instruments {
namespace {

using testing::Contains;
using testing::ElementsAre;
using testing::HasSubstr;

/// A descriptor, closed at its end.
class Fd {
  public:
    explicit Fd(int fd = -1) : fd_(fd) {}
    ~Fd() { close(); }
    Fd(const Fd&) = delete;
    Fd& operator=(const Fd&) = delete;
    Fd(Fd&& other) noexcept : fd_(std::exchange(other.fd_, -1)) {}
    Fd& operator=(Fd&& other) noexcept {
        std::swap(fd_, other.fd_);
        return *this;
    }
    void close() {
        if (fd_ >= 0) {
            ::close(std::exchange(fd_, -1));
        }
    }
    [[nodiscard]] int get() const { return fd_; }
    void write(std::string_view bytes) const {
        ASSERT_EQ(::write(fd_, bytes.data(), bytes.size()), static_cast<ssize_t>(bytes.size()));
    }
    /// What comes within 100 ms.
    [[nodiscard]] std::string read() const {
        pollfd waited{.fd = fd_, .events = POLLIN, .revents = 0};
        std::string out(1024, '\0');
        const bool some = ::poll(&waited, 1, 100) == 1 && (waited.revents & POLLIN) != 0;
        out.resize(some ? static_cast<std::size_t>(std::max<ssize_t>(::read(fd_, out.data(), 1024), 0)) : 0);
        return out;
    }

  private:
    int fd_ = -1;
};

/// A pseudo-terminal: the far end of a serial line.
struct FarEnd {
    Fd master{::posix_openpt(O_RDWR | O_NOCTTY)};
    Fd slave;
    std::string path;
    FarEnd() {
        ::grantpt(master.get());
        ::unlockpt(master.get());
        path = ::ptsname(master.get());
        slave = Fd(::open(path.c_str(), O_RDWR | O_NOCTTY));
        termios raw{};
        ::tcgetattr(slave.get(), &raw);
        ::cfmakeraw(&raw);
        ::tcsetattr(slave.get(), TCSANOW, &raw);
    }
};

/// A station at work, and all that it said.
class Bench {
  public:
    explicit Bench(const Station& station)
        : instruments_(station, loop_, [this](const Report& report) { take(report); }) {}

    std::vector<std::string> readings; ///< "c1 8.410000"
    std::vector<std::string> events;   ///< "dev connected to ..."

    [[nodiscard]] bool until(const std::function<bool()>& done) {
        return loop_.run_until(done, Duration::seconds(20.0));
    }
    [[nodiscard]] bool until_said(std::string_view text) {
        return until([&] {
            return std::any_of(events.begin(), events.end(),
                               [&](const std::string& e) { return e.find(text) != std::string::npos; });
        });
    }
    [[nodiscard]] bool until_read(std::size_t count) {
        return until([&] { return readings.size() >= count; });
    }
    Instruments& instruments() { return instruments_; }

  private:
    void take(const Report& report) {
        if (const auto* frame = std::get_if<Frame>(&report)) {
            for (const auto& reading : frame->readings) {
                readings.push_back(text(reading));
            }
        } else {
            events.push_back(in_words(std::get<Event>(report)));
        }
    }

    Loop loop_;
    Instruments instruments_;
};

LineShape shape_of(const std::string& id) {
    return {.channels = {{.channel = channel(id), .place = {.name = id}}}};
}

Station station_of(std::variant<LineDevice, ModbusDevice, MqttDevice, FileDevice> by,
                   Duration silence = Duration::seconds(60)) {
    return {.devices = {{.id = {"dev"}, .silence = silence, .by = std::move(by)}}};
}

LineDevice serial_line(const std::string& path) {
    return {.over = SerialPort{.path = path},
            .shape = shape_of("c1"),
            .pumps = {{.pump = {.name = "p1", .chamber = "t", .heartbeat = Duration::seconds(0.2)},
                       .seal = "seal 1",
                       .flush = "flush 1"}}};
}

// ---------------------------------------------------------------- serial

TEST(SerialPort, reads_lines_and_leaves_out_the_one_that_it_came_in_upon) {
    const FarEnd far;
    far.master.write("c1=112.5\n"); // of before
    Bench bench(station_of(serial_line(far.path)));
    ASSERT_TRUE(bench.until_said("connected to " + far.path));
    far.master.write("2.5\nc1=8.");
    far.master.write("41\r\nc1=x\nrubbish\nc1=8.40\r\n");
    ASSERT_TRUE(bench.until_read(3));
    EXPECT_THAT(bench.readings, ElementsAre("c1 8.410000", "c1 no number", "c1 8.400000"));
    EXPECT_THAT(bench.events, Contains(HasSubstr("no field of a channel in it): rubbish")));
}

TEST(SerialPort, is_refused_while_another_program_has_it_and_taken_when_it_is_free) {
    FarEnd far;
    Fd other(::open(far.path.c_str(), O_RDWR | O_NOCTTY));
    ASSERT_EQ(::flock(other.get(), LOCK_EX), 0);
    Bench bench(station_of(serial_line(far.path)));
    ASSERT_TRUE(bench.until_said("another program has this port open"));
    other.close();
    EXPECT_TRUE(bench.until_said("connected to"));
}

TEST(SerialPort, repeats_the_seal_as_long_as_it_is_good_then_flushes_and_flushes_at_the_end) {
    const FarEnd far;
    auto bench = std::make_unique<Bench>(station_of(serial_line(far.path)));
    std::string heard;
    const auto until_heard = [&](const std::string& words) {
        return bench->until([&] {
            heard += far.master.read();
            return heard.find(words) != std::string::npos;
        });
    };
    ASSERT_TRUE(until_heard("flush 1\n")) << "before anybody said anything";
    ASSERT_TRUE(bench->instruments().seal("p1", Duration::seconds(1.0)).has_value());
    ASSERT_TRUE(until_heard("seal 1\nseal 1\n"));
    heard.clear();
    ASSERT_TRUE(until_heard("flush 1\n")) << "nobody renewed it";
    ASSERT_TRUE(bench->instruments().seal("p1", Duration::hours(1.0)).has_value());
    ASSERT_TRUE(until_heard("flush 1\nseal 1\n"));
    heard.clear();
    bench.reset();
    heard += far.master.read();
    EXPECT_TRUE(heard.ends_with("flush 1\n")) << heard;
}

TEST(SerialPort, names_a_pump_that_is_not_there) {
    const FarEnd far;
    Bench bench(station_of(serial_line(far.path)));
    const auto done = bench.instruments().flush("p2");
    ASSERT_FALSE(done.has_value());
    EXPECT_THAT(done.error().text(), HasSubstr("a command to pump \"p2\""));
}

TEST(SerialPort, tells_that_a_pump_cannot_be_reached) {
    Bench bench(station_of(serial_line("/dev/serial/by-id/none")));
    ASSERT_TRUE(bench.until_said("dev lost: No such file or directory; tried again in"));
    ASSERT_TRUE(bench.instruments().seal("p1", Duration::seconds(9)).has_value());
    EXPECT_THAT(bench.events, Contains("dev pump p1 not reached: the device is not there"));
}

TEST(SerialPort, counts_a_line_that_only_babbles_as_lost) {
    const FarEnd far;
    Bench bench(station_of(serial_line(far.path), Duration::seconds(0.5)));
    ASSERT_TRUE(bench.until_said("connected to"));
    ASSERT_TRUE(bench.until([&] {
        far.master.write("\xff\x80\n");
        return std::any_of(bench.events.begin(), bench.events.end(), [](const std::string& e) {
            return e.starts_with("dev lost: no reading for 0.5 s");
        });
    }));
}

// ---------------------------------------------------------------- TCP

TEST(TcpLines, asks_reads_and_comes_back_when_the_other_side_closed) {
    const Fd listening(::socket(AF_INET, SOCK_STREAM, 0));
    sockaddr_in address{.sin_family = AF_INET, .sin_port = 0, .sin_addr = {htonl(INADDR_LOOPBACK)}};
    ASSERT_EQ(::bind(listening.get(), reinterpret_cast<sockaddr*>(&address), sizeof(address)), 0);
    ASSERT_EQ(::listen(listening.get(), 4), 0);
    socklen_t size = sizeof(address);
    ::getsockname(listening.get(), reinterpret_cast<sockaddr*>(&address), &size);
    Bench bench(station_of(LineDevice{.over = TcpPort{.host = "127.0.0.1", .port = ntohs(address.sin_port)},
                                      .shape = shape_of("c1"),
                                      .ask = "read",
                                      .ask_every = Duration::seconds(0.1)}));
    for (int turn = 1; turn <= 2; ++turn) {
        ASSERT_TRUE(bench.until([&] {
            pollfd waited{.fd = listening.get(), .events = POLLIN, .revents = 0};
            return ::poll(&waited, 1, 0) == 1;
        }));
        const Fd client(::accept(listening.get(), nullptr, nullptr));
        std::string asked;
        ASSERT_TRUE(bench.until([&] {
            asked += client.read();
            return asked.starts_with("read\n");
        }));
        client.write("c1=8.41\n"); // the first line too: it was asked for
        ASSERT_TRUE(bench.until_read(static_cast<std::size_t>(turn)));
        client.write("c1=8.");
    }
    ASSERT_TRUE(bench.until([&] { return bench.events.size() >= 6; }));
    EXPECT_THAT(bench.events,
                ElementsAre(HasSubstr("connected"), HasSubstr("cut off before its line end"),
                            HasSubstr("closed by the other side"), HasSubstr("connected"),
                            HasSubstr("cut off before its line end"), HasSubstr("closed by the other side")));
}

// ---------------------------------------------------------------- Modbus RTU

/// The check of Modbus RTU: CRC-16 with polynomial 8005 reflected, start FFFF (Modbus over Serial Line V1.02,
/// 6.2.2), low byte first.
std::string with_crc(std::string bytes) {
    std::uint16_t sum = 0xFFFF;
    for (const char each : bytes) {
        sum = static_cast<std::uint16_t>(sum ^ static_cast<unsigned char>(each));
        for (int bit = 0; bit < 8; ++bit) {
            sum = static_cast<std::uint16_t>((sum & 1U) != 0 ? (sum >> 1U) ^ 0xA001U : sum >> 1U);
        }
    }
    bytes += static_cast<char>(sum & 0xFFU);
    bytes += static_cast<char>(sum >> 8U);
    return bytes;
}

TEST(ModbusRtu, asks_and_reads_byte_for_byte_as_the_specification_writes_it) {
    const FarEnd far;
    ModbusDevice modbus{
        .over = SerialPort{.path = far.path},
        .every = Duration::seconds(0.1),
        .answer_within = Duration::seconds(1.0),
        .channels = {{.channel = channel("c1"), .unit = 17, .address = 107, .kind = RegisterKind::u16}},
        .pumps = {{.pump = {.name = "p1", .chamber = "t"}, .unit = 17, .coil = 172}}};
    auto bench = std::make_unique<Bench>(station_of(modbus));
    std::string asked;
    const auto until_asked = [&](const std::string& frame) {
        return bench->until([&] {
            asked += far.master.read();
            return asked.find(frame) != std::string::npos;
        });
    };
    // 6.5 of the application protocol V1.1b3: coil 173 on is 05 00 AC FF 00, off 05 00 AC 00 00; the answer
    // is the same. 6.3: registers from 108 on are 03 00 6B ...
    const auto off = with_crc(std::string("\x11\x05\x00\xAC\x00\x00", 6));
    const auto on = with_crc(std::string("\x11\x05\x00\xAC\xFF\x00", 6));
    const auto read = with_crc(std::string("\x11\x03\x00\x6B\x00\x01", 6));
    std::thread device([&] {
        std::string heard;
        bool answered = false;
        while (!answered) {
            heard += far.master.read();
            for (const auto& command : {off, on}) {
                if (heard.starts_with(command)) {
                    far.master.write(command);
                    heard.erase(0, command.size());
                }
            }
            if (heard.starts_with(read)) {
                far.master.write(with_crc(std::string("\x11\x03\x02\x02\x2B", 5)));
                answered = true;
            }
        }
    });
    ASSERT_TRUE(bench->until_read(1));
    device.join();
    EXPECT_EQ(bench->readings[0], "c1 555.000000");
    ASSERT_TRUE(bench->instruments().seal("p1", Duration::hours(1.0)).has_value());
    ASSERT_TRUE(until_asked(on));
    far.master.write(on);
}

TEST(ModbusRtu, takes_no_answer_that_comes_late_for_that_to_the_next_question) {
    const FarEnd far;
    ModbusDevice modbus{.over = SerialPort{.path = far.path},
                        .every = Duration::seconds(0.1),
                        .answer_within = Duration::seconds(1.5),
                        .channels = {{.channel = channel("a"), .address = 0, .kind = RegisterKind::u16},
                                     {.channel = channel("b"), .address = 9, .kind = RegisterKind::u16}}};
    Bench bench(station_of(modbus));
    const auto ask_a = with_crc(std::string("\x01\x03\x00\x00\x00\x01", 6));
    const auto ask_b = with_crc(std::string("\x01\x03\x00\x09\x00\x01", 6));
    std::string asked;
    ASSERT_TRUE(bench.until([&] {
        asked += far.master.read();
        return asked.find(ask_a) != std::string::npos;
    }));
    ASSERT_TRUE(bench.until_said("unit 1 register 0"));                 // it waited in vain
    far.master.write(with_crc(std::string("\x01\x03\x02\x11\x11", 5))); // now, before the next is asked
    ASSERT_TRUE(bench.until([&] {
        asked += far.master.read();
        return asked.find(ask_b) != std::string::npos;
    }));
    far.master.write(with_crc(std::string("\x01\x03\x02\x00\x09", 5)));
    ASSERT_TRUE(bench.until_read(1));
    EXPECT_EQ(bench.readings[0], "b 9.000000");
}

// ---------------------------------------------------------------- a file

class FileOnDisk : public testing::Test {
  protected:
    void append(const std::string& bytes) const { std::ofstream(path, std::ios::app) << bytes; }
    [[nodiscard]] Station station() const {
        return station_of(
            FileDevice{.path = path, .look_every = Duration::seconds(0.05), .shape = shape_of("c1")});
    }

    std::filesystem::path folder =
        std::filesystem::temp_directory_path() / ("backeddy_file_" + std::to_string(::getpid()));
    std::string path = (folder / "log.txt").string();

    void SetUp() override { std::filesystem::create_directories(folder); }
    void TearDown() override { std::filesystem::remove_all(folder); }
};

TEST_F(FileOnDisk, reads_on_from_the_last_line_that_was_begun) {
    append("c1=1\nc1=2");
    Bench bench(station());
    ASSERT_TRUE(bench.until_said("connected to " + path));
    append(".5\nc1=3\n");
    ASSERT_TRUE(bench.until_read(2));
    EXPECT_THAT(bench.readings, ElementsAre("c1 2.500000", "c1 3.000000"));
}

TEST_F(FileOnDisk, waits_for_a_file_that_is_not_there_and_reads_it_from_its_beginning) {
    Bench bench(station());
    ASSERT_TRUE(bench.until_said("dev lost: No such file or directory"));
    append("c1=1\n");
    ASSERT_TRUE(bench.until_read(1));
}

TEST_F(FileOnDisk, follows_rotation_without_losing_the_end_of_the_old_file) {
    append("c1=1\n");
    Bench bench(station());
    ASSERT_TRUE(bench.until_said("connected"));
    append("c1=2\n");
    std::filesystem::rename(path, path + ".1");
    std::ofstream(path + ".1", std::ios::app) << "c1=3\n";
    append("c1=4\n");
    ASSERT_TRUE(bench.until_read(3));
    EXPECT_THAT(bench.readings, ElementsAre("c1 2.000000", "c1 3.000000", "c1 4.000000"));
    EXPECT_THAT(bench.events, Contains("dev file begun anew: another file stands under its name"));
}

TEST_F(FileOnDisk, begins_anew_in_a_file_that_was_cut_short_even_when_it_has_grown_since) {
    append("c1=1\nc1=1.5\n");
    Bench bench(station());
    ASSERT_TRUE(bench.until_said("connected"));
    append("c1=2\n");
    ASSERT_TRUE(bench.until_read(1));
    std::ofstream(path) << "c1=70\nc1=80\nc1=90\nc1=100\nc1=110\n";
    ASSERT_TRUE(bench.until_read(6));
    EXPECT_EQ(bench.readings[1], "c1 70.000000");
    EXPECT_THAT(bench.events, Contains("dev file begun anew: it was cut short or written over"));
}

} // namespace
} // namespace backeddy::instruments
