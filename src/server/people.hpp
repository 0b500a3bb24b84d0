#pragma once
// Who may sign in on this machine: names, roles and passphrases (as Argon2id makes them), in a file of the
// machine that only its owner may read; never in a study's folder, which travels.

#include <chrono>
#include <filesystem>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "server/exchange.hpp"

namespace backeddy::server {

struct Person {
    std::string name;
    Role role = Role::viewer;
    std::string
        verifier; ///< "$argon2id$v=19$m=...": salt and costs with it; the passphrase cannot be read from it

    friend bool operator==(const Person&, const Person&) = default;
};

/// Fewest characters of a passphrase; most bytes, so that nobody makes the program chew.
inline constexpr std::size_t shortest_passphrase = 12;
inline constexpr std::size_t longest_passphrase = 1024;

/// A verifier by Argon2id (RFC 9106) through libsodium: 64 MiB, two passes, a random salt; a tenth of a
/// second. Fails with bad_setting for a passphrase that is too short (counted in characters of UTF-8), too
/// long or no text.
[[nodiscard]] Expected<std::string> make_verifier(std::string_view passphrase);

/// Whether this is the passphrase; takes the same time whether it is or not. False for a verifier that is
/// none.
[[nodiscard]] bool fits(std::string_view passphrase, const std::string& verifier);

/// $XDG_CONFIG_HOME/backeddy/people.toml, or ~/.config/backeddy/people.toml. Fails with file_missing where
/// neither variable is set.
[[nodiscard]] Expected<std::filesystem::path> people_file();

/// Nobody where there is no such file. Fails where it cannot be read or understood, or where others may read
/// it.
[[nodiscard]] Expected<std::vector<Person>> load_people(const std::filesystem::path& file);

/// Writes the file whole, its folder with it when missing, for the owner's eyes alone.
[[nodiscard]] Expected<void> save_people(const std::filesystem::path& file,
                                         const std::vector<Person>& people);

/// `people` with one more. Fails with duplicate, or with bad_setting for a name that is empty, longer than 64
/// bytes, no text, or has quotes, backslashes, control characters or a space at either end.
[[nodiscard]] Expected<std::vector<Person>> with_person(std::vector<Person> people, Person person);
/// `people` without this one. Fails with unknown_name, offering the nearest.
[[nodiscard]] Expected<std::vector<Person>> without_person(std::vector<Person> people, std::string_view name);

/// Whether two names are to be told apart by people: the case of letters (A to Z) makes no other name.
[[nodiscard]] bool is_same_name(std::string_view a, std::string_view b);

/// The file as it is now: looked at again at most once a second, so that a person taken out of it is out.
/// What cannot be read is nobody. May be asked from several threads.
class People {
  public:
    explicit People(std::filesystem::path file) : file_(std::move(file)) {}
    [[nodiscard]] std::optional<Person> find(std::string_view name);
    /// The most that a person of the same name may; nothing where there is none.
    [[nodiscard]] std::optional<Role> role_of(std::string_view name);

  private:
    using Clock = std::chrono::steady_clock;
    void look_again();

    std::filesystem::path file_;
    std::mutex mutex_;
    std::optional<Clock::time_point> looked_;
    std::vector<Person> people_;
};

} // namespace backeddy::server
