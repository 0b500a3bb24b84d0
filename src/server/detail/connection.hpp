#pragma once
// One client's connection, from its first byte to its last.

#include <array>
#include <atomic>
#include <map>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <string_view>

#include "server/detail/asio.hpp"
#include "server/detail/http_reader.hpp"
#include "server/detail/wire.hpp"
#include "server/listener.hpp"
#include "server/pace.hpp"

namespace backeddy::server {

class ChangesSocket;
class Connection;

/// What all connections share. Touched on the one thread that moves bytes, but for the counts.
struct Shared {
    explicit Shared(const Limits& its_limits) : limits(its_limits) {}

    const Limits limits;
    const Service* service = nullptr;
    std::shared_ptr<Tls> tls; ///< none: everything is plain
    Pace pace{limits.requests_per_second, limits.requests_at_once};
    Pace pace_within{limits.requests_per_second_within, limits.requests_at_once_within};
    std::set<Connection*> open;
    std::map<std::string, std::size_t> per_address;
    std::set<ChangesSocket*> listening;
    bool is_stopping = false;
    std::array<std::atomic<std::uint64_t>, kinds_seen> counts{};
    std::atomic<int> computing = 0; ///< handlers that have begun and not ended
    asio::thread_pool handlers{limits.handler_threads};

    void count(Seen what) { ++counts[static_cast<std::size_t>(what)]; }
};

class Connection : public std::enable_shared_from_this<Connection> {
  public:
    Connection(tcp::socket socket, Shared& shared);
    ~Connection();
    Connection(const Connection&) = delete;
    Connection& operator=(const Connection&) = delete;

    /// One request after the other, until an end.
    asio::awaitable<void> run();
    /// Says that there are too many, and closes.
    asio::awaitable<void> turn_away();
    /// No further request; what is being answered is finished.
    void stop();
    void close_at_once();
    /// Makes room for another; it counts no more. Timers may hold the object for a little longer.
    void leave();
    [[nodiscard]] const std::string& group() const { return group_; }

  private:
    using Clock = std::chrono::steady_clock;
    enum class Got { bytes, end, late };

    /// Whether there is a wire to read from: the first byte tells TLS from plain HTTP.
    asio::awaitable<bool> open_wire();
    asio::awaitable<bool> greet();
    asio::awaitable<Got> read_more(Clock::time_point until);
    /// Nothing where the client has left or the program stops; needs_more where time was up.
    asio::awaitable<std::optional<HttpReader::State>> read_head(HttpReader& reader);
    /// needs_more where time was up.
    asio::awaitable<HttpReader::State> read_body(HttpReader& reader, std::size_t most_bytes);
    asio::awaitable<bool> write(std::string_view head, std::string_view body);
    asio::awaitable<bool> send(Response response, const Head& head);
    asio::awaitable<bool> refuse_unread(HttpReader::State state, const Head& head);
    asio::awaitable<bool> exchange_one();
    asio::awaitable<bool> answer(HttpReader& reader, Admission admission, const Head& head);
    asio::awaitable<void> listen_to_changes(const Head& head, std::string session);
    asio::awaitable<void> close_gently();
    asio::awaitable<void> throw_away_rest(Clock::time_point until);
    void cancel();
    [[nodiscard]] Clock::duration time_for(std::chrono::milliseconds base, std::uint64_t bytes) const;
    [[nodiscard]] bool is_too_fast(Clock::time_point now);
    void begin_wait(Clock::time_point until);
    bool end_wait();

    std::unique_ptr<Wire> wire_; ///< none once it has become a page that listens
    asio::steady_timer timer_;
    Shared& shared_;
    std::string peer_;
    std::string local_;
    std::string group_;
    std::string pending_; ///< read, and of no request yet
    unsigned turn_ = 0;   ///< of waits: a timer that comes too late knows by it
    bool is_late_ = false;
    bool is_secure_ = false;
    bool is_answering_ = false;
    bool leaves_unread_ = false;
};

} // namespace backeddy::server
