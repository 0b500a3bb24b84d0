// Writes the invented study's report, document and tables: for looking at pages and for the fixture of web/
// (tests/fixture/results.json: 5 fish, 40 slices, 20 s, 4 h).
//
//   report_example OUT [FISH] [SLICES] [STEP_S] [NIGHT_H] [NIGHT_H]

#include <cstdlib>
#include <filesystem>
#include <iostream>
#include <string>

#include "base/file.hpp"
#include "report/invented_study.hpp"
#include "report/json.hpp"
#include "report/page.hpp"
#include "report/tables.hpp"

int main(int count, char** words) {
    if (count < 2) {
        std::cerr << "usage: report_example OUT [FISH] [SLICES] [STEP_S] [NIGHT_H] [NIGHT_H]\n";
        return 2;
    }
    namespace report = backeddy::report;
    const auto whole = [&](int i, std::size_t otherwise) {
        return count > i ? static_cast<std::size_t>(std::atoll(words[i])) : otherwise;
    };
    const report::Results results =
        report::invented_study({.fish = whole(2, 6),
                                .night_h = static_cast<double>(whole(5, 14)),
                                .reading_every_s = static_cast<double>(whole(4, 2)),
                                .drawn_slices = whole(3, 300)});
    const std::filesystem::path out = words[1];
    std::filesystem::create_directories(out);
    const std::pair<const char*, std::string> files[] = {
        {"results.json", report::json_text(results)},
        {"report.html", report::report_page(results)},
        {"uptake_by_spell.csv", report::spell_table(results)},
        {"uptake_by_stay.csv", report::stay_table(results)},
        {"uptake_by_fish.csv", report::fish_table(results)},
        {"catch_by_rig.csv", report::catch_table(results)},
        {"findings.csv", report::findings_table(results)},
        {"condition_by_fish.csv", report::condition_table(results)},
        {"blood_by_value.csv", report::blood_table(results)},
        {"plate_by_material.csv", report::plate_table(results)}};
    for (const auto& [name, text] : files) {
        if (const auto written = backeddy::write_file_whole(out / name, text); !written) {
            std::cerr << written.error().text() << "\n";
            return 1;
        }
    }
    return 0;
}
