#include "live/visitor.hpp"

#include <atomic>
#include <cerrno>
#include <cstring>
#include <optional>
#include <thread>
#include <utility>

#include <poll.h>
#include <sys/eventfd.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

namespace backeddy::live {

namespace {

/// A line of news is at most some hundred chambers; beyond this it is none of ours.
constexpr std::size_t most_news_bytes = std::size_t{4} << 20;
constexpr int retry_ms = 1000;

class Connection {
  public:
    explicit Connection(const std::filesystem::path& path)
        : descriptor_(::socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0)) {
        sockaddr_un address{};
        address.sun_family = AF_UNIX;
        const std::string text = path.string();
        is_there_ = descriptor_ >= 0 && text.size() < sizeof address.sun_path;
        if (is_there_) {
            text.copy(address.sun_path, text.size());
            is_there_ =
                ::connect(descriptor_, reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0;
        }
    }
    ~Connection() {
        if (descriptor_ >= 0) {
            ::close(descriptor_);
        }
    }
    Connection(const Connection&) = delete;
    Connection& operator=(const Connection&) = delete;

    [[nodiscard]] bool is_there() const { return is_there_; }
    [[nodiscard]] int descriptor() const { return descriptor_; }

    bool say(std::string line) {
        line += '\n';
        std::string_view rest = line;
        while (!rest.empty()) {
            const ssize_t sent = ::send(descriptor_, rest.data(), rest.size(), MSG_NOSIGNAL);
            if (sent < 0 && errno == EINTR) {
                continue;
            }
            if (sent <= 0) {
                return false;
            }
            rest.remove_prefix(static_cast<std::size_t>(sent));
        }
        return true;
    }

    /// What came; false where the other side is gone or says no lines.
    bool take() {
        char buffer[65536];
        const ssize_t got = ::recv(descriptor_, buffer, sizeof buffer, 0);
        if (got > 0) {
            heard_.append(buffer, static_cast<std::size_t>(got));
        }
        return got > 0 && heard_.size() <= most_news_bytes;
    }

    std::optional<std::string> line() {
        const auto end = heard_.find('\n');
        if (end == std::string::npos) {
            return {};
        }
        std::string out = heard_.substr(0, end);
        heard_.erase(0, end + 1);
        return out;
    }

  private:
    int descriptor_;
    bool is_there_ = false;
    std::string heard_;
};

} // namespace

Expected<std::string> ask_watch(const std::filesystem::path& socket, const std::string& line,
                                std::chrono::milliseconds patience) {
    Connection connection(socket);
    if (!connection.is_there()) {
        return fail({.code = ErrorCode::file_missing,
                     .found = "no watch is running here",
                     .expected = "a watch over this study's chambers",
                     .remedy = "start it: backeddy watch DIR --station station.toml",
                     .place = {}});
    }
    const auto end = std::chrono::steady_clock::now() + patience;
    bool is_there = connection.say(line);
    while (is_there) {
        if (auto answer = connection.line()) {
            return *answer;
        }
        const auto left =
            std::chrono::duration_cast<std::chrono::milliseconds>(end - std::chrono::steady_clock::now());
        pollfd wait{.fd = connection.descriptor(), .events = POLLIN, .revents = 0};
        if (left.count() <= 0 || ::poll(&wait, 1, static_cast<int>(left.count())) == 0) {
            break;
        }
        is_there = connection.take();
    }
    return fail({.code = ErrorCode::file_unreadable,
                 .found = "the watch does not answer",
                 .expected = "an answer within " + std::to_string(patience.count()) + " ms",
                 .remedy = "look after the chambers by hand; then look whether the watch still runs",
                 .place = {}});
}

struct WatchLook::Self {
    std::filesystem::path socket;
    std::function<void(std::string)> on_line;
    std::function<void()> on_gone;
    int bell = ::eventfd(0, EFD_CLOEXEC); ///< rings when it is to end
    std::thread thread;

    /// True when it is to end.
    [[nodiscard]] bool waited(int descriptor, int at_most_ms) const {
        pollfd both[] = {{.fd = bell, .events = POLLIN, .revents = 0},
                         {.fd = descriptor, .events = POLLIN, .revents = 0}};
        ::poll(both, descriptor < 0 ? 1 : 2, at_most_ms);
        return both[0].revents != 0;
    }

    void run() const {
        bool was_there = true; // the first time that none is there is told too
        while (true) {
            Connection connection(socket);
            bool is_there = connection.is_there() && connection.say(R"({"look":true})");
            was_there = was_there || is_there;
            while (is_there) {
                if (waited(connection.descriptor(), -1)) {
                    return;
                }
                is_there = connection.take();
                while (auto line = connection.line()) {
                    on_line(std::move(*line));
                }
            }
            if (std::exchange(was_there, false)) {
                on_gone();
            }
            if (waited(-1, retry_ms)) {
                return;
            }
        }
    }
};

WatchLook::WatchLook(std::filesystem::path socket, std::function<void(std::string)> on_line,
                     std::function<void()> on_gone)
    : self_(std::make_unique<Self>()) {
    self_->socket = std::move(socket);
    self_->on_line = std::move(on_line);
    self_->on_gone = std::move(on_gone);
    self_->thread = std::thread([self = self_.get()] { self->run(); });
}

WatchLook::~WatchLook() {
    const std::uint64_t one = 1;
    [[maybe_unused]] const auto rung = ::write(self_->bell, &one, sizeof one);
    self_->thread.join();
    ::close(self_->bell);
}

} // namespace backeddy::live
