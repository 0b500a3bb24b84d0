// A segment file with anything in it: the bytes are the file, in a folder where another follows it. No bytes
// make reading fail: what is given is in order and each piece once, damage lies inside the file, and a writer
// goes on with a number that nothing there has.

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string>

#include <unistd.h>

#include "fuzz/fuzz.hpp"
#include "store/segment.hpp"

using namespace backeddy;
using namespace backeddy::store;

namespace {

std::filesystem::path scratch_folder() {
    const std::filesystem::path memory = "/dev/shm";
    const bool there = ::access(memory.c_str(), W_OK) == 0;
    std::string name =
        ((there ? memory : std::filesystem::temp_directory_path()) / "segment-fuzz-XXXXXX").string();
    fuzz::require(::mkdtemp(name.data()) != nullptr, "there is a place for scratch files");
    return name;
}

std::uint64_t read_all(SegmentReader& reader) {
    std::uint64_t last = 0;
    while (true) {
        const auto some = reader.read_to_end();
        fuzz::require(some.has_value(), "a folder that is there can be read");
        for (const auto& piece : *some) {
            fuzz::require(piece.heard.number > last, "pieces come in order, each once");
            last = piece.heard.number;
        }
        if (some->empty()) {
            return last;
        }
    }
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const auto folder = scratch_folder();
    std::ofstream(folder / "000001.segment", std::ios::binary) << fuzz::text_of(data, size);
    SegmentReader reader(folder);
    const std::uint64_t last = read_all(reader);
    for (const SegmentDamage& damage : reader.damage()) {
        fuzz::require(damage.at_byte + damage.bytes <= size, "damage lies inside the file");
    }
    {
        auto writer = SegmentWriter::open(
            folder, {.program = "p", .boot = "b", .station_sha256 = "s", .sources = {"a"}});
        fuzz::require(writer.has_value(), "a writer goes on beside any file");
        fuzz::require(writer->through() >= last, "no number is given twice");
        const auto number =
            writer->hear({.number = 0, .source = 0, .received = {}, .monotonic_ns = 0, .bytes = "x"});
        fuzz::require(number.has_value() && writer->commit().has_value(), "it writes");
        fuzz::require(read_all(reader) == *number, "and what it writes is read");
    }
    std::filesystem::remove_all(folder);
    return 0;
}
