#include "study/declaration.hpp"

#include <algorithm>
#include <array>
#include <set>

#include <fmt/format.h>

#include "base/hash.hpp"
#include "study/settings.hpp"

namespace backeddy::study {

namespace {

/// "1 May 2026, 09:12 UTC".
std::string day_text(Instant moment) {
    static constexpr std::array<const char*, 12> months{"January",   "February", "March",    "April",
                                                        "May",       "June",     "July",     "August",
                                                        "September", "October",  "November", "December"};
    const auto iso = iso_text(moment); // 2026-05-01T09:12:00Z
    const auto two_digits = [&](std::size_t at) {
        return static_cast<std::size_t>(iso[at] - '0') * 10 + static_cast<std::size_t>(iso[at + 1] - '0');
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

using Rows = std::vector<const Declaration*>;

/// The question's rows by time: of its present form, or of all others.
Rows rows_of(const Question& question, std::span<const Declaration> rows, bool of_present_form) {
    const auto form = form_sha256(question);
    Rows out;
    for (const auto& row : rows) {
        if (row.question == question.name && (row.form_sha256 == form) == of_present_form) {
            out.push_back(&row);
        }
    }
    std::ranges::stable_sort(out, is_earlier);
    return out;
}

/// "; another form of it was declared too, the last on 2 June 2026, 08:00 UTC".
std::string other_forms_text(const Rows& others) {
    if (others.empty()) {
        return {};
    }
    std::set<std::string> forms;
    for (const auto* other : others) {
        forms.insert(other->form_sha256);
    }
    return fmt::format("; {} of it {} declared too, the last on {}",
                       forms.size() == 1 ? "another form" : fmt::format("{} other forms", forms.size()),
                       forms.size() == 1 ? "was" : "were", day_text(others.back()->declared_at));
}

} // namespace

std::string form_sha256(const Question& question) {
    return sha256_hex(std::string_view(question.declared_form()));
}

std::string settings_sha256(const Brief& brief) {
    return sha256_hex(std::string_view(analysis_form(brief)));
}

const Declaration* declaration_of(const Declarable& now, std::span<const Declaration> rows) {
    const auto present = rows_of(now.question, rows, true);
    const auto found =
        std::ranges::find(present, now.settings_sha256, [](const auto* row) { return row->settings_sha256; });
    return found == present.end() ? nullptr : *found;
}

DeclaredState declared_state(const Declarable& now, std::span<const Declaration> rows,
                             std::optional<Instant> first_met) {
    const auto others = rows_of(now.question, rows, false);
    const auto present = rows_of(now.question, rows, true);
    if (present.empty()) {
        return others.empty() ? DeclaredState{Declared::never, "never declared: exploratory"}
                              : DeclaredState{Declared::changed_since, "changed since it was declared on " +
                                                                           when_and_who(*others.back())};
    }
    const auto has_other_settings = [&](const Declaration* row) {
        return !row->settings_sha256.empty() && row->settings_sha256 != now.settings_sha256;
    };
    const auto holds = std::ranges::find_if_not(present, has_other_settings);
    if (holds == present.end()) {
        return {Declared::changed_since,
                fmt::format("settings of the analysis were changed since it was declared on {}{}",
                            when_and_who(*present.back()), other_forms_text(others))};
    }
    DeclaredState out = state_at(**holds, first_met);
    if ((*holds)->settings_sha256.empty()) {
        out.text += "; the settings of the analysis were not recorded then";
    }
    const auto last = std::ranges::find_if(present.rbegin(), present.rend(), has_other_settings);
    if (last != present.rend()) {
        out.text +=
            "; it was declared under other settings too, the last time on " + day_text((*last)->declared_at);
    }
    out.text += other_forms_text(others);
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
