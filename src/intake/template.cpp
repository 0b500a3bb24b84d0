#include "intake/template.hpp"

#include <algorithm>
#include <system_error>

#include <fmt/format.h>

#include "base/file.hpp"
#include "base/html_text.hpp"
#include "condition/blood.hpp"
#include "study/columns.hpp"
#include "study/describe.hpp"
#include "study/settings.hpp"

namespace backeddy::intake {

namespace {

// ---- study.toml

/// Words of `text` as remark lines of at most 100 characters.
std::string remark(const std::string& text) {
    std::string out;
    std::string line = "#";
    std::size_t at = 0;
    while (at < text.size()) {
        const auto end = std::min(text.find(' ', at), text.size());
        const auto word = text.substr(at, end - at);
        if (line.size() + 1 + word.size() > 100 && line.size() > 1) {
            out += line + "\n";
            line = "#";
        }
        line += " " + word;
        at = end + 1;
    }
    return out + line + "\n";
}

std::string example_of(study::SettingKind kind) {
    switch (kind) {
    case study::SettingKind::channel:
        return "\"trace:channel\"";
    case study::SettingKind::texts:
        return "[]";
    case study::SettingKind::text:
    case study::SettingKind::word:
    case study::SettingKind::time:
        return "\"\"";
    case study::SettingKind::yes_no:
        return "false";
    case study::SettingKind::numbers:
        return "[]";
    case study::SettingKind::number:
    case study::SettingKind::whole:
        break;
    }
    return "";
}

template <typename Owner>
std::string setting_lines(const study::SettingOf<Owner>& setting) {
    const auto usual = study::toml_text(setting.get(Owner{}));
    std::string what = setting.why;
    if (!setting.words.empty()) {
        what += " One of:";
        for (const auto& word : setting.words) {
            what += " " + word;
        }
        what += ".";
    }
    if (!setting.unit.empty()) {
        what += " Unit: " + setting.unit + ".";
    }
    const bool is_empty = usual.empty() || usual == "\"\"" || usual == "[]";
    if (is_empty) {
        what += " Not set unless you do.";
    }
    return remark(what) +
           fmt::format("#{} = {}\n", setting.key, usual.empty() ? example_of(setting.kind) : usual);
}

std::string own_section() {
    return "[study]\n"
           "title = \"My study\"\n"
           "place = \"\"\n"
           "# IANA time zone of all local times in the tables, such as Europe/Oslo.\n"
           "zone = \"UTC\"\n"
           "# Number of the animal permit.\n"
           "permit = \"\"\n"
           "species = []\n"
           "# Of a simulated study: the sentence that stands on every page.\n"
           "#simulated = \"\"\n";
}

std::string question_examples() {
    std::string out =
        remark("---- [[question]]: what this study is to find out, one section for each question. Write them "
               "before the first fish is met and run `backeddy declare` on this folder: the report then says "
               "that they came first. An answer to a question that was never declared is exploratory.") +
        remark("One group of fish against another, with what else moves the outcome beside:") +
        "#[[question]]\n#name = \"rig_peak\"\n#ask = \"Does the rig change the peak after capture?\"\n"
        "#outcome = \"peak_after_capture\"\n#compare = \"rig\"\n"
        "#adjust_for = [\"log(mass_g)\", \"temperature_c\"]\n#random = [\"day\"]\n" +
        remark("The same fish twice:") +
        "#[[question]]\n#name = \"capture_chase\"\n"
        "#ask = \"Is the peak after capture that after chase?\"\n#outcome = \"peak\"\n"
        "#compare = \"after\"\n#within = \"fish\"\n" +
        remark("Whether one rig lands fewer, by no more than a fifth:") +
        "#[[question]]\n#name = \"rig_landings\"\n"
        "#ask = \"Does the single hook land as many fish for each rod-hour?\"\n"
        "#outcome = \"landings\"\n#compare = \"rig\"\n#margin = 0.8\n#better = \"higher\"\n" +
        remark("Every key of a question:");
    for (const auto& setting : study::question_settings()) {
        out += setting_lines(setting);
    }
    return out;
}

std::string list_examples() {
    std::string out =
        "\n# ---- [[trace]]: files that one logger wrote. Take the # off and write one for each logger.\n"
        "#[[trace]]\n"
        "#name = \"boat\"\n"
        "#files = [\"raw/boat/*.csv\"]\n";
    for (const auto& setting : study::trace_settings()) {
        if (setting.key != "name" && setting.key != "files") {
            out += setting_lines(setting);
        }
    }
    out +=
        "# What a column is, where `backeddy check` shows that it was not understood:\n#[[trace.column]]\n";
    for (const auto& setting : study::trace_column_settings()) {
        out += setting_lines(setting);
    }
    out += "\n# ---- A pump that ran by the clock:\n#[[states.timetable]]\n#start = \"2026-06-14 18:00\"\n";
    for (const auto& setting : study::timetable_settings()) {
        out += setting_lines(setting);
    }
    out +=
        "\n# ---- A handheld meter, set right by samples that a reference method measured too: the meter's\n"
        "# reading first. At least five pairs, better twenty.\n"
        "#[[meter]]\n#device = \"strip meter\"\n#analyte = \"lactate\"\n"
        "#pairs = [[1.4, 1.1], [3.0, 2.6], [5.1, 4.6], [8.9, 8.2], [13.6, 12.4]]\n";
    for (const auto& setting : study::meter_settings()) {
        if (setting.key != "device" && setting.key != "analyte") {
            out += setting_lines(setting);
        }
    }
    out += "\n# ---- Settings that hold for a part of the study, by the start of a stay:\n"
           "#[[season]]\n#name = \"autumn\"\n#from = \"2026-09-01 00:00\"\n#to = \"2026-12-01 00:00\"\n"
           "#[season.water]\n#salinity = 28.0\n";
    return out;
}

// ---- the tables

std::string header_line(const study::TableDefinition& table) {
    std::string out;
    for (const auto& column : table.columns) {
        out += (out.empty() ? "" : ",") + column.name;
    }
    return out + "\n";
}

std::string readme() {
    return "# How to fill this folder\n\n"
           "1. `field-sheets.html`: open it in a browser and print it; take it on the boat. Once the brief\n"
           "   names rods, rigs and the permit, the pages of `backeddy serve` print sheets made from it\n"
           "   (Set-up, Paper), and take them typed in.\n"
           "2. Put the loggers' files into `raw/`, as they are. They are read, never written.\n"
           "3. Type the sheets into the tables below with any spreadsheet, saved as CSV. Columns of your own "
           "may be added.\n"
           "4. In `study.toml` name the loggers (`[[trace]]`), the salinity and the pressure. Everything "
           "else has a "
           "default.\n"
           "5. `backeddy check` on this folder says what is missing or contradicts itself, with file and "
           "line.\n"
           "6. `backeddy run` on it writes `results/`.\n\n"
           "Times: `2026-06-14 21:05` (local, in the zone that study.toml names) or with an offset, "
           "`2026-06-14T21:05+02:00`. Empty cells mean \"not known\".\n\n"
           "## The tables\n" +
           study::columns_markdown();
}

// ---- field sheets

struct Sheet {
    std::string title;
    std::string goes_into; ///< the table or tables
    std::string how;
    std::vector<std::string> columns;
    int rows = 10;
    std::vector<std::string> cautions;
};

std::string sheet_html(const Sheet& sheet) {
    std::string out = fmt::format(
        "<section class=\"sheet\">\n<h2>{}</h2>\n<p class=\"how\">{} <span>Goes into {}.</span></p>\n"
        "<p class=\"line\">Date ____________ &nbsp; Place ________________________ &nbsp; Who "
        "________________ &nbsp; Sheet ____ of ____</p>\n<table>\n<thead><tr>",
        html_text(sheet.title), html_text(sheet.how), html_text(sheet.goes_into));
    for (const auto& column : sheet.columns) {
        out += "<th scope=\"col\">" + html_text(column) + "</th>";
    }
    out += "</tr></thead>\n<tbody>\n";
    for (int row = 0; row < sheet.rows; ++row) {
        out += "<tr>";
        for (std::size_t i = 0; i < sheet.columns.size(); ++i) {
            out += "<td></td>";
        }
        out += "</tr>\n";
    }
    out += "</tbody>\n</table>\n<ul class=\"cautions\">\n";
    for (const auto& caution : sheet.cautions) {
        out += "<li>" + html_text(caution) + "</li>\n";
    }
    return out + "</ul>\n</section>\n";
}

const std::string no_life_support = "This is no life support: pumps must fail to flush in hardware, and "
                                    "somebody stays within reach of the fish.";
const std::string permit_decides = "The permit and the licensed investigator decide on handling, "
                                   "anaesthesia, blood and endpoints. No righting reflex, no "
                                   "gill beat, heavy bleeding: stop, and do what the permit says.";
const std::string sharps =
    "Hooks and needles go into the sharps box at once, never loose on deck or into a pocket.";
const std::string electricity = "Pumps beside water: a residual-current device (RCD), tested today; plugs "
                                "above the splash, drip loops; unplug before "
                                "hands go in.";
const std::string sulfite = "Zero solution (sulfite): never with acid, in fresh air, with gloves and eye "
                            "protection; rinse the probe before it goes "
                            "back to a fish.";
const std::string deck_first =
    "Log when the deck is safe: a late entry is as good, with its uncertainty in seconds.";

std::vector<Sheet> sheets() {
    return {
        {.title = "Catch log",
         .goes_into = "encounters.csv and events.csv",
         .how = "One row per fish, also of those lost. Times as hh:mm:ss by one watch; say how sure (± s).",
         .columns = {"encounter", "fish", "rig", "hook up", "landed or lost", "± s", "back in water",
                     "sealed", "sealed in", "unhooked", "landed by", "hook", "air (s)", "water °C",
                     "note; lost: why"},
         .rows = 10,
         .cautions = {deck_first, permit_decides, sharps, no_life_support}},
        {.title = "Stays",
         .goes_into = "stays.csv, events.csv and fish.csv",
         .how = "One row per fish or blank in one chamber. role: after_capture, rest, after_chase, "
                "handled_only, control, "
                "held, blank, leak_test. ended: done, died, escaped, welfare_stop, equipment, opened.",
         .columns = {"stay", "fish", "assembly", "role", "from", "to", "ended", "last_good", "mass_g",
                     "fork_length_mm", "blood, chase, air, cleaning: what and when", "note"},
         .rows = 10,
         .cautions =
             {no_life_support, permit_decides, electricity,
              "A full chamber is heavy: two people lift it. Nobody works alone at night beside the water."}},
        {.title = "Blood",
         .goes_into = "blood.csv and samples.csv",
         .how = "One row per draw; a value typed later is a row of its own in blood.csv, with its unit and "
                "device. Below what a device can tell: <, with its limit. Red plasma: none, slight, marked.",
         .columns = {"fish", "drawn_at (hh:mm)", "volume_ml", "mL per kg", "tubes (labels)", "matrix",
                     "lactate", "glucose", "haematocrit %", "device", "haemolysis", "freezer", "who", "note"},
         .rows = 10,
         .cautions = {std::string(condition::blood_caution),
                      "Before the needle: what the permit lets be drawn, mL per kg of this fish, less what "
                      "was drawn already.",
                      permit_decides}},
        {.title = "Fins and body",
         .goes_into = "fins.csv and body.csv",
         .how =
             "One row per fish, occasion (landing, before_holding, after_holding) and scorer. Levels as the "
             "brief has them, from 0, unhurt; s split, f frayed, n net marks behind the level. Hook wound: "
             "none, slight, moderate, heavy. Not looked at: leave empty.",
         .columns = {"fish", "occasion",      "at (hh:mm)",     "dorsal",      "caudal",
                     "anal", "left pectoral", "right pectoral", "left pelvic", "right pelvic",
                     "head", "back",          "left flank",     "right flank", "belly",
                     "tail", "left eye",      "right eye",      "hook wound",  "scorer"},
         .rows = 10,
         .cautions =
             {"Two scorers who do not see each other's sheet, on some of the fish: only they show how "
              "far scores can be trusted.",
              "Wet hands, in water or on a wet mat, and quickly: the fish is out of its breath.",
              permit_decides}},
        {.title = "Reflexes",
         .goes_into = "reflexes.csv",
         .how = "One row per look. Y: the fish showed it; N: it did not; empty: not tested, which is not N. "
                "The tests are those of the brief.",
         .columns = {"fish", "at (hh:mm:ss)", "righting", "tail grab", "body flex", "gill beat", "eye roll",
                     "who", "note"},
         .rows = 10,
         .cautions = {permit_decides, deck_first}},
        {.title = "Fate",
         .goes_into = "fates.csv",
         .how =
             "One row per thing known: seen_alive, tagged, held, released, detected, recaptured, tag_shed, "
             "lost, dead. Of dead and lost write when it was last seen alive: a death lies between two "
             "looks. stage: play, tube, transfer, chamber, chase, holding, after_release.",
         .columns = {"fish", "at (date, time)", "what", "last_alive (date, time)", "stage", "cause",
                     "tag type", "tag serial", "tag place", "who", "note"},
         .rows = 10,
         .cautions = {"Write each look at held fish, also when all live: it is what a death is dated by.",
                      "Tags are put in by trained hands named on the permit.", permit_decides, sharps}},
        {.title = "Calibrations",
         .goes_into = "calibrations.csv",
         .how = "Every sensor before and after: zero (no oxygen) and air (100 % of air saturation).",
         .columns = {"sensor", "at (date, time)", "point: zero / air", "reading", "unit", "temperature_c",
                     "pressure_kpa", "salinity", "uncertainty", "who", "note"},
         .rows = 12,
         .cautions = {sulfite, electricity}},
        {.title = "Clock checks",
         .goes_into = "clock_checks.csv",
         .how = "Every logger at the start and at the end of each day: what it shows, and the true time at "
                "that moment.",
         .columns = {"clock", "shown (date, time)", "true (date, time)", "± s", "against what", "note"},
         .rows = 12,
         .cautions = {"A clock that was set in between needs a check just before and just after.",
                      deck_first}},
    };
}

const std::string style = R"(
@page { size: A4 landscape; margin: 10mm; }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 277mm; font: 11pt/1.3 sans-serif; color: #000; background: #fff; }
h1 { font-size: 16pt; } h2 { font-size: 18pt; margin: 0 0 1mm; }
.sheet { break-after: page; padding: 2mm 0; }
.sheet:last-of-type { break-after: auto; }
.how { margin: 0 0 2mm; font-size: 10pt; } .how span { white-space: nowrap; font-weight: bold; }
.line { margin: 0 0 2mm; }
table { width: 100%; border-collapse: collapse; table-layout: fixed; }
th, td { border: 0.4mm solid #000; } th { font-size: 8.5pt; padding: 1mm; text-align: left; vertical-align: bottom; overflow-wrap: anywhere; }
td { height: 9.5mm; }
.cautions { margin: 2mm 0 0; padding-left: 5mm; font-size: 9pt; }
@media screen { body { padding: 5mm; } .scroll { overflow-x: auto; } }
)";

bool holds_anything(const std::filesystem::path& folder, std::error_code& error) {
    const std::filesystem::directory_iterator entries(folder, error);
    return !error && entries != std::filesystem::directory_iterator();
}

Error cannot_make(const std::filesystem::path& path, const std::error_code& error) {
    return {.code = ErrorCode::cannot_write,
            .found = path.string() + ": " + error.message(),
            .expected = "a folder that can be made and written",
            .remedy = "choose another place",
            .place = {},
            .context = {}};
}

// A folder that could not be filled (the disk is full) is left as it was found: empty, or not there.
void take_back(const std::filesystem::path& folder, bool was_there) {
    std::error_code ignored;
    for (const auto& file : template_files()) {
        std::filesystem::remove(folder / file.name, ignored);
    }
    std::filesystem::remove(folder / "raw", ignored);
    if (!was_there) {
        std::filesystem::remove(folder, ignored);
    }
}

} // namespace

std::string brief_template() {
    std::string out =
        "# The brief of a Backeddy study. Lines that begin with # are remarks: take the # off a setting to\n"
        "# change it. What is not set has the value shown.\n\n" +
        own_section();
    for (const auto& section : study::sections()) {
        if (section.name == "study") {
            continue;
        }
        out += "\n# ---- " + section.what + "\n[" + section.name + "]\n";
        for (const auto& setting : study::settings()) {
            if (setting.section == section.name) {
                out += setting_lines(setting);
            }
        }
    }
    out += "\n# ---- Columns of your own: when they were decided or measured (assigned, before, during, "
           "after the\n"
           "# treatment).\n[columns]\n#rig = \"assigned\"\n#fight_time_s = \"during\"\n"
           "\n# ---- Answers to what no data can know, for the methods section.\n[report.answers]\n"
           "#chamber_material = \"acrylic\"\n";
    return out + "\n" + question_examples() + list_examples();
}

std::string field_sheets_html() {
    std::string out = "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
                      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
                      "<title>Field sheets</title>\n<style>" +
                      style + "</style>\n</head>\n<body>\n<main>\n";
    for (const auto& sheet : sheets()) {
        out += sheet_html(sheet);
    }
    return out + "</main>\n</body>\n</html>\n";
}

std::vector<TemplateFile> template_files() {
    std::vector<TemplateFile> out{{"study.toml", brief_template()}};
    for (const auto& table : study::tables()) {
        out.push_back({table.file, header_line(table)});
    }
    out.push_back({"README.md", readme()});
    out.push_back({"field-sheets.html", field_sheets_html()});
    return out;
}

Expected<void> write_template(const std::filesystem::path& folder) {
    if (folder.empty()) {
        return fail({.code = ErrorCode::bad_usage,
                     .found = "no folder is named: the name is empty",
                     .expected = "a new or empty folder",
                     .remedy = "name it, such as \"season\"; where it came from a variable, that is empty",
                     .place = {},
                     .context = {}});
    }
    std::error_code error;
    if (std::filesystem::exists(folder, error)) {
        if (!std::filesystem::is_directory(folder, error)) {
            return fail({.code = ErrorCode::bad_usage,
                         .found = folder.string() + " is a file",
                         .expected = "a new or empty folder",
                         .remedy = "choose another name",
                         .place = {},
                         .context = {}});
        }
        const bool is_taken = holds_anything(folder, error);
        if (error) {
            return fail(cannot_make(folder, error));
        }
        if (is_taken) {
            return fail({.code = ErrorCode::bad_usage,
                         .found = folder.string() + " holds something already",
                         .expected = "a new or empty folder: nothing is ever written over",
                         .remedy = "choose another name, or empty it yourself",
                         .place = {},
                         .context = {}});
        }
    }
    const bool was_there = std::filesystem::exists(folder, error);
    std::filesystem::create_directories(folder / "raw", error);
    if (error) {
        return fail(cannot_make(folder, error));
    }
    for (const auto& file : template_files()) {
        if (auto written = write_new_file(folder / file.name, file.text); !written) {
            take_back(folder, was_there);
            return written;
        }
    }
    return {};
}

} // namespace backeddy::intake
