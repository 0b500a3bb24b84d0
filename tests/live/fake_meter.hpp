#pragma once
// A meter over TCP that says lines all the time and hears the pumps' commands, on a thread of its own.

#include <algorithm>
#include <atomic>
#include <chrono>
#include <mutex>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include <fmt/format.h>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

namespace backeddy::live::test {

class FakeMeter {
  public:
    FakeMeter() : listening_(::socket(AF_INET, SOCK_STREAM, 0)) {
        sockaddr_in address{};
        address.sin_family = AF_INET;
        address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
        socklen_t size = sizeof address;
        EXPECT_EQ(::bind(listening_, reinterpret_cast<sockaddr*>(&address), size), 0);
        EXPECT_EQ(::listen(listening_, 4), 0);
        ::getsockname(listening_, reinterpret_cast<sockaddr*>(&address), &size);
        port_ = ntohs(address.sin_port);
        thread_ = std::thread([this] { run(); });
    }
    ~FakeMeter() {
        is_ending_ = true;
        thread_.join();
        ::close(listening_);
    }
    FakeMeter(const FakeMeter&) = delete;
    FakeMeter& operator=(const FakeMeter&) = delete;

    [[nodiscard]] int port() const { return port_; }
    [[nodiscard]] int said() const { return said_; }
    std::atomic<double> oxygen{9.0}; ///< mg/L, in both chambers and the bath; every other line is 0.01 higher

    [[nodiscard]] std::vector<std::string> heard() const {
        const std::lock_guard lock(mutex_);
        return heard_;
    }
    [[nodiscard]] std::string last_heard(const std::string& chamber) const {
        const auto all = heard();
        const auto found = std::find_if(
            all.rbegin(), all.rend(), [&](const std::string& line) { return line.ends_with(" " + chamber); });
        return found == all.rend() ? "" : *found;
    }

  private:
    void run() {
        while (!is_ending_) {
            if (waits_for(listening_)) {
                const int client = ::accept(listening_, nullptr, nullptr);
                serve(client);
                ::close(client);
            }
        }
    }

    static bool waits_for(int descriptor) {
        pollfd wait{.fd = descriptor, .events = POLLIN, .revents = 0};
        return ::poll(&wait, 1, 50) > 0;
    }

    void serve(int client) {
        std::string text;
        while (!is_ending_) {
            const std::string line =
                fmt::format("deck_o2={0};deck_t=12.5;shore_o2={0};bath_o2={0};air=1013\n",
                            oxygen.load() + 0.01 * (said_ % 2));
            if (::send(client, line.data(), line.size(), MSG_NOSIGNAL) < 0) {
                return;
            }
            ++said_;
            if (waits_for(client)) {
                char buffer[4096];
                const auto got = ::recv(client, buffer, sizeof buffer, 0);
                if (got <= 0) {
                    return;
                }
                text.append(buffer, static_cast<std::size_t>(got));
            }
            for (auto end = text.find('\n'); end != std::string::npos; end = text.find('\n')) {
                std::string command = text.substr(0, end);
                std::erase(command, '\r');
                text.erase(0, end + 1);
                const std::lock_guard lock(mutex_);
                heard_.push_back(std::move(command));
            }
        }
    }

    int listening_;
    int port_ = 0;
    std::atomic<int> said_{0};
    std::atomic<bool> is_ending_{false};
    mutable std::mutex mutex_;
    std::vector<std::string> heard_;
    std::thread thread_;
};

} // namespace backeddy::live::test
