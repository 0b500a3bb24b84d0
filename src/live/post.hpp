#pragma once
// The watch's side of its socket: visitors of this machine and this user say a line and get one back, and may
// ask to be told of every news. One that does not read is left behind, not waited for.

#include <filesystem>
#include <functional>
#include <memory>
#include <string>
#include <string_view>

#include "base/error.hpp"
#include "instruments/loop.hpp"

namespace backeddy::live {

/// A line longer than this is refused and its visitor sent away.
inline constexpr std::size_t most_line_bytes = std::size_t{64} << 10;

class Post {
  public:
    /// Called on the loop's thread with a line, without its end; the answer is called once, then or later.
    using Answer = std::function<void(std::string)>;
    using OnLine = std::function<void(std::string_view, Answer)>;

    /// Fails with cannot_write where another watch answers there. A socket that a killed watch left is
    /// replaced.
    static Expected<std::unique_ptr<Post>> open(instruments::Loop& loop, const std::filesystem::path& path,
                                                OnLine on_line);
    ~Post();
    Post(const Post&) = delete;
    Post& operator=(const Post&) = delete;
    Post(Post&&) = delete;
    Post& operator=(Post&&) = delete;

    /// To everybody who said {"look":true}. Of several that a visitor has not read yet only the last is sent.
    void tell(const std::string& line);
    /// Whether anybody looks.
    [[nodiscard]] bool has_visitors() const;

  private:
    struct Self;
    explicit Post(std::shared_ptr<Self> self);
    std::shared_ptr<Self> self_;
};

} // namespace backeddy::live
