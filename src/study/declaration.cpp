#include "study/declaration.hpp"

#include <algorithm>
#include <array>
#include <set>

#include <fmt/format.h>

#include "base/hash.hpp"

namespace backeddy::study {

namespace {

/// "1 May 2026, 09:12 UTC".
std::string day_text(Instant moment) {
    static constexpr std::array<const char*, 12> months{"January",   "February", "March",    "April",
                                                        "May",       "June",     "July",     "August",
                                                        "September", "October",  "November", "December"};
    const auto iso = iso_text(moment); // 2026-05-01T09:12:00Z
    const auto two_digits = [&](std::size_t at) {
        return static_cast<std::size_t>((iso[at] - '0') * 10 + (iso[at + 1] - '0'));
    };
    return fmt::format("{} {} {}, {} UTC", two_digits(8), months.at(two_digits(5) - 1), iso.substr(0, 4),
                       iso.substr(11, 5));
}

std::string when_and_who(const Declaration& row) {
    return day_text(row.declared_at) + (row.author.empty() ? "" : ", by " + row.author);
}

/// The row's own word on what was known when it was written.
DeclaredState state_at(const Declaration& row, std::optional<Instant> first_met) {
    const std::string text = "declared " + when_and_who(row);
    if (row.results_seen) {
        return {Declared::after_results, text + ", after results were seen"};
    }
    if (row.fish_met > 0) {
        return {Declared::before_results,
                fmt::format("{}, with {} fish met and before results were seen", text, row.fish_met)};
    }
    if (first_met && *first_met < row.declared_at) {
        return {Declared::before_results,
                fmt::format("{}, after the first fish was met ({}) and before results were seen", text,
                            day_text(*first_met))};
    }
    return {Declared::before_any_fish, text + ", before the first fish"};
}

bool is_earlier(const Declaration* a, const Declaration* b) {
    return a->declared_at < b->declared_at;
}

/// The question's rows: of its present form, or of all others.
std::vector<const Declaration*> rows_of(const Question& question, std::span<const Declaration> rows,
                                        bool of_present_form) {
    const auto form = form_sha256(question);
    std::vector<const Declaration*> out;
    for (const auto& row : rows) {
        if (row.question == question.name && (row.form_sha256 == form) == of_present_form) {
            out.push_back(&row);
        }
    }
    std::ranges::stable_sort(out, is_earlier);
    return out;
}

} // namespace

std::string form_sha256(const Question& question) {
    return sha256_hex(std::string_view(question.declared_form()));
}

const Declaration* declaration_of(const Question& question, std::span<const Declaration> rows) {
    const auto present = rows_of(question, rows, true);
    return present.empty() ? nullptr : present.front();
}

DeclaredState declared_state(const Question& question, std::span<const Declaration> rows,
                             std::optional<Instant> first_met) {
    const auto others = rows_of(question, rows, false);
    const Declaration* row = declaration_of(question, rows);
    if (row == nullptr) {
        return others.empty() ? DeclaredState{Declared::never, "never declared: exploratory"}
                              : DeclaredState{Declared::changed_since, "changed since it was declared on " +
                                                                           when_and_who(*others.back())};
    }
    DeclaredState out = state_at(*row, first_met);
    if (!others.empty()) {
        std::set<std::string> forms;
        for (const auto* other : others) {
            forms.insert(other->form_sha256);
        }
        out.text +=
            fmt::format("; {} of it {} declared too, the last on {}",
                        forms.size() == 1 ? "another form" : fmt::format("{} other forms", forms.size()),
                        forms.size() == 1 ? "was" : "were", day_text(others.back()->declared_at));
    }
    return out;
}

std::optional<Instant> first_met(const Tables& tables) {
    std::optional<Instant> out;
    const auto take = [&](Instant moment) { out = out && *out < moment ? *out : moment; };
    for (const auto& row : tables.encounters) {
        if (row.at) {
            take(*row.at);
        }
    }
    for (const auto& stay : tables.stays) {
        if (stay.has_fish()) {
            take(stay.from());
        }
    }
    return out;
}

} // namespace backeddy::study
