#pragma once
// A file for one test, and traces out of it.

#include <filesystem>
#include <fstream>
#include <string>
#include <string_view>

#include <unistd.h>

#include "intake/trace_reader.hpp"

namespace backeddy::intake {

/// Writes `bytes` to a file of its own, which goes with this object.
class WrittenFile {
  public:
    explicit WrittenFile(std::string_view bytes) {
        static int number = 0;
        path_ = std::filesystem::temp_directory_path() /
                ("backeddy_intake_" + std::to_string(::getpid()) + "_" + std::to_string(number++) + ".csv");
        std::ofstream(path_, std::ios::binary) << bytes;
    }
    ~WrittenFile() { std::filesystem::remove(path_); }
    WrittenFile(const WrittenFile&) = delete;
    WrittenFile& operator=(const WrittenFile&) = delete;
    [[nodiscard]] const std::filesystem::path& path() const { return path_; }

  private:
    std::filesystem::path path_;
};

inline Expected<TraceFile> load_text(std::string_view bytes, const ReadSettings& settings = {},
                                     const ReadWork& work = {}) {
    const WrittenFile file(bytes);
    return load_trace(file.path(), settings, work);
}

/// The error's text without the file's name, which differs from run to run.
inline std::string text_of(Error error) {
    error.place.file = error.place.file.empty() ? "" : "f.csv";
    return error.text();
}

inline std::int64_t ns(std::string_view iso) {
    return parse_iso(iso)->unix_nanoseconds();
}

} // namespace backeddy::intake
