#include "app/result_set.hpp"

#include <algorithm>
#include <utility>

#include "app/run.hpp"
#include "report/json.hpp"
#include "report/page.hpp"
#include "report/tables.hpp"

namespace backeddy::app {

namespace {

struct Writer {
    const char* name;
    std::string (*text)(const report::Results&);
};

constexpr std::string_view document_name = "results.json";

constexpr Writer writers[] = {
    {"report.html", [](const report::Results& all) { return report::report_page(all); }},
    {"uptake_by_spell.csv", [](const report::Results& all) { return report::spell_table(all); }},
    {"uptake_by_stay.csv", [](const report::Results& all) { return report::stay_table(all); }},
    {"uptake_by_fish.csv", [](const report::Results& all) { return report::fish_table(all); }},
    {"catch_by_rig.csv", [](const report::Results& all) { return report::catch_table(all); }},
    {"findings.csv", [](const report::Results& all) { return report::findings_table(all); }},
    {"condition_by_fish.csv", [](const report::Results& all) { return report::condition_table(all); }},
    {"blood_by_value.csv", [](const report::Results& all) { return report::blood_table(all); }},
    {"plate_by_material.csv", [](const report::Results& all) { return report::plate_table(all); }}};

} // namespace

ResultSet::ResultSet(const StudyRun& run, const ResultSet* earlier) : threads_(run.answers->threads) {
    static_assert(1 + std::size(writers) == written_late);
    if (earlier != nullptr) {
        (void)earlier->file(document_name); // its texts are then there
    }
    document_ = document_of(*run.answers, earlier == nullptr ? nullptr : &earlier->document_);
    files_.push_back({.name = std::string(document_name), .bytes = {}});
    for (const auto& writer : writers) {
        files_.push_back({.name = writer.name, .bytes = {}});
    }
    if (auto refused = refused_rows_table(run.answers->traces); !refused.empty()) {
        files_.push_back({.name = "refused_rows.csv", .bytes = std::move(refused)});
    }
}

ResultSet::ResultSet(std::vector<ResultFile> written) : is_written_(true), files_(std::move(written)) {}

void ResultSet::write(std::size_t i) const {
    if (is_written_ || i >= written_late) {
        return;
    }
    std::call_once(once_[i], [&] {
        files_[i].bytes =
            i == 0 ? report::json_text(document_.results, report::Detail::whole, threads_, document_.texts)
                   : writers[i - 1].text(document_.results);
    });
}

const ResultFile* ResultSet::file(std::string_view name) const {
    const auto found = std::ranges::find(files_, name, &ResultFile::name);
    if (found == files_.end()) {
        return nullptr;
    }
    write(static_cast<std::size_t>(found - files_.begin()));
    return &*found;
}

const std::vector<ResultFile>& ResultSet::all(Threads threads) const {
    parallel_for(files_.size(), threads, [&](std::size_t i) { write(i); });
    return files_;
}

} // namespace backeddy::app
