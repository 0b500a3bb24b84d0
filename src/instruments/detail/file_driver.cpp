// A file that another program appends to, looked at from the loop.

#include <algorithm>
#include <cerrno>
#include <cstring>

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include "instruments/detail/driver.hpp"
#include "instruments/tail.hpp"

namespace backeddy::instruments {

namespace {

/// At most so much is read in one look, so that a file put back after a week does not stop the loop.
constexpr std::size_t most_at_once = std::size_t{1} << 20U;

/// An open file, closed at its end.
class OpenFile {
  public:
    OpenFile() = default;
    explicit OpenFile(const std::string& path)
        : fd_(::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK)) {} // a pipe would wait for its writer
    ~OpenFile() {
        if (fd_ >= 0) {
            ::close(fd_);
        }
    }
    OpenFile(OpenFile&& other) noexcept : fd_(std::exchange(other.fd_, -1)) {}
    OpenFile& operator=(OpenFile&& other) noexcept {
        std::swap(fd_, other.fd_);
        return *this;
    }
    OpenFile(const OpenFile&) = delete;
    OpenFile& operator=(const OpenFile&) = delete;

    [[nodiscard]] bool is_open() const { return fd_ >= 0; }
    [[nodiscard]] int fd() const { return fd_; }
    /// What stands there; less than asked for at the end.
    [[nodiscard]] std::string read(std::uint64_t from, std::size_t size) const {
        std::string out(size, '\0');
        const auto got = ::pread(fd_, out.data(), size, static_cast<off_t>(from));
        out.resize(static_cast<std::size_t>(std::max<ssize_t>(got, 0)));
        return out;
    }

  private:
    int fd_ = -1;
};

FileIdentity identity(const struct stat& status) {
    return {.device = status.st_dev, .number = status.st_ino};
}

/// Where the last line of the file begins, so that reading begins with a whole one.
TailPlace last_line(const OpenFile& file, std::uint64_t size) {
    const auto from = size - std::min<std::uint64_t>(size, longest_line);
    const auto bytes = file.read(from, static_cast<std::size_t>(size - from));
    const auto end = bytes.find_last_of("\r\n");
    TailPlace place(from);
    place.advance(std::string_view(bytes).substr(0, end == std::string::npos ? 0 : end + 1));
    return place;
}

class FileDriver : public Driver {
  public:
    FileDriver(const Device& device, FileDevice file, const Surroundings& around)
        : settings_(std::move(file)), loop_(around.loop), teller_(device, around),
          pumps_({}, teller_, [](std::size_t, PumpState) { return false; }) {}

    void start() override {
        open_path(true);
        looking_ = std::make_unique<EveryTimer>(loop_, settings_.look_every, [this] { look(); });
    }
    void stop() override { looking_.reset(); }
    void tick() override {}
    Pumps& pumps() override { return pumps_; }

  private:
    void look() {
        for (std::size_t taken = 0; taken < most_at_once;) {
            switch (next_step(place_, seen())) {
            case TailStep::wait:
                return;
            case TailStep::read_on: {
                const auto bytes = file_.read(place_.offset(), most_at_once);
                if (bytes.empty()) {
                    return;
                }
                taken += bytes.size();
                take(bytes);
                break;
            }
            case TailStep::begin_anew:
                begin("it was cut short or written over");
                break;
            case TailStep::open_the_path: {
                const bool had = file_.is_open();
                if (!open_path(false)) {
                    return;
                }
                if (had) {
                    begin("another file stands under its name");
                }
                break;
            }
            }
        }
    }

    [[nodiscard]] TailSeen seen() const {
        TailSeen out;
        struct stat status{};
        if (::stat(settings_.path.c_str(), &status) == 0) {
            out.under_path = identity(status);
        }
        if (file_.is_open() && ::fstat(file_.fd(), &status) == 0) {
            out.open = identity(status);
            out.size = static_cast<std::uint64_t>(status.st_size);
            const auto size = place_.behind().size();
            out.behind = file_.read(place_.offset() - size, size);
        }
        return out;
    }

    void take(const std::string& bytes) {
        place_.advance(bytes);
        static_cast<void>(tell_lines(cutter_.feed(bytes), settings_.shape, teller_.now(), teller_));
    }

    void begin(std::string why) {
        static_cast<void>(tell_lines(cutter_.finish(), settings_.shape, teller_.now(), teller_));
        place_ = TailPlace();
        teller_.begun_anew(std::move(why));
    }

    /// `at_the_end`: what stands there already is of earlier.
    bool open_path(bool at_the_end) {
        OpenFile opened(settings_.path);
        struct stat status{};
        const bool good = opened.is_open() && ::fstat(opened.fd(), &status) == 0 && S_ISREG(status.st_mode);
        if (!good) {
            if (!said_missing_) {
                teller_.lost(opened.is_open() ? "no plain file" : std::strerror(errno), settings_.look_every);
            }
            said_missing_ = true;
            return false;
        }
        said_missing_ = false;
        file_ = std::move(opened);
        place_ = at_the_end ? last_line(file_, static_cast<std::uint64_t>(status.st_size)) : TailPlace();
        teller_.connected(settings_.path);
        return true;
    }

    FileDevice settings_;
    Loop& loop_;
    Teller teller_;
    Pumps pumps_;
    OpenFile file_;
    TailPlace place_;
    LineCutter cutter_{LineCutter::Begin::at_a_line};
    bool said_missing_ = false;
    std::unique_ptr<EveryTimer> looking_;
};

} // namespace

std::unique_ptr<Driver> make_file_driver(const Device& device, const FileDevice& file,
                                         const Surroundings& around) {
    return std::make_unique<FileDriver>(device, file, around);
}

} // namespace backeddy::instruments
