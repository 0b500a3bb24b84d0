// A journal's files with anything changed in them. The first byte says how: 0, the kept file of version 1
// with patches (three bytes where, one how long, then what); 1, the rest is the file; 2, the rest is the log
// beside the kept file. No bytes make it fail: the journal opens or says why not; what it gives is sound and
// in order; and what is salvaged could stand in a journal.

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string>

#include <unistd.h>

#include "base/file.hpp"
#include "fuzz/fuzz.hpp"
#include "store/journal.hpp"
#include "store/salvage.hpp"

using namespace backeddy;
using namespace backeddy::store;

namespace {

/// In memory where the machine has such a place; gone with the object, since the fuzzer's end runs nothing.
class Scratch {
  public:
    Scratch() {
        const std::filesystem::path memory = "/dev/shm";
        const bool there = ::access(memory.c_str(), W_OK) == 0;
        std::string name =
            ((there ? memory : std::filesystem::temp_directory_path()) / "journal-fuzz-XXXXXX").string();
        fuzz::require(::mkdtemp(name.data()) != nullptr, "there is a place for scratch files");
        folder_ = name;
    }
    ~Scratch() {
        std::error_code unknown;
        std::filesystem::remove_all(folder_, unknown);
    }
    Scratch(const Scratch&) = delete;
    Scratch& operator=(const Scratch&) = delete;
    [[nodiscard]] std::filesystem::path file() const { return folder_ / journal_name; }

  private:
    std::filesystem::path folder_;
};

const std::string& kept_file() {
    static const std::string bytes = [] {
        auto read =
            read_file(std::filesystem::path(BACKEDDY_SOURCE_DIR) / "tests/store/kept/version_1.sqlite");
        fuzz::require(read.has_value(), "the kept file is there");
        return *read;
    }();
    return bytes;
}

std::string patched(std::string bytes, std::string_view patches) {
    while (patches.size() > 4) {
        const auto number = [&](std::size_t i) {
            return static_cast<std::size_t>(static_cast<unsigned char>(patches[i]));
        };
        const std::size_t at = ((number(0) << 16) | (number(1) << 8) | number(2)) % bytes.size();
        const std::size_t length = std::min({1 + (number(3) % 64), patches.size() - 4, bytes.size() - at});
        bytes.replace(at, length, patches.substr(4, length));
        patches.remove_prefix(4 + length);
    }
    return bytes;
}

void write_files(const std::filesystem::path& file, std::string_view input) {
    const std::string_view rest = input.substr(1);
    const int how = input[0] % 3;
    std::ofstream(file, std::ios::binary) << (how == 0   ? patched(kept_file(), rest)
                                              : how == 1 ? std::string(rest)
                                                         : kept_file());
    if (how == 2) {
        std::ofstream(file.string() + "-wal", std::ios::binary) << rest;
    }
}

void require_words(const Error& error) {
    fuzz::require(error.code != ErrorCode::our_bug, "what is in a file is no bug of ours");
    fuzz::require(!error.place.file.empty(), "an error names the file");
    fuzz::require(!error.found.empty() && !error.remedy.empty(),
                  "an error says what is there and what to do");
}

void require_entries(const std::vector<Entry>& entries) {
    for (const Entry& entry : entries) {
        fuzz::require(check(entry).has_value(), "an entry that is given could stand in a journal");
    }
    fuzz::require(std::is_sorted(entries.begin(), entries.end(), comes_before), "entries are in their order");
}

void read_and_write(Journal& journal) {
    const auto readable = journal.readable();
    const auto entries = journal.entries();
    if (entries) {
        require_entries(*entries);
    } else {
        require_words(entries.error());
    }
    if (!readable) {
        require_words(readable.error());
    } else {
        fuzz::require(!readable->damage.empty() || entries.has_value(),
                      "a journal without damage can be read");
    }
    const Entry one{
        .id = {.device = *DeviceId::parse("00c0ffee00c0ffee"), .sequence = 1}, .author = "A", .act = "a"};
    if (const auto added = journal.append({{one}}); !added) {
        require_words(added.error());
    }
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    if (size == 0) {
        return 0;
    }
    const Scratch scratch;
    const auto file = scratch.file();
    write_files(file, fuzz::text_of(data, size));
    const auto salvaged = salvage(file);
    fuzz::require(salvaged.has_value(), "files that can be read can be looked through");
    for (const auto* entries : {&salvaged->standing, &salvaged->kept_aside}) {
        for (const Entry& entry : *entries) {
            fuzz::require(check(entry).has_value(), "what is salvaged could stand in a journal");
        }
    }
    auto journal = Journal::open(file, Access::write, {.lock_patience = std::chrono::milliseconds(0)});
    if (journal) {
        read_and_write(*journal);
    } else {
        require_words(journal.error());
    }
    return 0;
}
