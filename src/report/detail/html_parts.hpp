#pragma once
// What the chapters of the report page are made of. Text is escaped here; cells and contents are HTML
// already.

#include <initializer_list>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace backeddy::report::detail {

/// `text` as it stands in HTML, in elements and in attributes.
[[nodiscard]] std::string html(std::string_view text);

/// "back_in_water" as people say it.
[[nodiscard]] std::string spoken(std::string word);
/// With a capital at its start.
[[nodiscard]] std::string sentence(std::string text);
/// As a sentence of its own: a capital at its start, a full stop at its end.
[[nodiscard]] std::string whole_sentence(std::string text);
[[nodiscard]] std::string joined(const std::vector<std::string>& words, std::string_view between = "; ");

/// Builds one table; cells are HTML already. The caption stands outside of what scrolls on a narrow screen.
class HtmlTable {
  public:
    HtmlTable(std::string_view caption, const std::vector<std::string>& columns);
    void row(const std::vector<std::string>& cells);
    /// A title over the rows that follow; said again for the next row it is not written again.
    void title(const std::string& words);
    /// The table, or `when_empty` as a sentence.
    [[nodiscard]] std::string take(std::string_view when_empty) &&;

  private:
    std::size_t columns_;
    std::string text_;
    std::string last_title_;
    bool is_empty_ = true;
};

/// Folded away until asked for; the script opens it for print.
[[nodiscard]] std::string folded(std::string_view title, std::size_t count, const std::string& content);

/// A place for a figure. `what` names the component; the others are what it reads.
[[nodiscard]] std::string figure(std::string_view what, std::string_view caption,
                                 std::initializer_list<std::pair<std::string_view, std::string>> data = {});

/// A group's name after the colour and the shape of its place, from 0.
[[nodiscard]] std::string group_mark(std::size_t place, std::string_view label);

} // namespace backeddy::report::detail
