#include "report/detail/html_parts.hpp"

#include <algorithm>

#include <fmt/format.h>

#include "base/html_text.hpp"

namespace backeddy::report::detail {

std::string html(std::string_view text) {
    return html_text(text);
}

std::string spoken(std::string word) {
    std::ranges::replace(word, '_', ' ');
    return word;
}

std::string sentence(std::string text) {
    if (!text.empty() && text[0] >= 'a' && text[0] <= 'z') {
        text[0] = static_cast<char>(text[0] - 'a' + 'A');
    }
    return text;
}

std::string whole_sentence(std::string text) {
    text = sentence(std::move(text));
    return text.empty() || text.ends_with('.') ? text : text + ".";
}

std::string joined(const std::vector<std::string>& words, std::string_view between) {
    std::string text;
    for (const std::string& word : words) {
        text += (text.empty() ? "" : std::string(between)) + word;
    }
    return text;
}

HtmlTable::HtmlTable(std::string_view caption, const std::vector<std::string>& columns)
    : columns_(columns.size()) {
    text_ = fmt::format("<div class=\"table\" role=\"group\" aria-label=\"{0}\"><p class=\"caption\">{0}</p>"
                        "<div class=\"scroll\" tabindex=\"0\"><table><thead><tr>",
                        html(caption));
    for (const std::string& column : columns) {
        text_ += fmt::format("<th scope=\"col\">{}</th>", html(column));
    }
    text_ += "</tr></thead><tbody>\n";
}

void HtmlTable::row(const std::vector<std::string>& cells) {
    text_ += "<tr>";
    for (std::size_t i = 0; i < cells.size(); ++i) {
        text_ += i == 0 ? "<th scope=\"row\">" + cells[i] + "</th>" : "<td>" + cells[i] + "</td>";
    }
    text_ += "</tr>\n";
    is_empty_ = false;
}

void HtmlTable::title(const std::string& words) {
    if (words != last_title_) {
        text_ += fmt::format("<tr class=\"title\"><th scope=\"rowgroup\" colspan=\"{}\">{}</th></tr>\n",
                             columns_, html(words));
        last_title_ = words;
    }
}

std::string HtmlTable::take(std::string_view when_empty) && {
    return is_empty_ ? fmt::format("<p class=\"none\">{}</p>\n", html(when_empty))
                     : text_ + "</tbody></table></div></div>\n";
}

std::string folded(std::string_view title, std::size_t count, const std::string& content) {
    return fmt::format("<details><summary>{} <span class=\"count\">({})</span></summary>\n{}</details>\n",
                       html(title), count, content);
}

std::string figure(std::string_view what, std::string_view caption,
                   std::initializer_list<std::pair<std::string_view, std::string>> data) {
    std::string attributes;
    for (const auto& [name, value] : data) {
        attributes += fmt::format(" data-{}=\"{}\"", name, html(value));
    }
    return fmt::format(
        "<figure class=\"figure\" data-figure=\"{}\"{}><div class=\"drawing\"><p class=\"wait\">The figure "
        "is drawn when it comes into view.</p></div><figcaption>{}</figcaption></figure>\n",
        what, attributes, html(caption));
}

std::string group_mark(std::size_t place, std::string_view label) {
    return fmt::format("<span class=\"group group-{}\">{}</span>", place % 4,
                       html(spoken(std::string(label))));
}

} // namespace backeddy::report::detail
