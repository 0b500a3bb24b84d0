// serve_load PORT TARGET [--rate PER_SECOND] [--clients N] [--seconds N]
//
// Asks a web server of this machine for TARGET at fixed moments, whether it has answered before or not (open
// loop): so many a second, one client after the other, each on a connection that is kept. How long an answer
// took counts from the moment at which it should have been asked for, so a server that stalls pays for all
// who had to wait. Every answer has to be "200 OK" and as long as the first; anything else ends the run with
// status 1.
//
// Prints one line: answers, answers a second, and the 50th and 99th percentile and the largest of the times
// in ms.

#include <algorithm>
#include <chrono>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <deque>
#include <stdexcept>
#include <string>
#include <vector>

#include <arpa/inet.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

namespace {

using Clock = std::chrono::steady_clock;

struct Options {
    std::uint16_t port = 0;
    std::string target;
    double rate = 500;
    std::size_t clients = 200;
    double seconds = 60;
};

struct Client {
    int socket = -1;
    std::string read;                  ///< of answers that are not whole yet
    std::deque<Clock::time_point> due; ///< of requests that are not answered yet
};

int connected(std::uint16_t port) {
    const int socket = ::socket(AF_INET, SOCK_STREAM, 0);
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_port = htons(port);
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    const int yes = 1;
    ::setsockopt(socket, IPPROTO_TCP, TCP_NODELAY, &yes, sizeof yes);
    if (::connect(socket, reinterpret_cast<const sockaddr*>(&address), sizeof address) != 0) {
        throw std::runtime_error("cannot connect: " + std::string(std::strerror(errno)));
    }
    return socket;
}

/// Bytes of the first whole answer in `text`, or 0 when it is not whole.
std::size_t whole_answer(const std::string& text) {
    const auto end = text.find("\r\n\r\n");
    if (end == std::string::npos) {
        return 0;
    }
    if (!text.starts_with("HTTP/1.1 200 OK\r\n")) {
        throw std::runtime_error("an answer that is not 200: " + text.substr(0, text.find('\r')));
    }
    const auto length = text.find("Content-Length: ");
    if (length == std::string::npos || length > end) {
        throw std::runtime_error("an answer that does not say how long it is");
    }
    const std::size_t size = end + 4 + std::strtoull(text.c_str() + length + 16, nullptr, 10);
    return text.size() >= size ? size : 0;
}

class Load {
  public:
    explicit Load(const Options& options)
        : options_(options),
          request_("GET " + options.target + " HTTP/1.1\r\nHost: 127.0.0.1:" + std::to_string(options.port) +
                   "\r\n\r\n"),
          total_(static_cast<std::size_t>(options.rate * options.seconds)) {
        for (std::size_t i = 0; i < options.clients; ++i) {
            clients_.push_back({.socket = connected(options.port)});
            ready_.push_back({.fd = clients_.back().socket, .events = POLLIN, .revents = 0});
        }
    }

    void run() {
        const auto begun = Clock::now() + std::chrono::milliseconds(100);
        std::size_t asked = 0;
        while (took_ms_.size() < total_) {
            const auto now = Clock::now();
            while (asked < total_ && due(begun, asked) <= now) {
                ask(clients_[asked % clients_.size()], due(begun, asked));
                ++asked;
            }
            wait(asked < total_ ? due(begun, asked) : now + std::chrono::seconds(10));
        }
        lasted_s_ = std::chrono::duration<double>(Clock::now() - begun).count();
    }

    void print() {
        std::ranges::sort(took_ms_);
        const auto at = [&](double share) {
            return took_ms_[static_cast<std::size_t>(share * static_cast<double>(took_ms_.size() - 1))];
        };
        std::printf("%zu answers of %zu bytes, %.1f a second, p50 %.3f ms, p99 %.3f ms, largest %.3f ms\n",
                    took_ms_.size(), size_, static_cast<double>(took_ms_.size()) / lasted_s_, at(0.5),
                    at(0.99), took_ms_.back());
    }

  private:
    [[nodiscard]] Clock::time_point due(Clock::time_point begun, std::size_t which) const {
        return begun + std::chrono::duration_cast<Clock::duration>(
                           std::chrono::duration<double>(static_cast<double>(which) / options_.rate));
    }
    void ask(Client& client, Clock::time_point when) {
        if (::send(client.socket, request_.data(), request_.size(), MSG_NOSIGNAL) !=
            static_cast<ssize_t>(request_.size())) {
            throw std::runtime_error("a connection does not take a request");
        }
        client.due.push_back(when);
    }
    void wait(Clock::time_point until) {
        const auto left = std::max(Clock::duration::zero(), until - Clock::now());
        const timespec patience{.tv_sec = std::chrono::duration_cast<std::chrono::seconds>(left).count(),
                                .tv_nsec = (left % std::chrono::seconds(1)).count()};
        const int count = ::ppoll(ready_.data(), ready_.size(), &patience, nullptr);
        if (count == 0 && left >= std::chrono::seconds(9)) {
            throw std::runtime_error("answers that do not come");
        }
        for (std::size_t i = 0; count > 0 && i < ready_.size(); ++i) {
            if (ready_[i].revents != 0) {
                take(clients_[i]);
            }
        }
    }
    void take(Client& client) {
        char block[65536];
        const ssize_t got = ::recv(client.socket, block, sizeof block, 0);
        if (got <= 0) {
            throw std::runtime_error("the server has closed a connection");
        }
        client.read.append(block, static_cast<std::size_t>(got));
        const auto now = Clock::now();
        while (const std::size_t size = whole_answer(client.read)) {
            size_ = size_ == 0 ? size : size_;
            if (size != size_ || client.due.empty()) {
                throw std::runtime_error("an answer that is another");
            }
            client.read.erase(0, size);
            took_ms_.push_back(std::chrono::duration<double, std::milli>(now - client.due.front()).count());
            client.due.pop_front();
        }
    }

    Options options_;
    std::string request_;
    std::size_t total_;
    std::vector<Client> clients_;
    std::vector<pollfd> ready_;
    std::vector<double> took_ms_;
    std::size_t size_ = 0; ///< of an answer, head included
    double lasted_s_ = 0;
};

Options options_of(int argc, char** argv) {
    Options options;
    if (argc < 3) {
        throw std::runtime_error(
            "usage: serve_load PORT TARGET [--rate PER_SECOND] [--clients N] [--seconds N]");
    }
    options.port = static_cast<std::uint16_t>(std::stoul(argv[1]));
    options.target = argv[2];
    for (int i = 3; i + 1 < argc; i += 2) {
        const std::string name = argv[i];
        if (name == "--rate") {
            options.rate = std::stod(argv[i + 1]);
        } else if (name == "--clients") {
            options.clients = std::stoul(argv[i + 1]);
        } else if (name == "--seconds") {
            options.seconds = std::stod(argv[i + 1]);
        } else {
            throw std::runtime_error("unknown option " + name);
        }
    }
    return options;
}

} // namespace

int main(int argc, char** argv) {
    try {
        Load load(options_of(argc, argv));
        load.run();
        load.print();
        return 0;
    } catch (const std::exception& error) {
        std::fprintf(stderr, "serve_load: %s\n", error.what());
        return 1;
    }
}
