#include "report/detail/page_catch.hpp"

#include <algorithm>
#include <map>

#include <fmt/format.h>

#include "report/detail/html_parts.hpp"

namespace backeddy::report::detail {

namespace {

std::string rig_name(const RigCatch& rig) {
    return rig.rig.empty() ? "rig not written down" : spoken(rig.rig);
}

std::string number_cell(const Number& number) {
    return number.has_value() ? fmt::format("<span class=\"quantity\">{}</span>", html(text_of(number)))
                              : fmt::format("<span class=\"none\">{}</span>", html(number.reason));
}

std::string share_cell(const CatchStep& step) {
    return step.of > 0 ? fmt::format("{} of {}: {}", step.count, step.of, number_cell(step.share_percent))
                       : number_cell(step.share_percent);
}

std::string rig_title(const RigCatch& rig) {
    std::string text = sentence(rig_name(rig));
    text += rig.lines > 0 ? fmt::format(": {} rod-hours on {} {}", bare_text_of(rig.rod_hours), rig.lines,
                                        rig.lines == 1 ? "line" : "lines")
                          : ": " + rig.rod_hours.reason;
    if (rig.never_out > 0) {
        text += fmt::format("; {} more without hours", rig.never_out);
    }
    return text;
}

std::string steps_table(const Fishing& fishing) {
    HtmlTable table("From bite to landing, rig by rig; in brackets exact 95 % limits",
                    {"Step", "Fish", "Share of the step before", "Of them in known hours", "Per rod-hour",
                     "Rate over that of " + rig_name(fishing.rigs.front())});
    for (const RigCatch& rig : fishing.rigs) {
        table.title(rig_title(rig));
        for (const CatchStep& step : rig.steps) {
            table.row({html(sentence(step.title)), fmt::format("{}", step.count), share_cell(step),
                       fmt::format("{}", step.in_hours), number_cell(step.per_rod_hour),
                       number_cell(step.ratio)});
        }
    }
    return std::move(table).take("");
}

/// Counts of the same thing side by side, rig by rig.
class CountTable {
  public:
    CountTable(std::string_view caption, std::string_view what, const std::vector<RigCatch>& rigs)
        : rigs_(rigs.size()), table_(caption, columns(what, rigs)) {}

    void add(const std::string& name, std::size_t rig, std::uint64_t count) {
        auto& row = rows_[name];
        row.resize(rigs_);
        row[rig] += count;
    }
    [[nodiscard]] std::string take() && {
        for (const auto& [name, counts] : rows_) {
            std::vector<std::string> cells{html(sentence(name))};
            for (const auto count : counts) {
                cells.push_back(fmt::format("{}", count));
            }
            table_.row(cells);
        }
        return rows_.empty() ? "" : std::move(table_).take("");
    }

  private:
    static std::vector<std::string> columns(std::string_view what, const std::vector<RigCatch>& rigs) {
        std::vector<std::string> out{std::string(what)};
        for (const RigCatch& rig : rigs) {
            out.push_back(sentence(rig_name(rig)));
        }
        return out;
    }

    std::size_t rigs_;
    HtmlTable table_;
    std::map<std::string, std::vector<std::uint64_t>> rows_;
};

std::string because(const char* what, const CatchCount& count) {
    return fmt::format("{}: {}", what, count.name.empty() ? "how was not written down" : count.name);
}

std::string losses_table(const Fishing& fishing) {
    CountTable table("Bites and hooked fish that went no further", "What", fishing.rigs);
    for (std::size_t place = 0; place < fishing.rigs.size(); ++place) {
        const RigCatch& rig = fishing.rigs[place];
        for (const CatchCount& miss : rig.misses) {
            table.add(because("no hook-up", miss), place, miss.count);
        }
        for (const CatchCount& loss : rig.losses) {
            table.add(because("lost", loss), place, loss.count);
        }
        if (rig.open_ends > 0) {
            table.add("hooked, end not written down", place, rig.open_ends);
        }
    }
    return std::move(table).take();
}

std::string species_table(const Fishing& fishing) {
    CountTable table("Landed, by species", "Species", fishing.rigs);
    for (std::size_t place = 0; place < fishing.rigs.size(); ++place) {
        for (const SpeciesCount& each : fishing.rigs[place].species) {
            const std::string name = each.species.empty() ? "species not written down" : each.species;
            table.add(each.is_bycatch ? name + " (bycatch)" : name, place, each.count);
        }
    }
    return std::move(table).take();
}

} // namespace

std::string catch_part(const Fishing& fishing) {
    std::string text = "<h3 id=\"catch\">The catch, rig by rig</h3>\n";
    if (fishing.rigs.empty()) {
        return text + "<p class=\"none\">The deck's log holds no line, bite or fish: there is no catch to "
                      "count.</p>\n";
    }
    text += steps_table(fishing) + losses_table(fishing) + species_table(fishing);
    for (const std::string& note : fishing.notes) {
        text += fmt::format("<p class=\"note\">{}</p>\n", html(note));
    }
    return text;
}

} // namespace backeddy::report::detail
