// What looks like a slip: each row or name alone, and that the usual is let pass.

#include "study/doubts.hpp"

#include <deque>
#include <filesystem>
#include <regex>
#include <set>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/file.hpp"
#include "study/likeness.hpp"
#include "study/relations.hpp"
#include "study/settings.hpp"

namespace backeddy::study {
namespace {

using testing::AllOf;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

std::vector<std::string> texts(const std::vector<Complaint>& complaints) {
    std::vector<std::string> out;
    for (const auto& complaint : complaints) {
        out.push_back((complaint.severity == Severity::stops_the_run ? "stops: " : "beware: ") +
                      complaint.error.text());
    }
    return out;
}

Instant at(const std::string& clock) {
    return parse_iso("2026-06-" + clock + ":00Z").value();
}

Fish fish_of(const char* id, double grams, double millimetres) {
    Fish out;
    out.id = FishId(id);
    out.mass = Mass::grams(grams);
    out.fork_length_mm = millimetres;
    return out;
}

Tables one_stay(double grams, double litres) {
    Tables tables;
    tables.fish = {fish_of("A", grams, 480.0)};
    Assembly tube;
    tube.id = AssemblyId("N1");
    tube.chamber_volume = Volume::litres(litres);
    tables.assemblies = {tube};
    Stay stay;
    stay.id = StayId("s1");
    stay.fish = FishId("A");
    stay.assembly = AssemblyId("N1");
    stay.parts = {
        {.role = uptake::StayRole::rest, .from = at("14T12:00"), .to = at("15T08:00"), .place = {}}};
    tables.stays = {stay};
    return tables;
}

/// Rows of one sensor, a day apart, from line 2 on.
struct Points {
    std::deque<Calibration> rows;
    std::vector<PointRead> read;

    Points& add(CalibrationPoint point, double reading, double should_read, const char* unit) {
        Calibration row;
        row.sensor = SensorId("ox7");
        row.at = at("14T08:00") + Duration::hours(24.0 * static_cast<double>(rows.size()));
        row.point = point;
        row.place = {.file = "calibrations.csv", .line = rows.size() + 2, .column = {}, .byte = {}};
        rows.push_back(row);
        read.push_back({.row = &rows.back(),
                        .reading = reading,
                        .should_read = should_read,
                        .unit = unit,
                        .is_concentration = std::string(unit) == "mg/L"});
        return *this;
    }
    Points& air(double reading) { return add(CalibrationPoint::air, reading, 100.0, "% air"); }
    Points& zero(double reading) { return add(CalibrationPoint::zero, reading, 100.0, "% air"); }
    Points& air_mg(double reading, double full) { return add(CalibrationPoint::air, reading, full, "mg/L"); }
    [[nodiscard]] std::vector<std::string> said() const { return texts(check_points(read)); }
};

TEST(Doubts, an_air_point_far_from_air_saturation_is_told_with_what_it_should_read) {
    EXPECT_THAT(Points().air(85.0).said(), IsEmpty());
    EXPECT_THAT(Points().air(115.0).said(), IsEmpty());
    for (const double wrong : {84.9, 115.1, 9.9, 20.9}) {
        EXPECT_THAT(Points().air(wrong).said(),
                    ElementsAre(AllOf(HasSubstr("beware: "), HasSubstr("line 2"), HasSubstr("\"ox7\""),
                                      HasSubstr("about 100.0 % air"), HasSubstr("85 to 115"))))
            << wrong;
    }
    EXPECT_THAT(Points().air_mg(8.0, 9.6).said(), IsEmpty());
    EXPECT_THAT(Points().air_mg(96.0, 9.6).said(), ElementsAre(HasSubstr("5 to 16 mg/L")));
}

TEST(Doubts, a_zero_point_far_from_nothing_is_told_with_the_line_of_its_air_point) {
    EXPECT_THAT(Points().zero(9.9).air(100.0).said(), IsEmpty());
    EXPECT_THAT(Points().zero(-9.9).air(100.0).said(), IsEmpty());
    EXPECT_THAT(Points().zero(10.1).air(100.0).said(),
                ElementsAre(AllOf(HasSubstr("the zero point of \"ox7\" reads 10.10 % air"),
                                  HasSubstr("line 3"), HasSubstr("100.0 % air"))));
    EXPECT_THAT(Points().air(100.0).zero(-10.1).said(), SizeIs(1));
    EXPECT_THAT(Points().zero(50.0).said(), IsEmpty()); // no air point: told elsewhere
}

TEST(Doubts, air_points_that_drift_apart_are_told_with_both_lines_and_warmth_is_no_drift) {
    EXPECT_THAT(Points().air(95.0).air(104.0).said(), IsEmpty());
    EXPECT_THAT(Points().air(95.0).air(105.0).said(),
                ElementsAre(AllOf(HasSubstr("line 3"), HasSubstr("reads 105.0 % air"), HasSubstr("line 2"),
                                  HasSubstr("95.00 % air"), HasSubstr("10.5 %"))));
    EXPECT_THAT(Points().air_mg(12.8, 12.8).air_mg(9.1, 9.1).said(), IsEmpty());
    EXPECT_THAT(Points().air_mg(9.1, 9.1).air_mg(8.0, 9.1).said(), SizeIs(1));
}

TEST(Doubts, a_mass_in_kilograms_does_not_go_with_the_length) {
    Tables tables;
    tables.fish = {fish_of("A", 1.2, 480.0), fish_of("B", 1200.0, 480.0)};
    EXPECT_THAT(texts(check_condition(tables)), ElementsAre(AllOf(HasSubstr("beware"), HasSubstr("\"A\""))));
}

TEST(Doubts, a_mass_in_pounds_does_not_go_with_the_study_s_other_fish) {
    Tables tables;
    for (const double grams : {980.0, 1200.0, 1300.0, 1460.0}) {
        tables.fish.push_back(fish_of("A", grams, 480.0));
    }
    tables.fish.push_back(fish_of("B", 1220.0 / 2.20462, 480.0)); // K = 0.50, within 0.3 to 3
    EXPECT_THAT(check_condition(tables), IsEmpty());
    EXPECT_THAT(texts(check_masses(tables)),
                ElementsAre(AllOf(HasSubstr("beware"), HasSubstr("\"B\""),
                                  HasSubstr("a condition factor of 0.50, the median of 4 others is 1.1"))));
    tables.fish.back().species = "Salmo salar";
    EXPECT_THAT(check_masses(tables), IsEmpty()) << "nothing of its kind to go by";
    tables.fish.back() = fish_of("B", 1.2, 480.0);
    EXPECT_THAT(check_masses(tables), IsEmpty()) << "told by the condition alone";
    EXPECT_THAT(check_condition(tables), SizeIs(1));
}

TEST(Doubts, a_mass_far_from_its_kind_is_told_where_no_length_is_known) {
    Tables tables;
    for (const double grams : {900.0, 1.0, 1500.0, 2600.0}) {
        Fish fish;
        fish.id = FishId(grams == 1.0 ? "B" : "A");
        fish.species = "Salmo trutta";
        fish.mass = Mass::grams(grams);
        fish.place = {.file = "fish.csv", .line = tables.fish.size() + 2, .column = {}, .byte = {}};
        tables.fish.push_back(fish);
    }
    EXPECT_THAT(
        texts(check_masses(tables)),
        ElementsAre(AllOf(HasSubstr("beware: fish.csv line 3, column \"mass_g\""),
                          HasSubstr("\"B\" weighs 1 g, the median of 3 others of Salmo trutta is 1500 g"),
                          HasSubstr("in g (not kg)"))));
    tables.fish[1].mass = Mass::grams(60.0);
    EXPECT_THAT(check_masses(tables), IsEmpty()) << "25 times smaller";
    tables.fish[1].mass = Mass::grams(1.0);
    tables.fish[1].species = "Gasterosteus aculeatus";
    EXPECT_THAT(check_masses(tables), IsEmpty());
}

TEST(Doubts, a_study_in_which_no_fish_has_a_mass_says_so_once) {
    Tables tables;
    EXPECT_THAT(check_any_mass(tables), IsEmpty());
    tables.fish.resize(3);
    tables.fish[1].id = FishId("B");
    EXPECT_THAT(texts(check_any_mass(tables)),
                ElementsAre(AllOf(HasSubstr("fish.csv"), HasSubstr("no fish has a mass (3 in the table)"),
                                  HasSubstr("mass_g"))));
    Event weighed;
    weighed.kind = EventKind::weighed;
    weighed.fish = FishId("B");
    weighed.value = 1.2;
    weighed.unit = "kg";
    tables.events = {weighed};
    EXPECT_THAT(check_any_mass(tables), IsEmpty());
    tables.events.clear();
    tables.fish[2].mass = Mass::grams(800.0);
    EXPECT_THAT(check_any_mass(tables), IsEmpty());
}

TEST(Doubts, a_chamber_in_millilitres_is_far_too_large_for_its_fish) {
    EXPECT_THAT(check_room(one_stay(1200.0, 30.0)), IsEmpty());
    EXPECT_THAT(texts(check_room(one_stay(1200.0, 30000.0))), ElementsAre(HasSubstr("25000 L for each kg")));
    EXPECT_THAT(check_room(one_stay(1.2, 30.0)), SizeIs(1));
    auto looped = one_stay(1200.0, 30.0);
    looped.assemblies[0].loop_volume = Volume::litres(800.0);
    EXPECT_THAT(texts(check_room(looped)),
                ElementsAre(HasSubstr("the loop of \"N1\" holds 800 L, its chamber 30 L")));
}

TEST(Doubts, a_timetable_of_an_unknown_assembly_stops_and_offers_the_near_one) {
    Brief brief;
    brief.states.timetables.push_back({.assembly = AssemblyId("N2")});
    EXPECT_THAT(texts(check_brief_names(brief, one_stay(1200.0, 30.0))),
                ElementsAre(AllOf(HasSubstr("stops"), HasSubstr("did you mean \"N1\"?"))));
    brief.states.timetables.front().assembly = AssemblyId("N1");
    EXPECT_THAT(check_brief_names(brief, one_stay(1200.0, 30.0)), IsEmpty());
}

TEST(Doubts, species_groups_and_clocks_that_nothing_bears_are_told) {
    Brief brief;
    brief.study.species = {"Salmo trutta"};
    brief.report.group_by = "rigg";
    brief.traces.push_back({.name = "boat", .clock = ClockId("boatt")});
    Tables tables = one_stay(1200.0, 30.0);
    tables.fish.front().species = "Salmo truta";
    ClockCheck check;
    check.clock = ClockId("boat");
    tables.clock_checks = {check};
    EXPECT_THAT(texts(check_brief_names(brief, tables)),
                testing::UnorderedElementsAre(HasSubstr("did you mean \"boat\"?"),
                                              HasSubstr("did you mean \"Salmo trutta\"?"),
                                              HasSubstr("did you mean \"rig\"?")));
}

// U+00E9 and U+0065 U+0301 are canonically equivalent (The Unicode Standard, UnicodeData.txt).
TEST(Likeness, one_letter_written_in_two_ways_looks_alike_and_plain_letters_do_not) {
    const std::string composed = "\xC3\xA9";
    const std::string apart = "e\xCC\x81";
    EXPECT_EQ(as_it_looks(composed), as_it_looks(apart));
    EXPECT_NE(as_it_looks("e"), as_it_looks(composed));
    EXPECT_EQ(as_it_looks("st\xE2\x80\x8B"
                          "01"),
              "st01");
    EXPECT_EQ(look_alike(apart, {"e", composed}), composed);
    EXPECT_EQ(look_alike(composed, {composed}), std::nullopt);

    Tables tables;
    tables.fish = {fish_of(composed.c_str(), 1200.0, 480.0), fish_of(apart.c_str(), 1200.0, 480.0)};
    EXPECT_THAT(check_look_alikes(tables), SizeIs(1));
    tables.fish.pop_back();
    Encounter met;
    met.fish = FishId(apart);
    tables.encounters = {met};
    EXPECT_THAT(texts(check_encounters(tables)), ElementsAre(HasSubstr("looks the same")));
}

ClockCheck check_of(const char* clock, const std::string& shown, const std::string& true_time,
                    const char* reference = "") {
    ClockCheck out;
    out.clock = ClockId(clock);
    out.shown = at(shown);
    out.true_time = at(true_time);
    out.uncertainty = Duration::seconds(1.0);
    out.reference = ClockId(reference);
    return out;
}

Brief with_clocks(std::vector<const char*> names) {
    Brief brief;
    for (const auto* name : names) {
        brief.traces.push_back({.name = name});
    }
    return brief;
}

TEST(Clocks, that_are_compared_in_a_circle_stop) {
    Tables tables;
    tables.clock_checks = {check_of("a", "11T19:13", "11T19:20", "b"),
                           check_of("b", "11T19:13", "11T19:20", "a")};
    EXPECT_THAT(texts(check_clocks(with_clocks({"a", "b"}), tables)),
                ElementsAre(AllOf(HasSubstr("stops"), HasSubstr("\"a\", \"b\""))));
    EXPECT_THAT(clocks_in_order(tables), IsEmpty());
    tables.clock_checks.back().reference = {};
    EXPECT_THAT(check_clocks(with_clocks({"a", "b"}), tables), IsEmpty());
    EXPECT_THAT(clocks_in_order(tables), ElementsAre(ClockId("b"), ClockId("a")));
}

TEST(Clocks, six_hours_off_within_a_day_is_no_drift_unless_the_clock_was_set) {
    Tables tables;
    tables.clock_checks = {check_of("a", "11T19:00", "11T19:07"), check_of("a", "12T11:00", "12T17:07")};
    EXPECT_THAT(texts(check_clocks(with_clocks({"a"}), tables)),
                ElementsAre(AllOf(HasSubstr("stops"), HasSubstr("-21600 s"), HasSubstr("38 %"))));
    auto reset = check_of("a", "12T02:00", "12T08:07");
    reset.how = "reset";
    tables.clock_checks.push_back(reset);
    EXPECT_THAT(check_clocks(with_clocks({"a"}), tables), IsEmpty());
}

TEST(Calibrations, a_zero_point_alone_is_told) {
    Tables tables;
    Assembly tube;
    tube.id = AssemblyId("N1");
    tube.sensor = SensorId("s1");
    tables.assemblies = {tube};
    Calibration zero;
    zero.sensor = SensorId("s1");
    zero.point = CalibrationPoint::zero;
    tables.calibrations = {zero};
    EXPECT_THAT(texts(check_calibrations(tables)), ElementsAre(HasSubstr("no air point")));
}

TEST(Complaints, causes_stand_before_what_follows_from_them) {
    const auto of = [](const char* file, ErrorCode code) {
        return Complaint{.error = {.code = code, .place = {.file = file}}};
    };
    std::vector<Complaint> list{
        of("assemblies.csv", ErrorCode::bad_relation), of("raw/a.csv", ErrorCode::bad_time),
        of("study.toml", ErrorCode::bad_setting), of("raw/b.csv", ErrorCode::bad_text)};
    sort_by_place(list);
    std::vector<std::string> files;
    for (const auto& complaint : list) {
        files.push_back(complaint.error.place.file);
    }
    EXPECT_THAT(files, ElementsAre("raw/b.csv", "study.toml", "assemblies.csv", "raw/a.csv"));
}

/// Every `key = \"value\"` that a message of the sources tells a person to write.
std::set<std::string> keys_told() {
    std::set<std::string> out;
    const std::regex told("\\b([a-z_]+) = \\\\\"");
    for (const auto* folder : {"/src/intake", "/src/study", "/src/app"}) {
        for (const auto& entry :
             std::filesystem::recursive_directory_iterator(std::string(BACKEDDY_SOURCE_DIR) + folder)) {
            // The template of a brief writes columns and answers of a study's own as well.
            if (entry.path().extension() != ".cpp" || entry.path().filename() == "template.cpp") {
                continue;
            }
            const auto text = read_file(entry.path());
            for (std::sregex_iterator found(text->begin(), text->end(), told), end; found != end; ++found) {
                out.insert((*found)[1]);
            }
        }
    }
    return out;
}

TEST(Remedies, name_only_keys_that_there_are) {
    std::set<std::string> known{
        "column"}; // "column = \"assigned\"" of [columns] stands for any column's name
    for (const auto& setting : settings()) {
        known.insert(setting.key);
    }
    for (const auto& setting : trace_settings()) {
        known.insert(setting.key);
    }
    for (const auto& setting : trace_column_settings()) {
        known.insert(setting.key);
    }
    for (const auto& setting : question_settings()) {
        known.insert(setting.key);
    }
    const auto told = keys_told();
    EXPECT_THAT(told, SizeIs(testing::Ge(5U)));
    for (const auto& key : told) {
        EXPECT_TRUE(known.contains(key)) << "a message tells to write " << key << " = \"...\"";
    }
    EXPECT_FALSE(told.contains("kind"));
}

} // namespace
} // namespace backeddy::study
