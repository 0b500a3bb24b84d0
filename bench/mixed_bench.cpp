// mixed_bench make FILE.csv            writes the rows: 2,000 of them, three groups crossed
// mixed_bench fit FILE.csv TIMES       fits them TIMES times; prints the median seconds of one and the answer
//
// A linear mixed model by REML with three random intercepts, from columns in memory to estimates. mixed.R
// does the same with lme4 and prints the same: log-likelihood, coefficients, standard deviations. Here the
// median has design, checks and conditional modes in it, as there.

#include <algorithm>
#include <array>
#include <chrono>
#include <cstdio>
#include <fstream>
#include <sstream>
#include <string>
#include <string_view>
#include <vector>

#include "base/number_text.hpp"
#include "base/random.hpp"
#include "stats/mixed.hpp"

namespace {

using namespace backeddy;

constexpr std::size_t rows = 2000;
constexpr std::array<std::string_view, 3> treatments{"a", "b", "c"};

int make(const char* path) {
    struct Group {
        const char* name;
        std::size_t levels;
        double sd;
    };
    constexpr std::array<Group, 3> groups{{{"fish", 400, 1.0}, {"day", 40, 0.7}, {"boat", 8, 0.4}}};
    Random random(20260614, 7);
    std::vector<std::vector<double>> effects;
    for (const auto& group : groups) {
        effects.emplace_back();
        for (std::size_t level = 0; level < group.levels; ++level) {
            effects.back().push_back(group.sd * random.normal());
        }
    }
    std::ofstream out(path);
    out << "y,fish,day,boat,treatment,x\n";
    for (std::size_t i = 0; i < rows; ++i) {
        const double x = random.normal();
        const std::size_t treatment = random.below(treatments.size());
        double y = 10.0 + x + static_cast<double>(treatment) + random.normal();
        std::string cells;
        for (std::size_t g = 0; g < groups.size(); ++g) {
            const std::size_t level = random.below(groups.at(g).levels);
            y += effects[g][level];
            cells += "," + std::string(groups.at(g).name) + std::to_string(level);
        }
        std::array<char, 64> numbers{};
        std::snprintf(numbers.data(), numbers.size(), "%.10f", y);
        out << numbers.data() << cells << ',' << treatments.at(treatment) << ',';
        std::snprintf(numbers.data(), numbers.size(), "%.10f", x);
        out << numbers.data() << '\n';
    }
    return out.good() ? 0 : 1;
}

stats::Table read(const char* path) {
    std::ifstream in(path);
    std::string line;
    std::getline(in, line);
    std::array<std::vector<std::string>, 6> cells;
    while (std::getline(in, line)) {
        std::istringstream parts(line);
        for (auto& column : cells) {
            column.emplace_back();
            std::getline(parts, column.back(), ',');
        }
    }
    stats::Table table(std::vector<std::string>(cells[0].size(), "row"));
    for (const auto& [name, column] : {std::pair{"y", 0}, std::pair{"x", 5}}) {
        std::vector<double> numbers;
        for (const auto& cell : cells.at(static_cast<std::size_t>(column))) {
            numbers.push_back(parse_number(cell).value_or(0.0));
        }
        if (!table.add_numbers(name, std::move(numbers))) {
            return table;
        }
    }
    for (const auto& [name, column] :
         {std::pair{"fish", 1}, std::pair{"day", 2}, std::pair{"boat", 3}, std::pair{"treatment", 4}}) {
        if (!table.add_factor(name, cells.at(static_cast<std::size_t>(column)))) {
            return table;
        }
    }
    return table;
}

int time_fits(const char* path, int times) {
    const auto table = read(path);
    std::vector<double> seconds;
    for (int i = 0; i < times; ++i) {
        const auto begin = std::chrono::steady_clock::now();
        const auto model = stats::MixedModel::make(
            table, {.outcome = "y",
                    .fixed = {.terms = {{{"treatment"}}, {{"x"}}}},
                    .random = {{.group = "fish"}, {.group = "day"}, {.group = "boat"}}});
        if (!model) {
            std::fprintf(stderr, "%s\n", model.error().text().c_str());
            return 1;
        }
        const auto answer = stats::fit_mixed(*model);
        const std::chrono::duration<double> took = std::chrono::steady_clock::now() - begin;
        if (!answer) {
            std::fprintf(stderr, "%s\n", answer.error().text().c_str());
            return 1;
        }
        seconds.push_back(took.count());
        if (i + 1 == times) {
            std::sort(seconds.begin(), seconds.end());
            std::printf("%.6f\t%.7f", seconds[seconds.size() / 2], answer->log_likelihood);
            for (const auto& one : answer->coefficients) {
                std::printf(" %.5f", one.value);
            }
            for (const auto& one : answer->random) {
                std::printf(" %.4f", one.intercept_sd);
            }
            std::printf(" %.5f\n", answer->residual_sd);
        }
    }
    return 0;
}

} // namespace

int main(int argc, char** argv) {
    const std::string_view task = argc > 2 ? argv[1] : "";
    if (task == "make") {
        return make(argv[2]);
    }
    if (task == "fit" && argc > 3) {
        return time_fits(argv[2], std::max(1, std::atoi(argv[3])));
    }
    std::fprintf(stderr, "mixed_bench make FILE.csv | fit FILE.csv TIMES\n");
    return 2;
}
