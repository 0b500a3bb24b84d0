#include "condition/plate_well.hpp"

#include <algorithm>

#include "base/lower_case.hpp"

namespace backeddy::condition {

std::string well_name(std::size_t row, std::size_t column) {
    std::string letters;
    for (std::size_t left = row; left > 0; left = (left - 1) / 26) {
        letters.insert(letters.begin(), static_cast<char>('A' + ((left - 1) % 26)));
    }
    return letters + std::to_string(column);
}

std::optional<std::size_t> row_of_letters(std::string_view letters) {
    if (letters.empty() || letters.size() > 2) {
        return std::nullopt;
    }
    std::size_t row = 0;
    for (const char c : letters) {
        const char letter = lower_letter(c);
        if (letter < 'a' || letter > 'z') {
            return std::nullopt;
        }
        row = (row * 26) + static_cast<std::size_t>(letter - 'a') + 1;
    }
    return row;
}

std::optional<WellPlace> well_place(std::string_view name) {
    const std::size_t digits_at = std::min(name.find_first_of("0123456789"), name.size());
    const auto row = row_of_letters(name.substr(0, digits_at));
    const std::string_view digits = name.substr(digits_at);
    if (!row || digits.empty() || digits.size() > 3) {
        return std::nullopt;
    }
    std::size_t column = 0;
    for (const char c : digits) {
        if (c < '0' || c > '9') {
            return std::nullopt;
        }
        column = (column * 10) + static_cast<std::size_t>(c - '0');
    }
    return column == 0 ? std::nullopt : std::optional(WellPlace{.row = *row, .column = column});
}

} // namespace backeddy::condition
