#pragma once
// A line to its fields.

#include <cstdint>
#include <deque>
#include <string>
#include <string_view>
#include <vector>

#include "intake/dialect.hpp"

namespace backeddy::intake {

enum class SplitState : std::uint8_t {
    whole,
    open_quote,       ///< a quoted field runs over the end of the line
    text_after_quote, ///< something stands between a closing quote and the next delimiter
};

/// The fields of one line; views into the line, or into this object where a quoted field had doubled quotes.
/// Blanks around a field are not part of it; blanks inside quotes are.
class Fields {
  public:
    SplitState split(std::string_view line, Delimiter delimiter, Quoting quoting);
    [[nodiscard]] std::size_t size() const { return fields_.size(); }
    [[nodiscard]] std::string_view operator[](std::size_t i) const { return fields_[i]; }
    [[nodiscard]] auto begin() const { return fields_.begin(); }
    [[nodiscard]] auto end() const { return fields_.end(); }

  private:
    std::vector<std::string_view> fields_;
    std::deque<std::string> unescaped_;
};

[[nodiscard]] char character_of(Delimiter delimiter);

/// Without blanks (space, tab, no-break space) at either end.
[[nodiscard]] std::string_view trimmed(std::string_view text);

} // namespace backeddy::intake
