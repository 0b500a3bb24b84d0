#include <atomic>
#include <chrono>
#include <filesystem>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#include "live/plain.hpp"
#include "live/post.hpp"
#include "live/socket_path.hpp"
#include "live/visitor.hpp"

namespace backeddy::live {
namespace {

using namespace std::chrono_literals;
using testing::HasSubstr;

/// A post that answers with what it heard, on a loop that runs as long as it lives.
class Running {
  public:
    explicit Running(std::filesystem::path at) : path(std::move(at)) {
        post_ = test::value_of(Post::open(loop_, path, [](std::string_view line, Post::Answer answer) {
            answer("heard " + std::string(line));
        }));
        thread_ = std::thread([this] { loop_.run(); });
    }
    ~Running() {
        loop_.post([this] {
            post_.reset();
            loop_.stop();
        });
        thread_.join();
    }
    void tell(const std::string& line) {
        loop_.post([this, line] { post_->tell(line); });
    }
    std::filesystem::path path;

  private:
    instruments::Loop loop_;
    std::unique_ptr<Post> post_;
    std::thread thread_;
};

int connected(const std::filesystem::path& path) {
    const int out = ::socket(AF_UNIX, SOCK_STREAM, 0);
    sockaddr_un address{};
    address.sun_family = AF_UNIX;
    path.string().copy(address.sun_path, sizeof address.sun_path - 1);
    EXPECT_EQ(::connect(out, reinterpret_cast<sockaddr*>(&address), sizeof address), 0);
    return out;
}

template <typename Claim>
bool soon(const Claim& claim) {
    const auto end = std::chrono::steady_clock::now() + 20s;
    while (std::chrono::steady_clock::now() < end) {
        if (claim()) {
            return true;
        }
        std::this_thread::sleep_for(2ms);
    }
    return false;
}

class Socket : public testing::Test {
  protected:
    TemporaryFolder folder_ = test::value_of(TemporaryFolder::make("post"));
    std::filesystem::path path_ = folder_.path() / "s.sock";
};

TEST_F(Socket, answers_line_by_line) {
    const Running running(path_);
    EXPECT_EQ(test::value_of(ask_watch(path_, "one", 10s)), "heard one");
    const int raw = connected(path_);
    ASSERT_EQ(::send(raw, "two\nthr", 7, 0), 7);
    ASSERT_EQ(::send(raw, "ee\n", 3, 0), 3);
    std::string got;
    char byte = 0;
    while (got != "heard two\nheard three\n" && ::read(raw, &byte, 1) == 1) {
        got += byte;
    }
    EXPECT_EQ(got, "heard two\nheard three\n");
    ::close(raw);
}

TEST_F(Socket, says_that_no_watch_is_there) {
    EXPECT_THAT(ask_watch(path_, "one", 1s).error().text(), HasSubstr("no watch is running here"));
}

TEST_F(Socket, says_that_a_watch_does_not_answer) {
    instruments::Loop stands; // never runs
    const auto post = test::value_of(Post::open(stands, path_, [](std::string_view, const Post::Answer&) {}));
    EXPECT_THAT(ask_watch(path_, "one", 50ms).error().text(), HasSubstr("the watch does not answer"));
}

TEST_F(Socket, tells_whoever_looks_and_comes_back_when_the_watch_does) {
    std::mutex mutex;
    std::vector<std::string> lines;
    std::atomic<int> gone{0};
    const WatchLook look(
        path_,
        [&](std::string line) {
            const std::lock_guard lock(mutex);
            lines.push_back(std::move(line));
        },
        [&] { ++gone; });
    EXPECT_TRUE(soon([&] { return gone == 1; })) << "none is there yet";
    for (int round = 1; round <= 2; ++round) {
        Running running(path_);
        EXPECT_TRUE(soon([&] {
            running.tell("news " + std::to_string(round));
            const std::lock_guard lock(mutex);
            return !lines.empty() && lines.back() == "news " + std::to_string(round);
        }));
    }
    EXPECT_TRUE(soon([&] { return gone == 3; }));
}

TEST_F(Socket, does_not_wait_for_one_that_does_not_read) {
    Running running(path_);
    const int sleeper = connected(path_);
    ASSERT_EQ(::send(sleeper, "{\"look\":true}\n", 14, 0), 14);
    EXPECT_EQ(test::value_of(ask_watch(path_, "is it taken in?", 10s)), "heard is it taken in?");
    const std::string large(100'000, 'x');
    for (int i = 0; i < 200; ++i) {
        running.tell(large + std::to_string(i));
    }
    EXPECT_EQ(test::value_of(ask_watch(path_, "still there", 10s)), "heard still there");
    // When it reads at last it gets whole lines, the last of them the newest.
    std::string got;
    std::vector<char> buffer(1 << 16);
    while (!got.ends_with("x199\n")) {
        const auto bytes = ::read(sleeper, buffer.data(), buffer.size());
        ASSERT_GT(bytes, 0);
        got.append(buffer.data(), static_cast<std::size_t>(bytes));
    }
    EXPECT_LT(got.size(), 20U * large.size()) << "what it missed is not kept for it";
    ::close(sleeper);
}

TEST_F(Socket, sends_away_who_says_a_line_without_end) {
    const Running running(path_);
    const int endless = connected(path_);
    const std::string much(most_line_bytes + 10, 'x');
    (void)::send(endless, much.data(), much.size(), MSG_NOSIGNAL);
    char byte = 0;
    EXPECT_LE(::read(endless, &byte, 1), 0);
    ::close(endless);
    EXPECT_EQ(test::value_of(ask_watch(path_, "one", 10s)), "heard one");
}

TEST_F(Socket, is_one_watchs_alone_and_one_that_was_killed_is_replaced) {
    {
        const Running running(path_);
        instruments::Loop loop;
        EXPECT_THAT(Post::open(loop, path_, {}).error().text(), HasSubstr("another watch answers here"));
        struct stat status{};
        ASSERT_EQ(::stat(path_.c_str(), &status), 0);
        EXPECT_EQ(status.st_mode & 0777U, 0600U);
    }
    EXPECT_FALSE(std::filesystem::exists(path_));
    const int left = ::socket(AF_UNIX, SOCK_STREAM, 0);
    sockaddr_un address{};
    address.sun_family = AF_UNIX;
    path_.string().copy(address.sun_path, sizeof address.sun_path - 1);
    ASSERT_EQ(::bind(left, reinterpret_cast<sockaddr*>(&address), sizeof address), 0);
    ::close(left); // as after kill -9: the name is there, nobody behind it
    const Running running(path_);
    EXPECT_EQ(test::value_of(ask_watch(path_, "one", 10s)), "heard one");
}

TEST(SocketPath, is_the_same_however_the_folder_is_written_and_short) {
    const auto folder = test::value_of(TemporaryFolder::make(
        "a_folder_whose_name_is_long_so_that_a_socket_in_it_would_have_too_long_a_path"));
    const auto path = test::value_of(socket_path(folder.path()));
    EXPECT_EQ(test::value_of(socket_path(folder.path() / ".." / folder.path().filename())), path);
    EXPECT_NE(test::value_of(socket_path(folder.path() / "other")), path);
    EXPECT_LT(path.string().size(), 100U);
}

} // namespace
} // namespace backeddy::live
