// season_bench FILE.csv read|slopes|windows|each [--threads N]
//
// The reader and what hangs on it, called as the program calls it and with nothing else:
//   read     detect the dialect, read every row; prints rows and the sum of oxygen
//   slopes   and the slope of every sealed spell after a minute of settle; prints rows used, spells, sum of
//   slopes windows  and the steepest 120-s window of every sealed spell; prints spells and the sum of their
//   slopes
//   each     the slopes one by one, chamber by chamber: to be held against uptake_by_spell.csv
// The answers are those of season.R: a benchmark that does not assert its answer measures something else.

#include <cmath>
#include <cstdio>
#include <map>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "base/number_text.hpp"
#include "fit/windows.hpp"
#include "intake/trace_reader.hpp"
#include "uptake/sealed.hpp"
#include "uptake/spell.hpp"

namespace {

using namespace backeddy;

enum class Task { read, slopes, windows, each };

constexpr double settle_s = 60.0;
constexpr double window_s = 120.0;
constexpr double seconds_per_hour = 3600.0;

// What the tasks add up, chamber by chamber and in the order of the file, so that the sum is the same on
// every run.
struct Answer {
    std::uint64_t rows = 0;
    std::uint64_t spells = 0;
    std::uint64_t failed = 0;
    double sum = 0.0;
};

// One chamber's stream: chunks in, spells out.
class Chamber {
  public:
    explicit Chamber(Task task)
        : task_(task),
          spells_({.longest_step = uptake::longest_step(1.0), .settle = Duration::seconds(settle_s)},
                  [this](const uptake::SealedView& view) { take(view); }) {}

    void feed(const TraceChunk& chunk) {
        const std::vector<double>* oxygen = nullptr;
        const std::vector<double>* pump = nullptr;
        for (std::size_t i = 0; i < chunk.headers.size(); ++i) {
            if (chunk.headers[i].kind == ColumnKind::oxygen_mg_per_l) {
                oxygen = &chunk.columns[i];
            } else if (chunk.headers[i].kind == ColumnKind::pump) {
                pump = &chunk.columns[i];
            }
        }
        if (oxygen == nullptr || pump == nullptr) {
            return;
        }
        if (task_ == Task::read) {
            answer_.rows += chunk.times_ns.size();
            for (const double value : *oxygen) {
                answer_.sum += value;
            }
            return;
        }
        state_.resize(pump->size());
        double pumping = 0.0;
        auto state = uptake::ChamberState::sealed;
        for (std::size_t i = 0; i < pump->size(); ++i) {
            if ((*pump)[i] != pumping) { // seldom
                pumping = (*pump)[i];
                state = pumping == 1.0   ? uptake::ChamberState::flush
                        : pumping == 0.0 ? uptake::ChamberState::sealed
                                         : uptake::ChamberState::unknown;
            }
            state_[i] = state;
        }
        spells_.feed({.times_ns = chunk.times_ns, .oxygen_mg_per_l = *oxygen, .state = state_});
    }
    void finish() {
        if (task_ != Task::read) {
            spells_.finish();
        }
    }
    [[nodiscard]] const Answer& answer() const { return answer_; }
    [[nodiscard]] const std::vector<double>& each() const { return each_; }

  private:
    void take(const uptake::SealedView& view) {
        if (task_ == Task::slopes || task_ == Task::each) {
            const auto slope = uptake::quick_slope(view);
            answer_.failed += slope ? 0 : 1;
            if (slope) {
                ++answer_.spells;
                answer_.rows += slope->readings;
                answer_.sum += slope->slope_mg_per_l_h;
                if (task_ == Task::each) {
                    each_.push_back(slope->slope_mg_per_l_h);
                }
            }
            return;
        }
        seconds_.resize(view.times_ns.size());
        for (std::size_t i = 0; i < seconds_.size(); ++i) {
            seconds_[i] = static_cast<double>(view.times_ns[i] - view.times_ns[0]) * 1e-9;
        }
        const auto steepest = fit::steepest_window(seconds_, view.oxygen_mg_per_l, {.length = window_s},
                                                   fit::Steepest::falling);
        answer_.failed += steepest ? 0 : 1;
        if (steepest) {
            ++answer_.spells;
            answer_.rows += view.times_ns.size();
            answer_.sum += steepest->slope * seconds_per_hour;
        }
    }

    Task task_;
    uptake::SpellAccumulator spells_;
    std::vector<uptake::ChamberState> state_;
    std::vector<double> seconds_;
    Answer answer_;
    std::vector<double> each_;
};

int complain(const Error& error) {
    std::fprintf(stderr, "season_bench: %s\n", error.text().c_str());
    return 1;
}

void print(Task task, const Answer& all) {
    const auto rows = static_cast<unsigned long long>(all.rows);
    const auto spells = static_cast<unsigned long long>(all.spells);
    if (task == Task::read) {
        std::printf("rows %llu oxygen %.6f\n", rows, all.sum);
    } else if (task == Task::slopes) {
        std::printf("rows %llu spells %llu slopes %.9f\n", rows, spells, all.sum);
    } else {
        std::printf("spells %llu steepest %.9f\n", spells, all.sum);
    }
}

int run(const std::string& path, Task task, unsigned threads) {
    const intake::ReadSettings settings;
    const auto dialect = intake::detect(path, settings);
    if (!dialect) {
        return complain(dialect.error());
    }
    std::vector<std::unique_ptr<Chamber>> chambers;
    const auto report = intake::read_trace(path, settings, *dialect,
                                           {.threads = {.count = threads}, .hashing = intake::Hashing::none},
                                           [&](const intake::StreamId& stream, const TraceChunk& chunk) {
                                               while (chambers.size() <= stream.number) {
                                                   chambers.push_back(std::make_unique<Chamber>(task));
                                               }
                                               chambers[stream.number]->feed(chunk);
                                           });
    if (!report) {
        return complain(report.error());
    }
    Answer all;
    for (const auto& chamber : chambers) {
        chamber->finish();
        all.rows += chamber->answer().rows;
        all.spells += chamber->answer().spells;
        all.sum += chamber->answer().sum;
    }
    for (const auto& chamber : chambers) {
        for (const double slope : chamber->each()) {
            std::printf("%s\n", exact_text(slope).c_str());
        }
    }
    if (task != Task::each) {
        print(task, all);
    }
    return report->refused.empty() ? 0 : 1;
}

} // namespace

int main(int argc, char** argv) {
    const std::map<std::string_view, Task> tasks{
        {"read", Task::read}, {"slopes", Task::slopes}, {"windows", Task::windows}, {"each", Task::each}};
    const auto task = argc > 2 ? tasks.find(argv[2]) : tasks.end();
    if (task == tasks.end()) {
        std::fputs("usage: season_bench FILE.csv read|slopes|windows|each [--threads N]\n", stderr);
        return 2;
    }
    unsigned threads = 0;
    if (argc > 4 && std::string_view(argv[3]) == "--threads") {
        threads = static_cast<unsigned>(parse_whole(argv[4]).value_or(0));
    }
    return run(argv[1], task->second, threads);
}
