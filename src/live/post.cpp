#include "live/post.hpp"

#include <algorithm>
#include <deque>
#include <optional>
#include <utility>
#include <vector>

#include <boost/asio/buffers_iterator.hpp>
#include <boost/asio/local/stream_protocol.hpp>
#include <boost/asio/read_until.hpp>
#include <boost/asio/streambuf.hpp>
#include <sys/socket.h>
#include <sys/stat.h>
#include <unistd.h>

#include "instruments/detail/asio.hpp"

namespace backeddy::live {

namespace {

using Local = boost::asio::local::stream_protocol;
using boost::system::error_code;
constexpr std::size_t most_visitors = 64;
constexpr std::size_t most_answers = 256; ///< that wait for one visitor
constexpr std::string_view look_word = R"({"look":true})";

/// One connection. Lives as long as something of it waits.
class Visitor : public std::enable_shared_from_this<Visitor> {
  public:
    Visitor(Local::socket socket, Post::OnLine& on_line, std::function<void(Visitor*)> gone)
        : socket_(std::move(socket)), on_line_(on_line), gone_(std::move(gone)) {}

    void read() {
        boost::asio::async_read_until(socket_, in_, '\n',
                                      [self = shared_from_this()](error_code error, std::size_t bytes) {
                                          if (error || !self->is_open_) {
                                              self->close();
                                              return;
                                          }
                                          self->take(bytes);
                                          self->read();
                                      });
    }

    void answer(std::string line) {
        if (answers_.size() >= most_answers) {
            close();
            return;
        }
        answers_.push_back(std::move(line));
        write();
    }

    void tell(const std::string& line) {
        if (looks_) {
            latest_ = line;
            write();
        }
    }

    void close() {
        if (std::exchange(is_open_, false)) {
            error_code ignored;
            socket_.close(ignored);
            gone_(this);
        }
    }

  private:
    void take(std::size_t bytes) {
        const auto begin = boost::asio::buffers_begin(in_.data());
        const std::string line(begin, begin + static_cast<std::ptrdiff_t>(bytes) - 1);
        in_.consume(bytes);
        if (line == look_word) {
            looks_ = true;
            return;
        }
        on_line_(line, [weak = weak_from_this()](std::string text) {
            if (const auto self = weak.lock(); self && self->is_open_) {
                self->answer(std::move(text));
            }
        });
    }

    void write() {
        if (is_writing_ || !is_open_ || (answers_.empty() && !latest_)) {
            return;
        }
        if (!answers_.empty()) {
            out_ = std::move(answers_.front());
            answers_.pop_front();
        } else {
            out_ = std::move(*latest_);
            latest_.reset();
        }
        out_ += '\n';
        is_writing_ = true;
        boost::asio::async_write(socket_, boost::asio::buffer(out_),
                                 [self = shared_from_this()](error_code error, std::size_t) {
                                     self->is_writing_ = false;
                                     if (error) {
                                         self->close();
                                         return;
                                     }
                                     self->write();
                                 });
    }

    Local::socket socket_;
    Post::OnLine& on_line_;
    std::function<void(Visitor*)> gone_;
    boost::asio::streambuf in_{most_line_bytes};
    std::string out_;
    std::deque<std::string> answers_;
    std::optional<std::string> latest_;
    bool looks_ = false;
    bool is_writing_ = false;
    bool is_open_ = true;
};

bool is_ours(Local::socket& socket) {
    struct ucred who{};
    socklen_t size = sizeof who;
    return ::getsockopt(socket.native_handle(), SOL_SOCKET, SO_PEERCRED, &who, &size) == 0 &&
           (who.uid == ::getuid() || who.uid == 0);
}

Error not_opened(const std::filesystem::path& path, std::string found, std::string remedy) {
    return {.code = ErrorCode::cannot_write,
            .found = std::move(found),
            .expected = "one watch over a folder, with a socket of its own",
            .remedy = std::move(remedy),
            .place = {.file = path.string()}};
}

} // namespace

struct Post::Self : std::enable_shared_from_this<Post::Self> {
    Self(boost::asio::io_context& io, std::filesystem::path at, OnLine handler)
        : acceptor(io), path(std::move(at)), on_line(std::move(handler)) {}

    Local::acceptor acceptor;
    std::filesystem::path path;
    OnLine on_line;
    std::vector<std::shared_ptr<Visitor>> visitors;
    bool is_open = true;

    void accept() {
        acceptor.async_accept([self = shared_from_this()](error_code error, Local::socket socket) {
            if (!self->is_open) {
                return;
            }
            if (!error && self->visitors.size() < most_visitors && is_ours(socket)) {
                self->visitors.push_back(
                    std::make_shared<Visitor>(std::move(socket), self->on_line, [self](Visitor* gone) {
                        std::erase_if(self->visitors, [&](const auto& each) { return each.get() == gone; });
                    }));
                self->visitors.back()->read();
            }
            self->accept();
        });
    }

    void close() {
        is_open = false;
        error_code ignored;
        acceptor.close(ignored);
        for (const auto& visitor : std::exchange(visitors, {})) {
            visitor->close();
        }
        std::error_code unlinked;
        std::filesystem::remove(path, unlinked);
    }
};

Post::Post(std::shared_ptr<Self> self) : self_(std::move(self)) {}

Post::~Post() {
    self_->close();
}

Expected<std::unique_ptr<Post>> Post::open(instruments::Loop& loop, const std::filesystem::path& path,
                                           OnLine on_line) {
    auto& io = loop.context().io;
    error_code error;
    Local::socket other(io);
    if (!other.connect(Local::endpoint(path.string()), error)) {
        return fail(not_opened(path, "another watch answers here", "end it, or look at it instead"));
    }
    std::error_code ignored;
    std::filesystem::remove(path, ignored); // left by a watch that was killed
    auto self = std::make_shared<Self>(io, path, std::move(on_line));
    self->acceptor.open(Local(), error);
    if (!error) {
        self->acceptor.bind(Local::endpoint(path.string()), error);
    }
    if (!error) {
        ::chmod(path.c_str(), 0600);
        self->acceptor.listen(boost::asio::socket_base::max_listen_connections, error);
    }
    if (error) {
        return fail(not_opened(path, "no socket can be made here (" + error.message() + ")",
                               "check the permissions of its folder"));
    }
    self->accept();
    return std::unique_ptr<Post>(new Post(std::move(self)));
}

void Post::tell(const std::string& line) {
    for (const auto& visitor : std::vector(self_->visitors)) {
        visitor->tell(line);
    }
}

bool Post::has_visitors() const {
    return !self_->visitors.empty();
}

} // namespace backeddy::live
