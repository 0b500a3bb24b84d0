#include "app/run.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "app/brief_text.hpp"
#include "app/column_doubts.hpp"
#include "app/control_doubts.hpp"
#include "app/followers.hpp"
#include "app/hide.hpp"
#include "app/journal.hpp"
#include "app/photos.hpp"
#include "app/questions.hpp"
#include "app/result_set.hpp"
#include "app/stay_doubts.hpp"
#include "app/version.hpp"
#include "base/file.hpp"
#include "base/hash.hpp"
#include "intake/brief.hpp"
#include "study/permit.hpp"
#include "study/relations.hpp"

namespace backeddy::app {

namespace fs = std::filesystem;

namespace {

report::Input input_of(const intake::TableSummary& table) {
    report::Input out{.path = table.file,
                      .kind = "table",
                      .sha256 = table.sha256,
                      .bytes = table.bytes,
                      .understood = table.understood,
                      .rows_kept = table.rows - table.refused,
                      .rows_refused = table.refused};
    if (!table.free_columns.empty()) {
        out.understood.push_back(
            fmt::format("columns of the study's own: {}", fmt::join(table.free_columns, ", ")));
    }
    return out;
}

void take(std::vector<study::Complaint>& all, std::vector<study::Complaint> more) {
    all.insert(all.end(), std::make_move_iterator(more.begin()), std::make_move_iterator(more.end()));
}

/// The folder's tables with the journal's edits over them.
struct EditedTables {
    intake::TablesRead read;
    std::optional<report::Input> journal;
};

EditedTables read_edited_tables(const fs::path& folder, const study::Brief& brief) {
    auto journal = read_journal(folder);
    EditedTables out{.read = intake::read_tables(folder, brief, journal.read.edits()),
                     .journal = std::move(journal.input)};
    take(out.read.complaints, std::move(journal.complaints));
    return out;
}

void add_inputs(std::vector<report::Input>& inputs, const EditedTables& tables) {
    for (const auto& table : tables.read.summaries) {
        if (table.exists) {
            inputs.push_back(input_of(table));
        }
    }
    if (tables.journal) {
        inputs.push_back(*tables.journal);
    }
}

std::string severity_word(study::Severity severity) {
    return severity == study::Severity::stops_the_run ? "stops the run" : "beware";
}

} // namespace

Expected<OpenedStudy> open_study(const fs::path& folder, const Work& work) {
    const fs::path brief_path = folder / "study.toml";
    auto text = read_file(brief_path, most_brief_bytes);
    if (!text) {
        Error error = std::move(text).error();
        error.remedy = "name a study folder, or make one with: backeddy new DIR";
        return fail(std::move(error));
    }
    OpenedStudy out; // not .folder = folder here: GCC 12 then warns of its own clean-up (maybe-uninitialized)
    out.folder = folder;
    auto brief = intake::read_brief(*text, "study.toml");
    out.study.brief = std::move(brief.brief);
    out.beside = std::move(brief.complaints);
    out.tables.push_back({.path = "study.toml",
                          .kind = "brief",
                          .sha256 = sha256_hex(std::string_view(*text)),
                          .bytes = text->size()});

    auto tables = read_edited_tables(folder, out.study.brief);
    out.study.tables = std::move(tables.read.tables);
    take(out.complaints, std::move(tables.read.complaints));
    add_inputs(out.tables, tables);
    take(out.complaints, study::check_relations(out.study.brief, out.study.tables));
    take(out.beside, study::check_permit(out.study.brief, out.study.tables));
    take(out.beside, check_photos(folder, out.study.tables.events));
    take(out.beside, control_doubts(out.study));
    take(out.beside, column_doubts(out.study));
    out.traces = read_raw_traces(folder, out.study, work.threads, work.progress);
    take(out.beside, std::move(out.traces.complaints));
    out.plates = answer_plates(folder, out.study);
    take(out.beside, std::move(out.plates.complaints));
    take(out.complaints, out.beside);
    study::sort_by_place(out.complaints);
    out.followers = drop_followers(out.complaints, out.study, out.traces);
    return out;
}

namespace {
/// Of each file and reason: a person looks at a few, and at the lines of all.
constexpr std::size_t refused_rows_in_check = 5;
} // namespace

std::string check_text(const OpenedStudy& opened, const SeenStates& states) {
    std::string out;
    const auto say = [&](const std::vector<std::string>& lines) {
        for (const auto& line : lines) {
            out += fmt::format("    {}\n", line);
        }
    };
    const auto add = [&](const report::Input& input) {
        out += fmt::format("{} ({})\n", input.path, input.kind);
        say(input.understood);
        if (input.kind == "table") {
            out += fmt::format("    {} rows kept, {} refused\n", input.rows_kept.value_or(0),
                               input.rows_refused.value_or(0));
        }
    };
    for (const auto& input : opened.tables) {
        add(input);
    }
    for (std::size_t i = 0; i < opened.traces.files.size(); ++i) {
        out += fmt::format("{} (trace)\n", opened.traces.files[i].path);
        say(understood_of(opened.traces.files[i], refused_rows_in_check));
        if (i < states.by_file.size()) {
            say(states.by_file[i]);
        }
    }
    for (const auto& plate : opened.plates.list) {
        if (plate.input) {
            add(*plate.input);
        }
    }
    std::size_t stopping = 0;
    for (const auto& complaint : opened.complaints) {
        out += fmt::format("{}: {}\n", severity_word(complaint.severity), complaint.error.text());
        stopping += complaint.severity == study::Severity::stops_the_run ? 1 : 0;
    }
    if (opened.followers > 0) {
        out += followers_text(opened.followers) + "\n";
    }
    const auto& tables = opened.study.tables;
    out += fmt::format("{} fish, {} stays, {} raw files; {} a run, {} to beware of\n", tables.fish.size(),
                       tables.stays.size(), opened.traces.files.size(),
                       stopping == 1 ? std::string("1 complaint that stops")
                                     : fmt::format("{} complaints that stop", stopping),
                       opened.complaints.size() - stopping);
    return out;
}

namespace {

bool changes_numbers(const study::Decision& decision) {
    return decision.act != study::DecisionAct::note;
}

std::unique_ptr<WithoutActs> without_acts(const Study& study, const StudyRun& run, const Work& work) {
    auto out = std::make_unique<WithoutActs>();
    auto undone = without_human_acts(run.stays, work.threads);
    out->stays = std::move(undone.stays);
    out->fish = of_copied_stays(run.fish, run.stays, out->stays);
    answer_fish_again(study, out->stays, undone.is_changed, out->fish, work.threads, work.progress);
    return out;
}

// Everything after the fish: the numbers without human acts, complaints, and what results are made of.
void finish(OpenedStudy& opened, StudyRun& run, const Work& work) {
    const bool any_human = std::any_of(run.stays.list.begin(), run.stays.list.end(), has_human_acts);
    if (any_human && !run.without) {
        run.without = without_acts(opened.study, run, work);
    }
    const auto* without = any_human ? &run.without->fish : nullptr;
    work.progress("questions", 0, 0, "");
    run.findings = answer_questions(opened.study, run.condition, run.fish, without, run.asked, work.threads,
                                    work.progress);
    run.complaints = opened.complaints;
    take(run.complaints, run.chambers.complaints);
    take(run.complaints, stay_doubts(opened.study, run.chambers, run.stays.list, work.threads));
    take(run.complaints, unheard_decisions(run.stays.list));
    take(run.complaints, refused_moves(run.stays.list));
    take(run.complaints, late_events(opened.study, run.stays.list));
    study::sort_by_place(run.complaints);
    run.followers = opened.followers + drop_followers(run.complaints, opened.study, opened.traces);
    run.answers = std::make_unique<Answers>(Answers{.study = opened.study,
                                                    .tables = opened.tables,
                                                    .traces = opened.traces,
                                                    .chambers = run.chambers,
                                                    .stays = run.stays,
                                                    .plates = opened.plates,
                                                    .condition = run.condition,
                                                    .fish = run.fish,
                                                    .curves = run.curves,
                                                    .without = without,
                                                    .findings = run.findings,
                                                    .complaints = run.complaints,
                                                    .program_version = program_version,
                                                    .threads = work.threads});
}

} // namespace

std::unique_ptr<StudyRun> run_study(OpenedStudy& opened, const Work& work) {
    auto run = std::make_unique<StudyRun>();
    work.progress("chambers", 0, 0, "");
    run->chambers = build_chambers(opened.study, opened.traces, work.threads);
    run->stays = answer_stays(opened.study, run->chambers, work.threads, work.progress);
    run->fish = answer_fish(opened.study, run->stays, work.threads, work.progress);
    run->condition = answer_condition(opened.study, opened.plates);
    work.progress("curves", 0, 0, "");
    run->curves = continuous_of(opened.study, run->chambers, run->stays, work.threads);
    finish(opened, *run, work);
    return run;
}

std::vector<study::Complaint> take_new_decisions(OpenedStudy& opened) {
    auto tables = read_edited_tables(opened.folder, opened.study.brief);
    auto complaints = opened.beside;
    take(complaints, std::move(tables.read.complaints));
    take(complaints, study::check_relations(opened.study.brief, tables.read.tables));
    study::sort_by_place(complaints);
    if (study::stops_a_run(complaints)) {
        return complaints;
    }
    opened.study.tables.decisions = std::move(tables.read.tables.decisions);
    opened.complaints = std::move(complaints);
    opened.tables.resize(1); // the brief
    add_inputs(opened.tables, tables);
    return {};
}

void answer_again(OpenedStudy& opened, StudyRun& run, const Work& work) {
    const auto& decisions = opened.study.tables.decisions;
    if (!run.without && std::any_of(decisions.begin(), decisions.end(), changes_numbers)) {
        // The first of them: as it is now, the study is without.
        run.without = std::make_unique<WithoutActs>(WithoutActs{.stays = run.stays, .fish = {}});
        run.without->fish = of_copied_stays(run.fish, run.stays, run.without->stays);
    }
    const auto is_changed = answer_stays_again(opened.study, run.stays, work.threads, work.progress);
    answer_fish_again(opened.study, run.stays, is_changed, run.fish, work.threads, work.progress);
    work.progress("curves", 0, 0, "");
    renew_curves(opened.study, run.chambers, run.stays, is_changed, work.threads, run.curves);
    finish(opened, run, work);
}

Expected<Answering> answer_study(const fs::path& folder, bool hide_treatment, const Work& work) {
    auto opened = open_study(folder, work);
    if (!opened) {
        return fail(std::move(opened).error());
    }
    Answering out;
    if (study::stops_a_run(opened->complaints)) {
        out.refusal = {.complaints = std::move(opened->complaints), .followers = opened->followers};
        return out;
    }
    auto answered = std::make_unique<AnsweredStudy>();
    answered->opened = std::move(*opened);
    if (hide_treatment) {
        hide_treatments(answered->opened);
    }
    answered->run = run_study(answered->opened, work);
    if (study::stops_a_run(answered->run->complaints)) {
        out.refusal = {.complaints = std::move(answered->run->complaints),
                       .followers = answered->run->followers};
        return out;
    }
    out.study = std::move(answered);
    return out;
}

Expected<void> write_results(const StudyRun& run, const fs::path& folder, const std::string& log) {
    auto files = ResultSet(run).all(run.answers->threads);
    if (!log.empty()) {
        files.push_back({"run.log", log});
    }
    return replace_result_folder(folder, files);
}

} // namespace backeddy::app
