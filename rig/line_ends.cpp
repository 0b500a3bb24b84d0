// Lines: over a pseudo-terminal and over TCP.

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstdlib>
#include <cstring>

#include <fcntl.h>
#include <fmt/format.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <termios.h>
#include <unistd.h>

#include "base/number_text.hpp"
#include "ends.hpp"

namespace backeddy::rig {

namespace {

Error no_wire(const std::string& what, const std::string& remedy) {
    return {.code = ErrorCode::cannot_write,
            .found = fmt::format("{}: {}", what, std::strerror(errno)),
            .expected = "a wire of one's own",
            .remedy = remedy};
}

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

  private:
    int fd_;
};

/// Commands out of bytes as they come; what is no command is left unheard.
class Ear {
  public:
    explicit Ear(const PumpWord& pump) : pump_(pump) {}
    void hear(std::string_view bytes) {
        constexpr std::size_t longest = 256;
        for (const char each : bytes) {
            if (each == '\n' || each == '\r') {
                take_pump_line(line_, pump_);
                line_.clear();
            } else if (line_.size() < longest) {
                line_ += each;
            }
        }
    }

  private:
    const PumpWord& pump_;
    std::string line_;
};

/// Reads what is there; false at the end of the connection.
bool drain(int fd, Ear& ear) {
    std::array<char, 1024> buffer{};
    while (true) {
        const auto size = ::read(fd, buffer.data(), buffer.size());
        if (size > 0) {
            ear.hear({buffer.data(), static_cast<std::size_t>(size)});
        } else {
            return size < 0 && (errno == EAGAIN || errno == EINTR);
        }
    }
}

class Terminal : public LineEnd {
  public:
    Terminal(std::string link, PumpWord pump) : link_(std::move(link)), pump_(std::move(pump)), ear_(pump_) {}
    ~Terminal() override {
        if (!link_.empty()) {
            ::unlink(link_.c_str());
        }
    }
    Terminal(const Terminal&) = delete;
    Terminal& operator=(const Terminal&) = delete;
    Terminal(Terminal&&) = delete;
    Terminal& operator=(Terminal&&) = delete;

    Expected<void> open() {
        master_ = Fd(::posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC));
        if (master_.get() < 0 || ::grantpt(master_.get()) != 0 || ::unlockpt(master_.get()) != 0) {
            return fail(no_wire("no pseudo-terminal", "use --line-port instead"));
        }
        path_ = ::ptsname(master_.get());
        // Held open, so that a reader who leaves is no end of the line; raw, so that nothing is echoed.
        slave_ = Fd(::open(path_.c_str(), O_RDWR | O_NOCTTY | O_CLOEXEC));
        termios raw{};
        ::tcgetattr(slave_.get(), &raw);
        ::cfmakeraw(&raw);
        ::tcsetattr(slave_.get(), TCSANOW, &raw);
        return name_it();
    }

    [[nodiscard]] std::string where() const override { return link_.empty() ? path_ : link_; }
    void wait_on(std::vector<pollfd>& waited) const override {
        if (master_.get() >= 0) {
            waited.push_back({.fd = master_.get(), .events = POLLIN, .revents = 0});
        }
    }
    void serve() override {
        if (master_.get() >= 0) {
            drain(master_.get(), ear_);
        }
    }
    void send(std::string_view bytes) override {
        // What nobody reads is lost, as on a wire.
        if (master_.get() >= 0 && ::write(master_.get(), bytes.data(), bytes.size()) < 0) {
            return;
        }
    }
    void connected(bool yes) override {
        if (!yes) {
            slave_.close();
            master_.close();
        } else if (master_.get() < 0) {
            static_cast<void>(open().has_value()); // tried again when it is asked again
        }
    }

  private:
    Expected<void> name_it() {
        if (link_.empty()) {
            return {};
        }
        // Only ever a link of one's own is replaced.
        const auto fresh = link_ + ".new";
        ::unlink(fresh.c_str());
        if (::symlink(path_.c_str(), fresh.c_str()) != 0 || ::rename(fresh.c_str(), link_.c_str()) != 0) {
            return fail(no_wire("no link " + link_, "name a path in a folder that can be written"));
        }
        return {};
    }

    std::string link_;
    PumpWord pump_;
    Ear ear_;
    std::string path_;
    Fd master_;
    Fd slave_;
};

class LineServer : public LineEnd {
  public:
    LineServer(int listening, int port, PumpWord pump)
        : listening_(listening), port_(port), pump_(std::move(pump)) {}

    [[nodiscard]] std::string where() const override { return fmt::format("127.0.0.1:{}", port_); }
    void wait_on(std::vector<pollfd>& waited) const override {
        waited.push_back({.fd = listening_.get(), .events = POLLIN, .revents = 0});
        for (const auto& client : clients_) {
            waited.push_back({.fd = client->fd.get(), .events = POLLIN, .revents = 0});
        }
    }
    void serve() override {
        for (Fd fd(accepted()); fd.get() >= 0; fd = Fd(accepted())) {
            if (connected_) {
                clients_.push_back(std::make_unique<Client>(std::move(fd), pump_));
            }
        }
        std::erase_if(clients_, [](auto& client) { return !drain(client->fd.get(), client->ear); });
    }
    void send(std::string_view bytes) override {
        for (auto& client : clients_) {
            static_cast<void>(::send(client->fd.get(), bytes.data(), bytes.size(), MSG_NOSIGNAL));
        }
    }
    void connected(bool yes) override {
        connected_ = yes;
        if (!yes) {
            clients_.clear();
        }
    }

  private:
    struct Client {
        Client(Fd own, const PumpWord& pump) : fd(std::move(own)), ear(pump) {}
        Fd fd;
        Ear ear;
    };

    [[nodiscard]] int accepted() const {
        return ::accept4(listening_.get(), nullptr, nullptr, SOCK_NONBLOCK | SOCK_CLOEXEC);
    }

    Fd listening_;
    int port_;
    PumpWord pump_;
    std::vector<std::unique_ptr<Client>> clients_;
    bool connected_ = true;
};

} // namespace

Expected<int> listen_here(int& port) {
    Fd fd(::socket(AF_INET, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0));
    const int yes = 1;
    ::setsockopt(fd.get(), SOL_SOCKET, SO_REUSEADDR, &yes, sizeof(yes));
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_port = htons(static_cast<std::uint16_t>(port));
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    auto* plain = reinterpret_cast<sockaddr*>(&address);
    socklen_t size = sizeof(address);
    constexpr int waiting = 16;
    if (fd.get() < 0 || ::bind(fd.get(), plain, size) != 0 || ::listen(fd.get(), waiting) != 0 ||
        ::getsockname(fd.get(), plain, &size) != 0) {
        return fail(
            no_wire(fmt::format("port {} of this machine", port), "name another port, or 0 for a free one"));
    }
    port = ntohs(address.sin_port);
    return ::dup(fd.get());
}

bool take_pump_line(std::string_view line, const PumpWord& pump) {
    constexpr std::string_view begin = "pump c";
    const auto blank = line.rfind(' ');
    if (!line.starts_with(begin) || blank == std::string_view::npos || blank < begin.size()) {
        return false;
    }
    const auto chamber = parse_whole(line.substr(begin.size(), blank - begin.size()));
    const auto word = line.substr(blank + 1);
    if (!chamber || *chamber < 1 || (word != "seal" && word != "flush")) {
        return false;
    }
    pump(static_cast<std::size_t>(*chamber), word == "seal");
    return true;
}

Expected<std::unique_ptr<LineEnd>> make_terminal(const std::string& link, PumpWord pump) {
    auto terminal = std::make_unique<Terminal>(link, std::move(pump));
    if (auto opened = terminal->open(); !opened) {
        return fail(std::move(opened).error());
    }
    return std::unique_ptr<LineEnd>(std::move(terminal));
}

Expected<std::unique_ptr<LineEnd>> make_line_server(int& port, PumpWord pump) {
    auto listening = listen_here(port);
    if (!listening) {
        return fail(std::move(listening).error());
    }
    return std::unique_ptr<LineEnd>(std::make_unique<LineServer>(*listening, port, std::move(pump)));
}

} // namespace backeddy::rig
