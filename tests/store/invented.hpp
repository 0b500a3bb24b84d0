#pragma once
// Invented entries, and folders that go when the test ends.

#include <cstdint>
#include <cstdlib>
#include <filesystem>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include "store/journal.hpp"

namespace backeddy::store::test {

/// A new folder, in memory where the machine has such a place (thousands of files are made); gone with the
/// object.
class Folder {
  public:
    Folder() {
        const std::filesystem::path memory = "/dev/shm";
        const bool there = ::access(memory.c_str(), W_OK) == 0;
        std::string name =
            ((there ? memory : std::filesystem::temp_directory_path()) / "store-XXXXXX").string();
        path_ = ::mkdtemp(name.data()) != nullptr ? name : "";
    }
    ~Folder() {
        if (!path_.empty()) {
            std::error_code unknown;
            std::filesystem::remove_all(path_, unknown);
        }
    }
    Folder(const Folder&) = delete;
    Folder& operator=(const Folder&) = delete;
    [[nodiscard]] const std::filesystem::path& path() const { return path_; }
    [[nodiscard]] std::filesystem::path journal() const { return path_ / journal_name; }

  private:
    std::filesystem::path path_;
};

inline DeviceId device(unsigned number) {
    return *DeviceId::parse(fmt::format("{:016x}", 0xd0d0000000000000U + number));
}

/// Entry `sequence` of a device; the same arguments give the same entry. Hybrid times of devices lie among
/// each other, and some are equal.
inline Entry entry(unsigned of_device, std::uint64_t sequence, std::size_t padding = 0) {
    const auto wall = static_cast<std::int64_t>(1'780'000'000'000'000 + ((sequence / 3) * 1'000'000));
    Entry out{.id = {.device = device(of_device), .sequence = sequence},
              .time = {.wall_us = wall, .count = static_cast<std::uint32_t>(sequence % 3)},
              .moment = {.wall_us = wall - 250'000,
                         .monotonic_us = static_cast<std::int64_t>(sequence * 333'000),
                         .boot = "b1"},
              .author = "A. Keen",
              .role = sequence % 2 == 0 ? Role::crew : Role::scientist,
              .act = "hook_up",
              .content =
                  fmt::format(R"({{"rig":"{}","n":{}}})", of_device, sequence) + std::string(padding, ' '),
              .reason = sequence % 5 == 0 ? "späte Eingabe" : ""};
    if (sequence % 4 != 0) {
        out.moment.clock_offset_us = -1'500;
    }
    return out;
}

inline std::vector<Entry> entries_of(unsigned of_device, std::uint64_t from, std::uint64_t to) {
    std::vector<Entry> out;
    for (std::uint64_t sequence = from; sequence <= to; ++sequence) {
        out.push_back(entry(of_device, sequence));
    }
    return out;
}

/// The value, or the test stops with the error's text.
template <typename T>
T value_of(Expected<T> expected) {
    if (!expected) {
        ADD_FAILURE() << expected.error().text();
        throw std::runtime_error(expected.error().text());
    }
    return std::move(*expected);
}

template <typename T>
std::string error_text(const Expected<T>& expected) {
    return expected ? std::string("no error") : expected.error().text();
}

/// What is wrong with a journal, a line each.
inline std::string damage_text(const Readable& readable) {
    std::string out;
    for (const Damage& damage : readable.damage) {
        out += damage.what + "\n";
    }
    return out;
}

} // namespace backeddy::store::test
