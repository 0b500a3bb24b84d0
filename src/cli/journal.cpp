#include <filesystem>
#include <string>

#include <CLI/CLI.hpp>
#include <fmt/format.h>

#include "app/journal.hpp"
#include "app/queue.hpp"
#include "base/file.hpp"
#include "base/temporary_folder.hpp"
#include "cli/commands.hpp"
#include "cli/terminal.hpp"
#include "store/backup.hpp"
#include "store/folder_kind.hpp"
#include "store/journal.hpp"

namespace backeddy::cli {

namespace {

namespace fs = std::filesystem;

struct JournalWords {
    std::string folder;
    std::string copy;
    std::string file;
    bool rehearse = false;
    bool of_another_study = false;
};

Expected<fs::path> journal_of(const std::string& folder) {
    auto ok = is_study(folder);
    return ok ? Expected<fs::path>(fs::path(folder) / store::journal_name) : fail(std::move(ok).error());
}

int show(const JournalWords& words) {
    if (auto file = journal_of(words.folder); !file) {
        return report_error(file.error());
    }
    const auto journal = app::read_journal(words.folder);
    for (std::size_t i = 0; i < journal.entries.size(); ++i) {
        const auto& entry = journal.entries[i];
        fmt::print("{}\t{}\t{} ({})\t{}{}\t{}\t{}\n", i + 1, iso_text(app::moment_of(entry)), entry.author,
                   store::name_of(entry.role), journal.read.entries[i].is_undone ? "undone: " : "", entry.act,
                   entry.content, entry.reason);
    }
    for (const auto& complaint : journal.complaints) {
        fmt::print("beware: {}\n", complaint.error.text());
    }
    fmt::print("{} entries in {}\n", journal.entries.size(),
               (fs::path(words.folder) / store::journal_name).string());
    return study::stops_a_run(journal.complaints) ? exit_complaints : exit_clean;
}

int copy(const JournalWords& words) {
    const auto file = journal_of(words.folder);
    if (!file) {
        return report_error(file.error());
    }
    const auto journal = store::Journal::open(*file);
    if (!journal) {
        return report_error(journal.error());
    }
    if (auto begun = store::begin_copy(*journal, words.copy); !begun) {
        return report_error(begun.error());
    }
    store::Copy following(words.copy);
    const auto& state = following.follow(*journal);
    if (state.trouble) {
        return report_error(*state.trouble);
    }
    const auto last = journal->last_position();
    if (!last) {
        return report_error(last.error());
    }
    if (const auto same = store::same_disk_warning(*file, words.copy)) {
        fmt::print("beware: {}\n", *same);
    }
    fmt::print("{} has all {} entries; `backeddy serve {} --copy-to {}` keeps it so while the program runs\n",
               (fs::path(words.copy) / store::copy_name).string(), static_cast<std::int64_t>(*last),
               shell_word(words.folder), shell_word(words.copy));
    return exit_clean;
}

// A database with the log that belongs to it.
Expected<void> copy_database(const fs::path& from, const fs::path& to) {
    for (const char* ending : {"", "-wal", "-shm"}) {
        std::error_code bad;
        const fs::path file = from.string() + ending;
        if (!fs::exists(file, bad)) {
            continue;
        }
        fs::copy_file(file, to.string() + ending, bad);
        if (bad) {
            return fail({.code = ErrorCode::cannot_write,
                         .found = bad.message(),
                         .expected = "room for a copy to try it on",
                         .place = {.file = to.string()}});
        }
    }
    return {};
}

void print_restored(const store::Restored& restored, bool is_trial) {
    for (const auto& damage : restored.damage) {
        fmt::print("damage: {}\n", damage);
    }
    fmt::print("{} entries read in the journal that {} there, {} more that only the copy had\n",
               restored.from_journal, is_trial ? "is" : "was", restored.from_copy);
    if (!restored.conflicts.empty()) {
        fmt::print("beware: {} entries differ under one id; both are kept, one of them counts\n",
                   restored.conflicts.size());
    }
    if (restored.set_aside && !is_trial) {
        fmt::print("the damaged journal is kept as {}\n", restored.set_aside->string());
    } else if (restored.set_aside) {
        fmt::print("it is damaged: a restore would keep it beside the new one, under another name\n");
    }
}

std::optional<fs::path> copy_file(const JournalWords& words) {
    return words.copy.empty() ? std::nullopt : std::optional(fs::path(words.copy) / store::copy_name);
}

int rehearse(const JournalWords& words, const fs::path& file) {
    const auto trial = TemporaryFolder::make("restore");
    if (!trial) {
        return report_error(trial.error());
    }
    auto copied = copy_database(file, trial->path() / store::journal_name);
    auto from = copy_file(words);
    if (copied && from) {
        copied = copy_database(*from, trial->path() / store::copy_name);
        from = trial->path() / store::copy_name;
    }
    if (!copied) {
        return report_error(copied.error());
    }
    const auto restored = store::restore(trial->path() / store::journal_name, from);
    if (!restored) {
        return report_error(restored.error());
    }
    print_restored(*restored, true);
    fmt::print("rehearsed on copies: nothing in {} has changed\n", words.folder);
    return exit_clean;
}

int restore(const JournalWords& words) {
    const auto file = journal_of(words.folder);
    if (!file) {
        return report_error(file.error());
    }
    if (words.rehearse) {
        return rehearse(words, *file);
    }
    const auto restored = store::restore(*file, copy_file(words));
    if (!restored) {
        return report_error(restored.error());
    }
    print_restored(*restored, false);
    fmt::print("restored: {}\n", file->string());
    return exit_clean;
}

void print_taken(const store::QueueFile& file, const app::TakenIn& taken, const app::PhotosTaken& photos) {
    for (const auto& complaint : taken.complaints) {
        fmt::print("beware: {}\n", complaint.error.text());
    }
    for (const auto& conflict : taken.appended.conflicts) {
        fmt::print("beware: another entry stands under {}; the one of the file is kept aside and does not "
                   "count\n",
                   app::id_text(conflict.kept_aside.id));
    }
    for (const auto& refused : photos.refused) {
        fmt::print("beware: {}\n", refused);
    }
    fmt::print("{} entries of device {}: {} taken in, {} here already\n", file.entries.size(), file.device,
               taken.appended.added, taken.appended.duplicates);
    if (!file.photos.empty()) {
        fmt::print("{} photos: {} taken in, {} here already\n", file.photos.size(), photos.added,
                   photos.were_there);
    }
}

int take_in(const JournalWords& words) {
    if (auto study = journal_of(words.folder); !study) {
        return report_error(study.error());
    }
    const auto text = read_file(words.file, app::most_queue_bytes);
    if (!text) {
        return report_error(text.error());
    }
    const auto file = store::read_queue_file(*text);
    if (!file) {
        return report_error(Error(file.error()).within(words.file));
    }
    app::JournalWriter writer(words.folder, wall_clock);
    const auto identity = writer.identity();
    if (!identity) {
        return report_error(identity.error());
    }
    if (auto ours = app::is_of_study(*file, *identity); !ours && !words.of_another_study) {
        Error error = std::move(ours).error();
        error.remedy += ": --of-another-study";
        return report_error(error);
    }
    const auto taken = writer.take_in(file->entries);
    if (!taken) {
        return report_error(taken.error());
    }
    const auto photos = app::take_in_photos(words.folder, *file);
    print_taken(*file, *taken, photos);
    return taken->appended.conflicts.empty() && photos.refused.empty() ? exit_clean : exit_complaints;
}

} // namespace

void add_journal(CLI::App& program, int& status) {
    auto* command = program.add_subcommand(
        "journal",
        "What people did in the study, as it is kept in DIR/journal.sqlite: to read, to copy, to bring "
        "back.\n\n"
        "  backeddy journal show DIR                        # every entry, a line each\n"
        "  backeddy journal take-in DIR FILE                # a queue file, which a phone wrote that could "
        "not "
        "send\n"
        "  backeddy journal copy DIR /media/stick/voe       # a second journal on another disk, or brings it "
        "up to date\n"
        "  backeddy journal restore DIR --from /media/stick/voe --rehearse   # what a restore would bring "
        "back\n"
        "  backeddy journal restore DIR --from /media/stick/voe\n\n"
        "The copy holds the journal alone. Brief, tables and raw files are plain files: copy the folder.\n"
        "Exit status: 0 done, 1 it cannot be read or written, 2 wrong usage.");
    command->require_subcommand(1);
    auto words = std::make_shared<JournalWords>();
    const auto with_study = [words](CLI::App* each) {
        each->add_option("DIR", words->folder, "the study folder (it holds study.toml)")->required();
    };
    auto* showing = command->add_subcommand("show", "Every entry in its order, tab-separated.");
    with_study(showing);
    showing->callback([words, &status] { status = show(*words); });
    auto* taking = command->add_subcommand(
        "take-in", "Take in the queue file of a phone. What is here already is not taken twice.");
    with_study(taking);
    taking->add_option("FILE", words->file, "the file that the phone wrote")->required();
    taking->add_flag(
        "--of-another-study", words->of_another_study,
        "also where it was written for another journal: this study's, before that was begun anew");
    taking->callback([words, &status] { status = take_in(*words); });
    auto* copying = command->add_subcommand(
        "copy", "Make a copy of the journal in another folder, or bring the one there up to date.");
    with_study(copying);
    copying->add_option("FOLDER", words->copy, "where the copy is, best on another disk")->required();
    copying->callback([words, &status] { status = copy(*words); });
    auto* restoring = command->add_subcommand(
        "restore",
        "Bring back all entries that can be read in the journal and in its copy. A damaged journal "
        "is kept.\nNo program may have the study open meanwhile.");
    with_study(restoring);
    restoring->add_option("--from", words->copy, "the folder with the copy; without it: what is left here");
    restoring->add_flag("--rehearse", words->rehearse,
                        "try it on copies, say what it would bring, change nothing");
    restoring->callback([words, &status] { status = restore(*words); });
}

} // namespace backeddy::cli
