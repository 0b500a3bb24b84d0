#include "app/desk.hpp"

#include <algorithm>
#include <chrono>
#include <condition_variable>
#include <iterator>
#include <map>
#include <mutex>
#include <set>
#include <shared_mutex>
#include <thread>
#include <utility>

#include <fmt/format.h>

#include "app/brief_text.hpp"
#include "app/folder_watch.hpp"
#include "app/kept_results.hpp"
#include "app/photos.hpp"
#include "app/run.hpp"
#include "app/stretch.hpp"
#include "app/why.hpp"
#include "intake/brief.hpp"

namespace backeddy::app {

namespace {

constexpr std::chrono::milliseconds tell_every{200};
constexpr std::size_t points_of_stretch = 2400;
constexpr std::chrono::seconds most_patience{5};
constexpr std::string_view document_name = "results.json";

Error no_answer_yet() {
    return {.code = ErrorCode::too_few,
            .found = "this study has no answer yet",
            .expected = "one that has been computed",
            .remedy = "wait until it is ready, or mend what stops it"};
}

Expected<const StayAnswer*> stay_named(const StudyRun& run, const std::string& name) {
    std::vector<std::string> names;
    for (const auto& stay : run.stays.list) {
        names.push_back(stay.stay->id.text());
        if (names.back() == name) {
            return &stay;
        }
    }
    const auto near = nearest_name(name, names);
    return fail({.code = ErrorCode::unknown_name,
                 .found = fmt::format("no stay \"{}\"", name),
                 .expected = "a stay of stays.csv",
                 .remedy = near ? fmt::format("did you mean \"{}\"?", *near) : ""});
}

/// Tables that edits of one list and not of the other change. An entry from elsewhere takes its place between
/// those that were there, and all behind it then stand at other places: they are told by id and place.
std::set<study::TableName> differing_tables(const study::Edits& a, const study::Edits& b) {
    const auto placed = [](const study::Edits& edits) {
        std::map<std::pair<std::string, std::uint64_t>, study::TableName> out;
        for (const auto& edit : edits) {
            out.emplace(std::pair(edit.id, edit.number), edit.table);
        }
        return out;
    };
    const auto in_a = placed(a);
    const auto in_b = placed(b);
    std::vector<std::pair<std::pair<std::string, std::uint64_t>, study::TableName>> differing;
    std::ranges::set_symmetric_difference(in_a, in_b, std::back_inserter(differing));
    std::set<study::TableName> out;
    for (const auto& each : differing) {
        out.insert(each.second);
    }
    return out;
}

} // namespace

std::string_view word(DeskPhase phase) {
    switch (phase) {
    case DeskPhase::reading:
        return "reading";
    case DeskPhase::computing:
        return "computing";
    case DeskPhase::ready:
        return "ready";
    case DeskPhase::stopped:
        return "stopped";
    }
    return "";
}

// The thread and what it shares. `state_` and `answer_` change under one short lock; `study_`, which readers
// may look into for a while, has a lock of its own.
class Desk::Worker {
  public:
    explicit Worker(DeskWish wish)
        : wish_(std::move(wish)), watch_(wish_.folder, wish_.folder / "results"),
          writer_(wish_.folder, wish_.now), thread_([this](const std::stop_token& stop) { work(stop); }) {}

    [[nodiscard]] DeskState state() const {
        const std::lock_guard lock(guard_);
        return state_;
    }

    [[nodiscard]] std::shared_ptr<const DeskAnswer> answer() const {
        const std::lock_guard lock(guard_);
        return answer_;
    }

    template <typename Look>
    [[nodiscard]] auto look(const Look& at) const -> decltype(at(std::declval<const StudyRun&>())) {
        std::shared_lock lock(study_guard_);
        if (!study_ && answer()) {
            // Results that were kept are shown, and what they were made of is there in a moment.
            study_there_.wait_for(lock, most_patience, [this] { return study_ != nullptr; });
        }
        if (!study_) {
            return fail(no_answer_yet());
        }
        return at(*study_->run);
    }

    /// Of a trace of the study that is held; made when it is first asked for. Within look().
    [[nodiscard]] const report::TracePyramid& pyramid_of(const uptake::ChamberTrace& trace) const {
        const std::lock_guard lock(pyramid_guard_);
        return pyramids_.try_emplace(&trace, trace).first->second;
    }

    Expected<std::vector<store::EntryId>> write(const std::vector<Wished>& wishes, const Author& author) {
        const std::lock_guard writing(writer_guard_);
        auto ids = writer_.write(wishes, author);
        if (ids) {
            wake();
        }
        return ids;
    }

    Expected<TakenIn> take_in(std::span<const store::Entry> entries) {
        const std::lock_guard writing(writer_guard_);
        auto taken = writer_.take_in(entries);
        // Also after an error: of several parts the first may be in.
        wake();
        return taken;
    }

    [[nodiscard]] JournalRead journal() const { return read_journal(wish_.folder); }

    Expected<std::string> identity() {
        const std::lock_guard writing(writer_guard_);
        return writer_.identity();
    }

    [[nodiscard]] const std::filesystem::path& folder() const { return wish_.folder; }
    [[nodiscard]] Instant now() const { return wish_.now(); }

    bool ends_within(std::chrono::milliseconds patience) {
        thread_.request_stop();
        std::unique_lock lock(pause_guard_);
        return ended_.wait_for(lock, patience, [this] { return has_ended_; });
    }

  private:
    void wake() {
        {
            const std::lock_guard lock(pause_guard_);
            is_written_ = true;
        }
        pause_.notify_one();
    }

    void work(const std::stop_token& stop) {
        show_kept();
        answer_all();
        while (!stop.stop_requested()) {
            bool is_written = false;
            {
                std::unique_lock lock(pause_guard_);
                pause_.wait_for(lock, stop, look_every, [this] { return is_written_; });
                is_written = std::exchange(is_written_, false);
            }
            if (stop.stop_requested()) {
                break;
            }
            if (const auto changed = watch_.changed(); is_written || !changed.empty()) {
                answer(changed);
            } else {
                keep();
            }
        }
        keep();
        {
            const std::lock_guard lock(pause_guard_);
            has_ended_ = true;
        }
        ended_.notify_all();
    }

    // The files of the journal change with every entry of our own, and again a moment later: what it says is
    // looked at, not its files.
    void answer(std::set<std::string> changed) {
        if (!misses_photos()) {
            std::erase_if(changed, [](const std::string& file) {
                return file.starts_with(std::string(photos_name) + "/");
            });
        }
        const auto journal = read_journal(wish_.folder);
        const auto edits = journal.read.edits();
        bool only_decisions = std::ranges::all_of(changed, [](const std::string& file) {
            return file == "decisions.csv" || file.starts_with(store::journal_name);
        });
        const auto differing = differing_tables(edits, answered_edits_);
        for (const auto table : differing) {
            only_decisions = only_decisions && table == study::TableName::decisions;
        }
        // An entry from elsewhere may change no table, and yet there is something to say of it.
        only_decisions = only_decisions && journal.complaints == answered_complaints_;
        if (only_decisions && differing.empty() && !changed.contains("decisions.csv")) {
            look_at(journal);
            if (journal.entries.size() != state().entries) {
                change([this](DeskState& state) { state.entries = entries_; });
            }
            return;
        }
        if (only_decisions && study_ && phase() == DeskPhase::ready) {
            look_at(journal);
            answer_decisions();
        } else {
            answer_all();
        }
    }

    // Results of an earlier time that still hold: to be looked at while the study is computed.
    void show_kept() {
        auto kept = kept_results(wish_.folder, wish_.threads);
        const auto brief = kept ? read_brief_text(wish_.folder) : fail(Error{});
        if (!brief) {
            return;
        }
        auto title = intake::read_brief(brief->text, brief_name).brief.study.title;
        const auto answer = std::make_shared<DeskAnswer>(1, wish_.now(), std::move(title), std::move(*kept));
        if (answer->results.file(document_name) == nullptr) {
            return;
        }
        change([&](DeskState& state) {
            state.answered_at = answer->at;
            state.revision = answer->revision;
            answer_ = answer;
        });
    }

    // Before the answer is made: an entry that comes in between is answered for again.
    void look_at(const JournalRead& journal) {
        answered_edits_ = journal.read.edits();
        answered_complaints_ = journal.complaints;
        answered_journal_ = journal_sha256(journal);
        entries_ = journal.entries.size();
    }

    /// Whether an event of the latest answer names a photo that was not there.
    [[nodiscard]] bool misses_photos() const {
        return std::ranges::any_of(state().complaints,
                                   [](const auto& each) { return each.error.place.column == "photo"; });
    }

    void answer_all() {
        look_at(read_journal(wish_.folder));
        change([](DeskState& state) { state.phase = DeskPhase::reading; });
        auto answered = answer_study(wish_.folder, false, job());
        if (!answered) {
            stop_with({.complaints = {{.error = std::move(answered).error()}}});
        } else if (!answered->study) {
            stop_with(std::move(answered->refusal));
        } else {
            {
                const std::unique_lock lock(study_guard_);
                study_ = std::move(answered->study);
                pyramids_.clear();
            }
            study_there_.notify_all();
            publish();
        }
    }

    void answer_decisions() {
        change([](DeskState& state) { state.phase = DeskPhase::computing; });
        std::vector<study::Complaint> complaints;
        {
            const std::unique_lock lock(study_guard_);
            complaints = take_new_decisions(study_->opened);
            if (!study::stops_a_run(complaints)) {
                answer_again(study_->opened, *study_->run, job());
            }
        }
        if (study::stops_a_run(complaints)) {
            stop_with({.complaints = std::move(complaints)});
        } else {
            publish();
        }
    }

    void stop_with(Refusal refusal) {
        change([&](DeskState& state) {
            state.phase = DeskPhase::stopped;
            state.complaints = std::move(refusal.complaints);
            state.followers = refusal.followers;
            state.entries = entries_;
        });
    }

    // Only this thread changes study_, so that it may be read here without a lock.
    void publish() {
        const StudyRun& run = *study_->run;
        const auto earlier = this->answer();
        auto answer = std::make_shared<DeskAnswer>(
            state().revision + 1, wish_.now(), study_->opened.study.brief.study.title, run, earlier.get());
        const auto& document = answer->results.file(document_name)->bytes; // the pages will ask for it first
        complaints_ = run.complaints;
        if (earlier && earlier->results.was_written_before() &&
            document == earlier->results.file(document_name)->bytes) {
            // What was kept is what was computed: nothing is new to who has it.
            answer->revision = earlier->revision;
            answer->at = earlier->at;
        } else {
            unkept_ = answer;
        }
        if (answer->revision == 1) {
            keep();
        }
        change([&](DeskState& state) {
            state.phase = DeskPhase::ready;
            state.answered_at = answer->at;
            state.complaints = complaints_;
            state.followers = run.followers;
            state.revision = answer->revision;
            state.entries = entries_;
            answer_ = answer;
        });
    }

    // The latest answer into the folder, unless it is there.
    void keep() {
        const auto answer = std::exchange(unkept_, nullptr);
        if (!answer) {
            return;
        }
        const auto& files = answer->results.all(wish_.threads);
        auto kept = replace_result_folder(wish_.folder / "results", files);
        if (kept) {
            // Without it the next start takes its time, and that is all.
            (void)keep_made_of(wish_.folder, answer->results.inputs(), answered_journal_, files,
                               wish_.threads);
            return;
        }
        complaints_.push_back({.severity = study::Severity::warning, .error = std::move(kept).error()});
        if (phase() == DeskPhase::ready) {
            change([&](DeskState& state) { state.complaints = complaints_; });
        }
    }

    [[nodiscard]] DeskPhase phase() const {
        const std::lock_guard lock(guard_);
        return state_.phase;
    }

    // A change of phase is told at once; it ends whatever work was shown.
    template <typename Change>
    void change(const Change& how) {
        DeskState told;
        {
            const std::lock_guard lock(guard_);
            how(state_);
            state_.what.clear();
            state_.unit.clear();
            state_.done = state_.total = 0;
            told = state_;
        }
        wish_.on_change(told);
    }

    [[nodiscard]] Work job() {
        return {.threads = wish_.threads,
                .progress = [this](std::string_view what, std::size_t done, std::size_t total,
                                   std::string_view unit) { show(what, done, total, unit); }};
    }

    void show(std::string_view what, std::size_t done, std::size_t total, std::string_view unit) {
        const auto now = std::chrono::steady_clock::now();
        DeskState told;
        {
            const std::lock_guard lock(guard_);
            const bool is_new = state_.what != what;
            state_.phase = what == "reading" ? DeskPhase::reading : DeskPhase::computing;
            state_.what = what;
            state_.done = done;
            state_.total = total;
            state_.unit = unit;
            if (!is_new && now - told_at_ < tell_every) {
                return;
            }
            told_at_ = now;
            told = state_;
        }
        wish_.on_change(told);
    }

    DeskWish wish_;
    FolderWatch watch_; // before the first reading: no save is missed
    mutable std::mutex guard_;
    DeskState state_;
    std::shared_ptr<const DeskAnswer> answer_;
    std::chrono::steady_clock::time_point told_at_;
    mutable std::shared_mutex study_guard_;
    mutable std::condition_variable_any study_there_;
    std::unique_ptr<AnsweredStudy> study_;
    mutable std::mutex pyramid_guard_;
    mutable std::map<const uptake::ChamberTrace*, report::TracePyramid> pyramids_; ///< of study_
    // Of the thread alone:
    study::Edits answered_edits_;
    std::vector<study::Complaint> answered_complaints_; ///< of the journal's entries themselves
    std::string answered_journal_;
    std::size_t entries_ = 0;                  ///< of the journal as it was looked at last
    std::vector<study::Complaint> complaints_; ///< of the latest answer
    std::shared_ptr<const DeskAnswer> unkept_; ///< not in the folder yet
    std::mutex writer_guard_;
    JournalWriter writer_;
    std::mutex pause_guard_;
    std::condition_variable_any pause_;
    std::condition_variable ended_;
    bool is_written_ = false;
    bool has_ended_ = false;
    std::jthread thread_; // last: it uses all the others, and goes first
};

Desk::Desk(DeskWish wish) : worker_(std::make_unique<Worker>(std::move(wish))) {}
Desk::~Desk() = default;

bool Desk::ends_within(std::chrono::milliseconds patience) {
    return worker_->ends_within(patience);
}

DeskState Desk::state() const {
    return worker_->state();
}

std::shared_ptr<const DeskAnswer> Desk::answer() const {
    return worker_->answer();
}

Expected<report::DrawnTrace> Desk::trace(const std::string& stay, Instant from, Instant to) const {
    return worker_->look([&](const StudyRun& run) -> Expected<report::DrawnTrace> {
        auto found = stay_named(run, stay);
        if (!found) {
            return fail(std::move(found).error());
        }
        auto stretch =
            drawn_stretch(**found, from, to, points_of_stretch,
                          [this](const uptake::ChamberTrace& trace) -> const report::TracePyramid& {
                              return worker_->pyramid_of(trace);
                          });
        if (stretch.rows == 0) {
            return fail({.code = ErrorCode::too_few,
                         .found = fmt::format("stay {} has no reading from {} to {}", stay, iso_text(from),
                                              iso_text(to)),
                         .expected = fmt::format("moments from {} to {}", iso_text((*found)->stay->from()),
                                                 iso_text((*found)->stay->to()))});
        }
        return stretch;
    });
}

Expected<AskedStudy> Desk::asked_study() const {
    return worker_->look([](const StudyRun& run) -> Expected<AskedStudy> { return app::asked_study(run); });
}

Expected<std::vector<store::EntryId>> Desk::write(const std::vector<Wished>& wishes, const Author& author) {
    return worker_->write(wishes, author);
}

JournalRead Desk::journal() const {
    return worker_->journal();
}

Expected<TakenIn> Desk::take_in(std::span<const store::Entry> entries) {
    return worker_->take_in(entries);
}

Expected<Arrivals> Desk::arrived(store::Position after, std::size_t at_most) {
    if (auto made = worker_->identity(); !made) {
        return fail(std::move(made).error());
    }
    return arrived_since(folder(), after, at_most);
}

Expected<std::string> Desk::identity() {
    return worker_->identity();
}

Instant Desk::now() const {
    return worker_->now();
}

const std::filesystem::path& Desk::folder() const {
    return worker_->folder();
}

Expected<std::string> Desk::why(const std::string& fish, const std::string& number) const {
    return worker_->look([&](const StudyRun& run) { return app::why(*run.answers, fish, number); });
}

} // namespace backeddy::app
