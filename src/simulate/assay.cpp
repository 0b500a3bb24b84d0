#include "simulate/assay.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "base/random.hpp"

namespace backeddy::simulate {

namespace {

constexpr std::size_t first_sample_column = 4;

bool is_outer(std::size_t row, std::size_t column) {
    return row == 0 || column == 0 || row + 1 == plate_rows || column + 1 == plate_columns;
}

/// Fills the plate pair by pair.
class Plate {
  public:
    Plate(const SimulationPlan& plan, const Season& season, std::span<const BloodDraw> blood,
          std::size_t plate)
        : plan_(plan.plates[plate]), season_(season), blood_(blood), fish_(samples_of_plate(plan, plate)),
          wells_(plate_rows * plate_columns) {
        for (std::size_t i = 0; i < wells_.size(); ++i) {
            wells_[i].row = i / plate_columns;
            wells_[i].column = i % plate_columns;
            wells_[i].holds = "empty";
            wells_[i].expected = 0.5 * plan_.bottom; // bare plastic
        }
    }

    std::vector<AssayWell> laid_out() {
        standards();
        zeros_and_blanks();
        controls();
        samples();
        return std::move(wells_);
    }

  private:
    AssayWell& at(std::size_t row, std::size_t column) { return wells_[(row * plate_columns) + column]; }

    /// Two wells side by side.
    void put(std::size_t row, std::size_t column, AssayWell what) {
        what.expected = signal(plan_, what.holds_ng_per_ml);
        for (const std::size_t beside : {column, column + 1}) {
            what.row = row;
            what.column = beside;
            at(row, beside) = what;
        }
    }

    void standards() {
        for (std::size_t s = 0; s < plan_.standards_ng_per_ml.size(); ++s) {
            const double nominal = plan_.standards_ng_per_ml[s];
            const bool is_bad = plan_.bad_standard == static_cast<int>(s) + 1;
            put(s, 0,
                {.holds = "standard",
                 .nominal = nominal,
                 .holds_ng_per_ml = nominal * (is_bad ? plan_.bad_factor : 1.0)});
        }
    }

    void zeros_and_blanks() {
        for (std::size_t row = 0; row < 4; ++row) {
            put(row, 2, {.holds = "zero"});
        }
        put(4, 2, {.holds = "blank"});
        for (const std::size_t column : {2U, 3U}) {
            at(4, column).expected = 0.7 * plan_.bottom; // no reaction at all
        }
    }

    void control(std::size_t row, const char* label, double ng_per_ml) {
        put(row, 2,
            {.holds = "control",
             .label = label,
             .nominal = ng_per_ml,
             .dilution = plan_.dilution,
             .holds_ng_per_ml = ng_per_ml / plan_.dilution});
    }

    void controls() {
        control(5, "low", plan_.control_low_ng_per_ml);
        control(6, "high", plan_.control_high_ng_per_ml);
        auto spiked = sample(middling(), plan_.dilution);
        spiked.holds = "spiked";
        spiked.added = plan_.spike_ng_per_ml;
        spiked.holds_ng_per_ml += plan_.spike_ng_per_ml / plan_.dilution;
        put(7, 2, spiked);
    }

    [[nodiscard]] AssayWell sample(std::size_t fish, double dilution) const {
        return {.holds = "sample",
                .label = plasma_tube(season_.fish[fish]),
                .dilution = dilution,
                .holds_ng_per_ml = blood_[fish].cortisol_ng_per_ml / dilution};
    }

    /// The fish whose diluted plasma stands nearest to a third of the highest standard.
    [[nodiscard]] std::size_t middling() const {
        const double highest =
            *std::max_element(plan_.standards_ng_per_ml.begin(), plan_.standards_ng_per_ml.end());
        return *std::min_element(fish_.begin(), fish_.end(), [&](std::size_t a, std::size_t b) {
            const auto off = [&](std::size_t fish) {
                return std::abs((blood_[fish].cortisol_ng_per_ml / plan_.dilution) - (highest / 3.0));
            };
            return off(a) < off(b);
        });
    }

    void samples() {
        std::vector<AssayWell> all;
        for (const auto fish : fish_) {
            all.push_back(sample(fish, plan_.dilution));
            if (fish == middling()) {
                all.push_back(sample(fish, 2.0 * plan_.dilution));
                all.push_back(sample(fish, 4.0 * plan_.dilution));
            }
        }
        constexpr std::size_t pairs_a_row = (plate_columns - first_sample_column) / 2;
        for (std::size_t i = 0; i < all.size(); ++i) {
            put(i / pairs_a_row, first_sample_column + (2 * (i % pairs_a_row)), all[i]);
        }
    }

    const PlatePlan& plan_;
    const Season& season_;
    std::span<const BloodDraw> blood_;
    std::vector<std::size_t> fish_;
    std::vector<AssayWell> wells_;
};

std::string with_comma(std::string number) {
    std::replace(number.begin(), number.end(), '.', ',');
    return number;
}

std::string grid_text(const PlatePlan& plate, std::span<const AssayWell> wells, const std::string& read_on) {
    std::string text =
        fmt::format("Plate;{}\nRead on;{}\nLight;450 nm\nPlate warmer;25 C\n\n", plate.name, read_on);
    for (std::size_t column = 1; column <= plate_columns; ++column) {
        text += fmt::format(";{}", column);
    }
    for (const auto& well : wells) {
        text += well.column == 0 ? fmt::format("\n{}", well.name().front()) : "";
        text += ";" + with_comma(fixed_text(well.response, 3));
    }
    return text + "\n\nEnd of plate\n";
}

/// Column by column, as some readers move.
std::string list_text(std::span<const AssayWell> wells) {
    std::string text = "Well\tAbsorbance\n";
    for (std::size_t column = 0; column < plate_columns; ++column) {
        for (std::size_t row = 0; row < plate_rows; ++row) {
            const auto& well = wells[(row * plate_columns) + column];
            text += fmt::format("{}\t{}\n", well.name(), fixed_text(well.response, 4));
        }
    }
    return text;
}

} // namespace

std::string AssayWell::name() const {
    return fmt::format("{}{}", static_cast<char>('A' + static_cast<int>(row)), column + 1);
}

std::vector<std::size_t> samples_of_plate(const SimulationPlan& plan, std::size_t plate) {
    const auto fish = static_cast<std::size_t>(plan.fish_count());
    std::vector<std::size_t> out;
    for (std::size_t f = fish * plate / plan.plates.size(); f < fish * (plate + 1) / plan.plates.size();
         ++f) {
        out.push_back(f);
    }
    return out;
}

double signal(const PlatePlan& plate, double ng_per_ml) {
    return plate.bottom +
           ((plate.top - plate.bottom) / (1.0 + std::pow(ng_per_ml / plate.middle_ng_per_ml, plate.slope)));
}

std::vector<AssayWell> assay_wells(const SimulationPlan& plan, const Season& season,
                                   std::span<const BloodDraw> blood, std::size_t plate, std::uint64_t seed) {
    constexpr double least_response = 0.001;
    const auto& own = plan.plates[plate];
    auto random = stream(seed, StreamOf::plate, plate);
    auto wells = Plate(plan, season, blood, plate).laid_out();
    for (auto& well : wells) {
        well.expected *= is_outer(well.row, well.column) ? 1.0 + (own.edge_percent / 100.0) : 1.0;
        const double sd = own.noise_share * std::pow(well.expected, own.noise_power);
        well.response = std::max(least_response, well.expected + (sd * random.normal()));
    }
    return wells;
}

std::string export_text(const PlatePlan& plate, std::span<const AssayWell> wells,
                        const std::string& read_on) {
    return plate.shape == ExportShape::grid ? grid_text(plate, wells, read_on) : list_text(wells);
}

std::string export_file(const PlatePlan& plate) {
    return fmt::format("raw/plates/{}.{}", plate.name, plate.shape == ExportShape::grid ? "csv" : "txt");
}

} // namespace backeddy::simulate
