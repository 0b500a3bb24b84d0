#include "app/plate_answers.hpp"

#include <algorithm>
#include <map>
#include <utility>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/file.hpp"
#include "base/hash.hpp"
#include "base/number_text.hpp"
#include "intake/plate_wells.hpp"
#include "study/condition_sheets.hpp"

namespace backeddy::app {

namespace fs = std::filesystem;

namespace {

/// As intake::read_plate() takes at most.
constexpr std::uint64_t most_bytes = std::uint64_t{16} << 20;

std::vector<study::WellRow> wells_of(const study::PlateId& plate, const std::vector<study::WellRow>& rows) {
    std::vector<study::WellRow> out;
    std::ranges::copy_if(rows, std::back_inserter(out),
                         [&](const study::WellRow& row) { return row.plate == plate; });
    return out;
}

class PlateRun {
  public:
    PlateRun(const fs::path& folder, const Study& study, const study::ConditionSheets& sound)
        : folder_(folder), study_(study), sound_(sound) {}

    void add(const study::PlateRow& row) {
        PlateAnswer answer{.row = row};
        if (sound_.find(row.id) == nullptr) {
            answer.unanswered = "its row of plates.csv does not count: see the complaints";
        } else if (auto wells = read(answer)) {
            answer.wells = std::move(*wells);
            evaluate(answer);
        }
        out_.list.push_back(std::move(answer));
    }

    PlateAnswers take() { return std::move(out_); }

  private:
    /// At its own place where it names one, else at the plate's row.
    void give_up(PlateAnswer& answer, Error error, const char* column) {
        const std::string name = fmt::format("plate \"{}\"", answer.row.id.text());
        if (error.place.file.empty() || !error.place.line) {
            if (!error.place.file.empty()) {
                error.found = fmt::format("\"{}\": {}", error.place.file, error.found);
            }
            error.place = answer.row.place;
            error.place.column = column;
        } else {
            error.context.push_back(
                fmt::format("{} ({}, {})", name, answer.row.place.file, study::line_text(answer.row.place)));
        }
        answer.unanswered = error.found.empty() ? error.text() : error.found;
        error.remedy += error.remedy.empty() ? "until then nothing is read from it"
                                             : "; until then nothing is read from it";
        out_.complaints.push_back({.severity = study::Severity::warning, .error = std::move(error)});
    }

    void tell(std::vector<study::Complaint> complaints) {
        for (auto& complaint : complaints) {
            complaint.severity = study::Severity::warning;
            out_.complaints.push_back(std::move(complaint));
        }
    }

    std::optional<std::vector<condition::Well>> read(PlateAnswer& answer) {
        const auto& row = answer.row;
        const auto bytes = read_file(folder_ / row.file, most_bytes);
        if (!bytes) {
            Error error = bytes.error();
            error.place = {};
            error.found = fmt::format("\"{}\": {}", row.file, what_is_wrong(error));
            give_up(answer, std::move(error), "file");
            return std::nullopt;
        }
        answer.input = report::Input{.path = row.file,
                                     .kind = "plate",
                                     .sha256 = sha256_hex(std::string_view(*bytes)),
                                     .bytes = bytes->size()};
        auto reading = intake::read_plate(*bytes, row.file, intake::plate_settings(row.help));
        if (!reading) {
            give_up(answer, std::move(reading).error(), "file");
            return std::nullopt;
        }
        answer.input->understood = reading->understood;
        tell(std::move(reading->complaints));
        answer.reading = std::move(*reading);
        auto joined = intake::wells_from(*answer.reading, wells_of(row.id, sound_.wells));
        tell(std::move(joined.complaints));
        tell(intake::unmapped_wells(*answer.reading, wells_of(row.id, study_.tables.sheets.wells)));
        return std::move(joined.wells);
    }

    // The file is named as the study names it, not as this machine opened it.
    static std::string what_is_wrong(const Error& error) {
        return error.code == ErrorCode::file_missing ? "there is no such file" : "it cannot be read";
    }

    void evaluate(PlateAnswer& answer) {
        auto settings = study_.brief.plates;
        settings.rows = answer.row.help.rows;
        settings.columns = answer.row.help.columns;
        auto result = condition::evaluate_plate(answer.wells, settings);
        if (result) {
            answer.result = std::move(*result);
            tell_of_standards(answer);
            tell_of_materials(answer);
        } else {
            auto error = std::move(result).error();
            if (const auto culprits = culprits_of(answer.wells, settings); !culprits.empty()) {
                error.found +=
                    fmt::format("; without {} the rest makes a curve", fmt::join(culprits, ", or without "));
                error.remedy = "look at these wells first, and leave one that is wrong out by a reason in "
                               "\"excluded\"";
            }
            give_up(answer, std::move(error), "plate");
        }
    }

    /// Standards, each alone, without which the plate can be evaluated: where one is wrong.
    static std::vector<std::string> culprits_of(const std::vector<condition::Well>& wells,
                                                const condition::PlateSettings& settings) {
        std::map<double, std::vector<std::string>> levels;
        for (const auto& well : wells) {
            if (well.kind == condition::WellKind::standard && well.excluded.empty()) {
                levels[well.concentration].push_back(condition::well_name(well.row, well.column));
            }
        }
        std::vector<std::string> out;
        for (const auto& [level, names] : levels) {
            auto without = wells;
            for (auto& well : without) {
                if (well.kind == condition::WellKind::standard && well.concentration == level) {
                    well.excluded = "tried without it";
                }
            }
            if (condition::evaluate_plate(without, settings)) {
                out.push_back(
                    fmt::format("the standard of {} ({})", exact_text(level), fmt::join(names, ", ")));
            }
        }
        return out;
    }

    /// Once of a plate, at the first well of the first standard that did not come back.
    void tell_of_standards(const PlateAnswer& answer) {
        std::vector<std::string> words;
        const study::WellRow* first = nullptr;
        for (const auto& level : answer.result->standards) {
            const bool is_fine = level.nominal == 0.0 ? level.remarks.empty() : level.is_accepted;
            if (is_fine) {
                continue;
            }
            const auto what = level.nominal == 0.0
                                  ? std::string("the zero wells")
                                  : fmt::format("that of {} {}", exact_text(level.nominal), answer.row.unit);
            words.push_back(fmt::format("{} ({}): {}", what, fmt::join(level.responses.wells, ", "),
                                        fmt::join(level.remarks, "; ")));
            if (first == nullptr) {
                first = find_standard(answer.row.id, level.nominal);
            }
        }
        if (first == nullptr) {
            return;
        }
        Place place = first->place;
        place.column = first->kind == condition::WellKind::zero ? "well" : "concentration";
        out_.complaints.push_back(
            {.severity = study::Severity::warning,
             .error = {
                 .code = ErrorCode::out_of_range,
                 .found = fmt::format("{} of plate \"{}\" {} outside the limits of [plates]: {}",
                                      words.size() == 1 ? "a standard" : "standards", answer.row.id.text(),
                                      words.size() == 1 ? "lies" : "lie", fmt::join(words, "; ")),
                 .expected = "standards that come back as what they are labelled",
                 .remedy = "look at their wells; one that is wrong is left out of the curve by a reason in "
                           "\"excluded\"; until then all are in it",
                 .place = std::move(place),
                 .context = {}}});
    }

    /// What can be wrong with a material, how it is named, and what to do.
    struct Kind {
        const std::vector<condition::Material>& materials;
        const char* name;
        const char* amount_column;
        const char* recovery_remedy;
    };

    void tell_of_materials(const PlateAnswer& answer) {
        const auto& result = *answer.result;
        for (const Kind& kind :
             {Kind{.materials = result.controls,
                   .name = "control",
                   .amount_column = "concentration",
                   .recovery_remedy = "look at its wells, its dilution and what it should hold; if these are "
                                      "right, the plate's other results are in doubt too: assay it again"},
              Kind{.materials = result.samples, .name = "sample", .amount_column = "", .recovery_remedy = ""},
              Kind{.materials = result.spikes,
                   .name = "spiked sample",
                   .amount_column = "added",
                   .recovery_remedy = "look at what was added, by how much it raises the concentration "
                                      "undiluted, and whether the sample disturbs the assay"}}) {
            for (const auto& material : kind.materials) {
                for (const auto& doubt : material.doubts) {
                    tell_of_doubt(answer.row.id, kind, material, doubt);
                }
            }
        }
    }

    void tell_of_doubt(const study::PlateId& plate, const Kind& kind, const condition::Material& material,
                       const condition::MaterialDoubt& doubt) {
        const auto place = condition::well_place(doubt.well);
        const auto row = std::ranges::find_if(sound_.wells, [&](const study::WellRow& well) {
            return place && well.plate == plate && well.row == place->row && well.column == place->column;
        });
        if (row == sound_.wells.end()) {
            return;
        }
        const auto [column, expected, remedy] = words_of(doubt.about, kind);
        out_.complaints.push_back(
            study::warn(row->place, column,
                        {.code = ErrorCode::out_of_range,
                         .found = fmt::format("{} \"{}\" of plate \"{}\": {}", kind.name, material.label,
                                              plate.text(), doubt.words),
                         .expected = expected,
                         .remedy = remedy}));
    }

    struct DoubtWords {
        const char* column;
        const char* expected;
        const char* remedy;
    };

    static DoubtWords words_of(condition::DoubtAbout about, const Kind& kind) {
        switch (about) {
        case condition::DoubtAbout::replicates:
            return {.column = "well",
                    .expected = "replicates alike within the limits of [plates] and the plate's noise",
                    .remedy =
                        "look at the wells; exclude one that is wrong with a reason, or assay it again; "
                        "until then all of them count"};
        case condition::DoubtAbout::dilutions:
            return {.column = "dilution",
                    .expected = "the same result at every dilution, within the limits of [plates]",
                    .remedy =
                        "look at the dilutions as written and as made; exclude the wells of one that is "
                        "wrong with a reason; if all are right the sample disturbs the assay"};
        case condition::DoubtAbout::recovery:
            break;
        }
        return {.column = kind.amount_column,
                .expected = "what it should hold, within the limits of [plates]",
                .remedy = kind.recovery_remedy};
    }

    [[nodiscard]] const study::WellRow* find_standard(const study::PlateId& plate, double nominal) const {
        const auto found = std::ranges::find_if(sound_.wells, [&](const study::WellRow& row) {
            const bool is_it =
                nominal == 0.0 ? row.kind == condition::WellKind::zero
                               : row.kind == condition::WellKind::standard && row.concentration == nominal;
            return row.plate == plate && is_it && row.excluded.empty();
        });
        return found == sound_.wells.end() ? nullptr : &*found;
    }

    const fs::path& folder_;
    const Study& study_;
    const study::ConditionSheets& sound_;
    PlateAnswers out_;
};

} // namespace

PlateAnswers answer_plates(const fs::path& folder, const Study& study) {
    if (study.tables.sheets.plates.empty()) {
        return {};
    }
    const auto sound = study::check_sheets(study.brief, study.tables).sound;
    PlateRun run(folder, study, sound);
    for (const auto& row : study.tables.sheets.plates) {
        run.add(row);
    }
    return run.take();
}

} // namespace backeddy::app
