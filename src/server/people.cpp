#include "server/people.hpp"

#include <algorithm>
#include <array>
#include <cstdlib>
#include <new>

#include <fmt/format.h>
#include <sodium.h>

#include "base/file.hpp"
#include "server/detail/entries.hpp"
#include "server/detail/name_text.hpp"
#include "server/detail/private_file.hpp"
#include "server/detail/secret.hpp"

namespace backeddy::server {

namespace {

namespace fs = std::filesystem;

std::size_t characters(std::string_view utf8) {
    return static_cast<std::size_t>(
        std::ranges::count_if(utf8, [](char c) { return (static_cast<unsigned char>(c) & 0xC0) != 0x80; }));
}

Expected<std::vector<Person>> people_of(std::string_view text, const fs::path& file) {
    const auto not_understood = [&](std::string found, std::uint64_t line) {
        return Error{.code = ErrorCode::bad_setting,
                     .found = std::move(found),
                     .expected =
                         "[[person]] with a name, a role (viewer, crew or scientist) and a passphrase "
                         "that `backeddy people add` has written",
                     .remedy = "mend the line, or take the person out and add them again",
                     .place = {.file = file.string(), .line = line}};
    };
    const auto person_of = [&](const ListEntry& entry) -> Expected<Person> {
        const auto role = role_of(entry.text("role"));
        Person person{.name = entry.text("name"), .verifier = entry.text("passphrase")};
        if (!is_name(person.name) || !role || !person.verifier.starts_with("$argon2id$")) {
            return fail(not_understood(fmt::format("the person \"{}\"", person.name), entry.line));
        }
        person.role = *role;
        return person;
    };
    return list_of<Person>(text, "person", not_understood, person_of);
}

} // namespace

Expected<std::string> make_verifier(std::string_view passphrase) {
    if (!is_text(passphrase) || characters(passphrase) < shortest_passphrase ||
        passphrase.size() > longest_passphrase) {
        return fail(
            {.code = ErrorCode::bad_setting,
             .found = is_text(passphrase)
                          ? fmt::format("a passphrase of {} characters", characters(passphrase))
                          : std::string("a passphrase with control characters or bytes that are no text"),
             .expected = fmt::format("at least {} characters and at most {} bytes", shortest_passphrase,
                                     longest_passphrase),
             .remedy = "take four or five words that do not belong together"});
    }
    start_sodium();
    std::array<char, crypto_pwhash_STRBYTES> verifier{};
    if (crypto_pwhash_str(verifier.data(), passphrase.data(), passphrase.size(),
                          crypto_pwhash_OPSLIMIT_INTERACTIVE, crypto_pwhash_MEMLIMIT_INTERACTIVE) != 0) {
        throw std::bad_alloc(); // the one way in which it fails
    }
    return std::string(verifier.data());
}

bool fits(std::string_view passphrase, const std::string& verifier) {
    start_sodium();
    // The library reads a text of this length and no shorter.
    std::array<char, crypto_pwhash_STRBYTES> padded{};
    if (verifier.size() >= padded.size() || passphrase.size() > longest_passphrase) {
        return false;
    }
    std::ranges::copy(verifier, padded.begin());
    return crypto_pwhash_str_verify(padded.data(), passphrase.data(), passphrase.size()) == 0;
}

Expected<fs::path> people_file() {
    const char* folder = std::getenv("XDG_CONFIG_HOME");
    if (folder != nullptr &&
        fs::path(folder).is_absolute()) { // a relative one is to be ignored, says its specification
        return fs::path(folder) / "backeddy" / "people.toml";
    }
    const char* own = std::getenv("HOME");
    if (own != nullptr && fs::path(own).is_absolute()) {
        return fs::path(own) / ".config" / "backeddy" / "people.toml";
    }
    return fail({.code = ErrorCode::file_missing,
                 .found = "neither XDG_CONFIG_HOME nor HOME names a folder",
                 .expected = "a folder of yours for the names of those who may sign in",
                 .remedy = "set HOME"});
}

Expected<std::vector<Person>> load_people(const fs::path& file) {
    if (auto ok = is_private(file, "what passphrases are checked with"); !ok) {
        return fail(std::move(ok).error());
    }
    auto text = read_file(file, 1 << 20);
    if (!text) {
        if (text.error().code == ErrorCode::file_missing) {
            return std::vector<Person>();
        }
        return fail(std::move(text).error());
    }
    return people_of(*text, file);
}

Expected<void> save_people(const fs::path& file, const std::vector<Person>& people) {
    std::string text =
        "# Who may sign in to Backeddy on this machine; `backeddy people` keeps it. Mode 600.\n";
    for (const auto& person : people) {
        text += fmt::format("\n[[person]]\nname = \"{}\"\nrole = \"{}\"\npassphrase = \"{}\"\n", person.name,
                            role_word(person.role), person.verifier);
    }
    return write_private(file, text);
}

Expected<std::vector<Person>> with_person(std::vector<Person> people, Person person) {
    if (!is_name(person.name)) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = fmt::format("the name \"{}\"", person.name),
                     .expected = "1 to 64 bytes of text without quotes, backslashes or a space at either end",
                     .remedy = "choose another name"});
    }
    if (std::ranges::find(people, person.name, &Person::name) != people.end()) {
        return fail(
            {.code = ErrorCode::duplicate,
             .found = fmt::format("\"{}\" may sign in already", person.name),
             .expected = "a name that nobody has",
             .remedy = "to change role or passphrase, remove them first: backeddy people remove NAME"});
    }
    people.push_back(std::move(person));
    return people;
}

Expected<std::vector<Person>> without_person(std::vector<Person> people, std::string_view name) {
    if (std::erase_if(people, [&](const Person& person) { return person.name == name; }) > 0) {
        return people;
    }
    std::vector<std::string> names;
    std::ranges::transform(people, std::back_inserter(names), &Person::name);
    const auto near = nearest_name(name, names);
    return fail(
        {.code = ErrorCode::unknown_name,
         .found = fmt::format("nobody of the name \"{}\" may sign in", name),
         .expected = "a name of `backeddy people list`",
         .remedy = near ? fmt::format("is \"{}\" meant?", *near) : std::string("look the name up there")});
}

bool is_same_name(std::string_view a, std::string_view b) {
    const auto small = [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c; };
    return std::ranges::equal(a, b, {}, small, small);
}

void People::look_again() {
    const auto now = Clock::now();
    if (!looked_ || now - *looked_ >= std::chrono::seconds(1)) {
        looked_ = now;
        people_ = load_people(file_).value_or(std::vector<Person>());
    }
}

std::optional<Person> People::find(std::string_view name) {
    const std::lock_guard lock(mutex_);
    look_again();
    const auto found = std::ranges::find(people_, name, &Person::name);
    return found == people_.end() ? std::nullopt : std::optional(*found);
}

std::optional<Role> People::role_of(std::string_view name) {
    const std::lock_guard lock(mutex_);
    look_again();
    std::optional<Role> out;
    for (const auto& person : people_) {
        if (is_same_name(person.name, name)) {
            out = std::max(out, std::optional(person.role));
        }
    }
    return out;
}

} // namespace backeddy::server
