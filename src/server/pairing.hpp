#pragma once
// Phones and tablets that stay signed in: paired once by a code from the laptop's screen, for one author and
// role, until they are ended. In a file of the machine beside people.toml, with hashes of the devices'
// secrets alone.

#include <chrono>
#include <filesystem>
#include <functional>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "series/instant.hpp"
#include "server/exchange.hpp"
#include "server/pace.hpp"

namespace backeddy::server {

struct PairedDevice {
    std::string id;     ///< 16 hexadecimal digits
    std::string label;  ///< such as "A": the phone's mark
    std::string author; ///< in whose name it asks
    Role role = Role::viewer;
    std::string secret_hash; ///< SHA-256 of what its cookie holds
    Instant paired_at;
    Instant last_seen_at; ///< to within `seen_step`

    friend bool operator==(const PairedDevice&, const PairedDevice&) = default;
};

/// A code holds so long, for one use; so many stand at a time, then the oldest goes.
inline constexpr std::chrono::minutes code_lasts{15};
inline constexpr std::size_t most_codes = 20;
/// A device that has not asked for so long is no longer paired.
inline constexpr std::chrono::days paired_unused{180};
/// How far what is written of a device's last asking may lag behind.
inline constexpr std::chrono::hours seen_step{1};
inline constexpr std::size_t most_paired = 200;

/// $XDG_CONFIG_HOME/backeddy/paired.toml, beside people.toml.
[[nodiscard]] std::filesystem::path paired_file(const std::filesystem::path& people_file);

/// Nobody where there is no such file. Fails where it cannot be read or understood, or others may read it.
[[nodiscard]] Expected<std::vector<PairedDevice>> load_paired(const std::filesystem::path& file);

/// May be asked from several threads. Two programs on one machine may share the file.
class Pairings {
  public:
    using Now = std::function<Instant()>;
    Pairings(std::filesystem::path file, Now now) : file_(std::move(file)), now_(std::move(now)) {}

    struct Wish {
        std::string label;
        std::string author;
        Role role = Role::viewer;
    };
    struct Code {
        std::string text; ///< "K7QM-4XTR-9BHD": 60 random bits, without letters that look alike
        Instant expires_at;
    };
    /// Fails with bad_setting for a label or author that is empty, longer than 64 bytes, no text, or has
    /// quotes, backslashes, control characters or a space at either end.
    [[nodiscard]] Expected<Code> offer(Wish wish);

    struct Paired {
        PairedDevice device;
        std::string secret; ///< what its cookie is to hold; kept nowhere else
    };
    /// Pairs who knows a code that stands; letters in any case, with or without hyphens. Nothing for any
    /// other. The code is used up, unless the file could not be written: then fails with cannot_write.
    [[nodiscard]] Expected<std::optional<Paired>> take(std::string_view code);

    /// By the SHA-256 of its secret, and notes that it asked.
    [[nodiscard]] std::optional<PairedDevice> seen(const std::string& secret_hash);
    /// Whether it is still paired, as it was.
    [[nodiscard]] bool holds(const PairedDevice& device);
    [[nodiscard]] std::vector<PairedDevice> all();

    enum class Ended { now, was_not_there };
    /// From now on it is not paired, also where the file could not be read or written: then fails, since the
    /// next start of the program would know it again.
    [[nodiscard]] Expected<Ended> end(std::string_view id);

  private:
    using Clock = std::chrono::steady_clock;
    struct Standing {
        std::string code;
        Wish wish;
        Instant until;
    };
    void look_again();
    template <typename Change>
    Expected<void> change(const Change& change);
    [[nodiscard]] bool is_ended(const PairedDevice& device) const;

    const std::filesystem::path file_;
    const Now now_;
    std::mutex mutex_; ///< over what follows
    std::vector<Standing> standing_;
    std::optional<Clock::time_point> looked_;
    std::vector<PairedDevice> devices_;
    std::vector<std::string> ended_; ///< ids, whatever the file says
};

} // namespace backeddy::server
