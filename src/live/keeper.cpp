#include "live/keeper.hpp"

#include <algorithm>
#include <deque>
#include <map>
#include <optional>
#include <utility>
#include <vector>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "base/file.hpp"
#include "instruments/instruments.hpp"
#include "live/machine.hpp"
#include "live/post.hpp"
#include "live/recent.hpp"
#include "live/sample_thread.hpp"
#include "live/socket_path.hpp"
#include "live/talk.hpp"
#include "live/translate.hpp"
#include "watch/handover.hpp"
#include "watch/kept.hpp"

namespace backeddy::live {

namespace {

using nlohmann::json;

/// Disk and power are looked at so often.
constexpr double machine_every_s = 5.0;
/// What is waiting to be shown until its samples are on disk; a disk slower than this shows the latest.
constexpr std::size_t most_unshown = 100;

watch::Now now_of(const instruments::Stamp& stamp, const std::string& boot) {
    return {.wall = stamp.wall, .steady_s = static_cast<double>(stamp.monotonic_ns) * 1e-9, .boot = boot};
}

std::string answer_line(bool is_done, const std::string& words) {
    return json{{"done", is_done}, {"words", words}}.dump(-1, ' ', false, json::error_handler_t::replace);
}

/// The state of before, or everything empty where there was none.
Expected<std::optional<watch::State>> resumed(const std::filesystem::path& file, const watch::Plan& plan,
                                              const watch::Now& now) {
    const auto text = read_file(file);
    if (!text) {
        return text.error().code == ErrorCode::file_missing
                   ? Expected<std::optional<watch::State>>(std::nullopt)
                   : fail(text.error());
    }
    const auto kept = watch::kept_from(*text);
    if (!kept) {
        Error error = kept.error();
        error.place.file = file.string();
        error.remedy = "look at the chambers, move this file away, and enter anew who is in them";
        return fail(std::move(error));
    }
    return std::optional(watch::resume(*kept, plan, now));
}

} // namespace

struct Keeper::Self : std::enable_shared_from_this<Keeper::Self> {
    Self(instruments::Loop& the_loop, const instruments::Station& station, watch::Watch the_watch,
         KeeperOptions keeper_options)
        : loop(the_loop), options(std::move(keeper_options)), watch(std::move(the_watch)),
          translator(station, watch.plan()), recent(watch.plan().chambers.size()) {
        for (const auto& device : station.devices) {
            sources[device.id] = static_cast<std::uint16_t>(sources.size());
            for (const auto& pump : instruments::pumps_of(device)) {
                pump_of[pump.chamber] = pump.name;
            }
        }
    }

    struct Waiting {
        watch::Hand hand;
        Post::Answer answer;
    };
    /// An answer that is given when what it promises is on disk.
    struct Promise {
        std::uint64_t needs_pieces = 0;
        std::uint64_t needs_state = 0;
        bool is_done = true;
        std::string words;
        Post::Answer answer;
    };
    struct Unshown {
        std::uint64_t needs = 0; ///< so many pieces have to be settled before
        std::string line;
    };

    instruments::Loop& loop;
    KeeperOptions options;
    watch::Watch watch;
    Translator translator;
    Recent recent;
    std::map<instruments::DeviceId, std::uint16_t> sources;
    std::map<std::string, std::string> pump_of; ///< by chamber
    std::map<instruments::DeviceId, std::string> lost;
    std::filesystem::path socket;
    std::vector<watch::Reading> readings;
    std::vector<store::Heard> heard;
    std::vector<Waiting> hands;
    std::deque<Promise> promises;
    std::deque<Unshown> unshown;
    SampleThread::State disk;
    std::optional<watch::Kept> kept; ///< as it was last handed to the disk
    double machine_seen_s = -machine_every_s;
    std::unique_ptr<SampleThread> samples;
    std::unique_ptr<Post> post;
    std::unique_ptr<instruments::Instruments> devices;
    std::unique_ptr<instruments::EveryTimer> timer;

    void log(const std::string& line) const {
        if (options.log) {
            options.log(line);
        }
    }

    // ------------------------------------------------------------ what comes in

    void take(const instruments::Report& report) {
        if (const auto* frame = std::get_if<instruments::Frame>(&report)) {
            take(*frame);
        } else {
            take(std::get<instruments::Event>(report));
        }
    }

    void take(const instruments::Frame& frame) {
        keep(sources.at(frame.device), frame.received, frame.bytes);
        for (const auto& reading : translator.take(frame)) {
            if (reading.kind == watch::ChannelKind::oxygen && reading.chamber && reading.value) {
                recent.take(*reading.chamber, frame.received.wall, *reading.value,
                            watch.state().chambers[*reading.chamber].cycle.phase);
            }
            readings.push_back(reading);
        }
    }

    void take(const instruments::Event& event) {
        if (std::holds_alternative<instruments::Connected>(event.what)) {
            lost.erase(event.device);
        } else if (std::holds_alternative<instruments::Lost>(event.what)) {
            lost[event.device] = instruments::in_words(event);
        }
        const std::string words = instruments::in_words(event);
        keep_own(event.at, json{{"at", iso_text(event.at.wall)},
                                {"event", "device"},
                                {"device", event.device.text},
                                {"words", words}}
                               .dump(-1, ' ', false, json::error_handler_t::replace));
        log(words);
    }

    void keep(std::uint16_t source, const instruments::Stamp& at, std::string_view bytes) {
        for (; !bytes.empty(); bytes.remove_prefix(std::min(bytes.size(), store::most_heard_bytes))) {
            heard.push_back({.number = 0,
                             .source = source,
                             .received = at.wall,
                             .monotonic_ns = at.monotonic_ns,
                             .bytes = std::string(bytes.substr(0, store::most_heard_bytes))});
        }
    }
    void keep_own(const instruments::Stamp& at, const std::string& line) {
        keep(static_cast<std::uint16_t>(sources.size()), at, line);
    }

    void take_line(std::string_view line, Post::Answer answer) {
        const json request = json::parse(line, nullptr, false);
        if (request.is_object() && request.contains("course")) {
            answer(course(request["course"]));
        } else if (request.is_object() && request.contains("handover")) {
            answer(json{{"text", watch::to_text(watch::handover(watch))}}.dump(
                -1, ' ', false, json::error_handler_t::replace));
        } else if (auto hand = hand_from(line, watch.plan())) {
            hands.push_back({.hand = std::move(*hand), .answer = std::move(answer)});
            step(); // at once: somebody stands there
        } else {
            answer(answer_line(false, hand.error().text()));
        }
    }

    std::string course(const json& name) const {
        const auto& chambers = watch.plan().chambers;
        for (std::size_t i = 0; i < chambers.size(); ++i) {
            if (name == chambers[i].name) {
                return recent.json(i);
            }
        }
        return answer_line(false, "there is no such chamber");
    }

    // ------------------------------------------------------------ one step

    void step() {
        const instruments::Stamp stamp = instruments::machine_now();
        const watch::Now now = now_of(stamp, options.boot);
        watch::Input input{.now = now, .readings = std::exchange(readings, {}), .hands = {}, .machine = {}};
        for (const auto& waiting : hands) {
            input.hands.push_back(waiting.hand);
        }
        if (now.steady_s - machine_seen_s >= machine_every_s) {
            input.machine = machine_state(options.samples);
            input.machine->readings_are_kept = disk.fault.empty();
            machine_seen_s = now.steady_s;
        }
        const watch::Output output = watch.step(input);
        command(output.commands);
        for (const auto& event : output.events) {
            keep_own(stamp, event_json(event, watch.plan()));
            if (const auto words = event_words(event, watch.plan()); !words.empty()) {
                log(words);
            }
        }
        samples->keep(std::exchange(heard, {}));
        keep_state(now);
        promise_answers(output.events);
        show(now);
    }

    void command(const std::vector<watch::Command>& commands) {
        for (const auto& each : commands) {
            const std::string& pump = pump_of.at(watch.plan().chambers[each.chamber].name);
            const auto done = each.pump == watch::Phase::sealed
                                  ? devices->seal(pump, Duration::seconds(each.good_for_s))
                                  : devices->flush(pump);
            if (!done) {
                log(done.error().text());
            }
        }
    }

    void keep_state(const watch::Now& now) {
        watch::Kept state = watch::keep(watch.state(), watch.plan());
        if (kept) {
            state.at = kept->at; // a state that is the same at another moment is not written again
        }
        if (!kept || state != *kept) {
            state.at = now.wall;
            samples->keep_state(watch::to_text(state));
            kept = std::move(state);
        }
    }

    /// Answers of the watch come in the order of the hands.
    void promise_answers(const std::vector<watch::Event>& events) {
        auto said = events.begin();
        for (const auto& waiting : std::exchange(hands, {})) {
            said = std::find_if(said, events.end(), [](const watch::Event& event) {
                return std::holds_alternative<watch::HandAnswered>(event.what);
            });
            const auto* answer =
                said == events.end() ? nullptr : &std::get<watch::HandAnswered>((said++)->what);
            promises.push_back({.needs_pieces = samples->pieces(),
                                .needs_state = samples->states(),
                                .is_done = answer == nullptr || answer->done,
                                .words = answer == nullptr ? "" : answer->words,
                                .answer = waiting.answer});
        }
    }

    /// What a hand did is done at once, and said when it is on disk, or when the disk takes nothing.
    void keep_promises() {
        while (!promises.empty()) {
            const Promise& next = promises.front();
            const bool is_kept = disk.settled >= next.needs_pieces && disk.states >= next.needs_state;
            if (!is_kept && disk.fault.empty()) {
                return;
            }
            next.answer(answer_line(next.is_done, is_kept ? next.words
                                                          : next.words + (next.words.empty() ? "" : "; ") +
                                                                "but the disk takes nothing: " + disk.fault));
            promises.pop_front();
        }
    }

    // ------------------------------------------------------------ what is shown

    void show(const watch::Now& now) {
        if (!post->has_visitors()) {
            unshown.clear();
            return;
        }
        Surroundings around{.through = disk.through, .devices = {}, .samples_fault = disk.fault};
        for (const auto& [device, words] : lost) {
            around.devices.push_back(words);
        }
        unshown.push_back({.needs = samples->pieces(), .line = now_json(watch, now, around)});
        if (unshown.size() > most_unshown) {
            // The disk takes nothing: what is shown says so, and is worth more than a page that stands still.
            post->tell(unshown.back().line);
            unshown.clear();
        }
        show_what_is_kept();
    }

    void show_what_is_kept() {
        if (!post) {
            return;
        }
        const Unshown* latest = nullptr;
        while (!unshown.empty() && unshown.front().needs <= disk.settled) {
            latest = &unshown.front();
            if (unshown.size() == 1 || unshown[1].needs > disk.settled) {
                post->tell(latest->line);
            }
            unshown.pop_front();
        }
    }
};

Keeper::Keeper(std::shared_ptr<Self> self) : self_(std::move(self)) {}

Keeper::~Keeper() {
    self_->timer.reset();
    self_->devices.reset(); // tells the pumps to flush
    self_->post.reset();
    self_->samples->keep(std::exchange(self_->heard, {}));
    self_->samples.reset();
}

const std::filesystem::path& Keeper::socket() const {
    return self_->socket;
}

Expected<std::unique_ptr<Keeper>> Keeper::start(instruments::Loop& loop, const instruments::Station& station,
                                                watch::Plan plan, KeeperOptions options) {
    if (const auto faults = plan_faults(station, plan); !faults.empty()) {
        return fail(do_not_fit(faults));
    }
    if (options.boot.empty()) {
        options.boot = boot_id();
    }
    store::SegmentHead head{.program = options.program,
                            .boot = options.boot,
                            .station_sha256 = options.station_sha256,
                            .sources = {}};
    for (const auto& device : station.devices) {
        head.sources.push_back(device.id.text);
    }
    head.sources.emplace_back(own_source);
    auto writer = store::SegmentWriter::open(options.samples, std::move(head));
    if (!writer) {
        return fail(std::move(writer).error());
    }
    const auto now = now_of(instruments::machine_now(), options.boot);
    auto state = resumed(options.samples / kept_name, plan, now);
    if (!state) {
        return fail(std::move(state).error());
    }
    auto path = socket_path(options.samples);
    if (!path) {
        return fail(std::move(path).error());
    }
    watch::Watch watch =
        *state ? watch::Watch(std::move(plan), std::move(**state)) : watch::Watch(std::move(plan));
    auto self = std::make_shared<Self>(loop, station, std::move(watch), std::move(options));
    Self* const it = self.get();
    it->socket = *path;
    auto post = Post::open(loop, *path, [it](std::string_view line, Post::Answer answer) {
        it->take_line(line, std::move(answer));
    });
    if (!post) {
        return fail(std::move(post).error());
    }
    it->post = std::move(*post);
    it->disk.through = writer->through();
    // The thread outlives neither of them, but what it posts may come after both.
    it->samples =
        std::make_unique<SampleThread>(std::move(*writer), it->options.samples / kept_name,
                                       [&loop, weak = std::weak_ptr(self)](SampleThread::State disk) {
                                           loop.post([weak, disk = std::move(disk)] {
                                               if (const auto still_there = weak.lock()) {
                                                   still_there->disk = disk;
                                                   still_there->keep_promises();
                                                   still_there->show_what_is_kept();
                                               }
                                           });
                                       });
    it->devices = std::make_unique<instruments::Instruments>(
        station, loop, [it](const instruments::Report& report) { it->take(report); });
    it->timer = std::make_unique<instruments::EveryTimer>(loop, it->options.step_every, [it] { it->step(); });
    return std::unique_ptr<Keeper>(new Keeper(std::move(self)));
}

} // namespace backeddy::live
