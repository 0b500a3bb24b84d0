#pragma once
// JSON written as it is produced: no tree in memory for a season's spells, and numbers by the program's one
// formatter.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "series/instant.hpp"

namespace backeddy::report {

/// `text` as a JSON string with its quotes. `<` and `>` are written as escapes, so that the text can stand
/// inside an HTML script element whatever it holds; bytes that are no UTF-8 become U+FFFD.
[[nodiscard]] std::string json_string(std::string_view text);

/// Writes one document in order. Containers down to `open_depth` have an entry per line, deeper ones stand on
/// one line.
class JsonStream {
  public:
    explicit JsonStream(int open_depth) : open_depth_(open_depth) {}
    /// One value alone, laid out as within `depth` containers of such a document: to stand there as a
    /// literal.
    JsonStream(int open_depth, int depth) : open_depth_(open_depth), depth_(depth), after_key_(true) {}

    void begin_object() { begin('{'); }
    void end_object() { end('}'); }
    void begin_array() { begin('['); }
    void end_array() { end(']'); }
    /// The name of the next value.
    void key(std::string_view name);

    void value(std::string_view text);
    void value(const std::string& text) { value(std::string_view(text)); }
    void value(const char* text) { value(std::string_view(text)); }
    /// Shortest text that reads back the same; null for NaN and infinities.
    void value(double number);
    void value(std::uint64_t number);
    void value(std::uint32_t number) { value(std::uint64_t{number}); }
    void value(bool truth);
    void value(Instant moment);
    void null();
    /// A number already rounded: `text` must be JSON.
    void literal(std::string_view text);

    [[nodiscard]] std::string take() && { return std::move(text_); }

  private:
    void begin(char bracket);
    void end(char bracket);
    void separate();
    void new_line();

    int open_depth_;
    int depth_ = 0;
    bool is_first_ = true;
    bool after_key_ = false;
    std::string text_;
};

} // namespace backeddy::report
