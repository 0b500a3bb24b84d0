#include "live/talk.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "live/plain.hpp"

namespace backeddy::live {
namespace {

using nlohmann::json;
using testing::HasSubstr;

std::string said_of(const std::string& text) {
    const auto hand = hand_from(text, test::plan());
    return hand ? "taken" : hand.error().text();
}

template <typename Act>
Act act_of(const std::string& text) {
    return std::get<Act>(test::value_of(hand_from(text, test::plan())).act);
}

TEST(Hands, are_read_with_all_that_they_carry) {
    const auto hand = test::value_of(hand_from(
        R"({"chamber":"shore","by":"A. Keen","act":"put_in","role":"rest","mass_kg":1.25})", test::plan()));
    EXPECT_EQ(hand.chamber, 1U);
    EXPECT_EQ(hand.by, "A. Keen");
    EXPECT_EQ(std::get<watch::hand::PutIn>(hand.act).role, watch::StayRole::rest);
    EXPECT_EQ(std::get<watch::hand::PutIn>(hand.act).mass_kg, 1.25);
    EXPECT_EQ(act_of<watch::hand::PutIn>(R"({"by":"a","act":"put_in","role":"blank"})").mass_kg,
              std::nullopt);
    EXPECT_EQ(act_of<watch::hand::Hold>(R"({"by":"a","act":"hold","minutes":5})").minutes, 5.0);
    EXPECT_EQ(act_of<watch::hand::Done>(R"({"by":"a","act":"done","what":"seal"})").what, watch::Due::seal);
    EXPECT_EQ(
        act_of<watch::hand::Expect>(R"({"by":"a","act":"expect","what":"blood","at":"2026-06-14T21:05:00Z"})")
            .at,
        *parse_iso("2026-06-14T21:05:00Z"));
    const auto shelve = act_of<watch::hand::Shelve>(
        R"({"by":"a","act":"shelve","cause":"restless","minutes":30,"reason":"seal near"})");
    EXPECT_EQ(shelve.cause, watch::Cause::restless);
    EXPECT_EQ(shelve.reason, "seal near");
    EXPECT_EQ(
        test::value_of(hand_from(R"({"chamber":null,"by":"a","act":"quiet","cause":"disk"})", test::plan()))
            .chamber,
        std::nullopt);
}

TEST(Hands, that_are_not_as_they_should_be_are_told_what_is_expected) {
    EXPECT_THAT(said_of("hold!"), HasSubstr("no JSON object"));
    EXPECT_THAT(said_of(R"(["hold"])"), HasSubstr("no JSON object"));
    EXPECT_THAT(said_of(R"({"act":"resume"})"), HasSubstr("there is no \"by\""));
    EXPECT_THAT(said_of(R"({"by":"a","act":"open"})"),
                HasSubstr("act \"open\"; one of acknowledge, clean, "));
    EXPECT_THAT(said_of(R"({"by":"a","act":"hold"})"),
                HasSubstr("there is no \"minutes\"; a number above 0"));
    EXPECT_THAT(said_of(R"({"by":"a","act":"hold","minutes":-1})"), HasSubstr("\"minutes\" is -1"));
    EXPECT_THAT(said_of(R"({"by":"a","act":"hold","minutes":"5"})"), HasSubstr("a number above 0"));
    EXPECT_THAT(said_of(R"({"by":"a","act":"hold","minutes":1e999})"), HasSubstr("no JSON object"));
    EXPECT_THAT(said_of(R"({"by":"a","act":"weighed","mass_kg":0})"), HasSubstr("\"mass_kg\" is 0"));
    EXPECT_THAT(said_of(R"({"by":"a","act":"put_in","role":"sleep"})"), HasSubstr("a role, as in stays.csv"));
    EXPECT_THAT(said_of(R"({"by":"a","act":"acknowledge","cause":"fog"})"),
                HasSubstr("the word of an alarm's cause"));
    EXPECT_THAT(said_of(R"({"by":"a","act":"expect","what":"blood","at":"soon"})"), HasSubstr("a moment"));
    EXPECT_THAT(said_of(R"({"by":"a","act":"resume","chamber":"pier"})"),
                HasSubstr("chamber \"pier\"; one of deck, shore"));
    EXPECT_THAT(said_of(fmt::format(R"({{"by":"{}","act":"resume"}})", std::string(300, 'a'))),
                HasSubstr("a text"));
}

watch::Input input(double steady_s, std::vector<watch::Reading> readings = {},
                   std::vector<watch::Hand> hands = {}) {
    return {.now = {.wall = Instant::unix_seconds(1.78e9 + steady_s), .steady_s = steady_s, .boot = "b"},
            .readings = std::move(readings),
            .hands = std::move(hands),
            .machine = {}};
}

TEST(Now, says_what_is_in_each_chamber_and_what_it_does) {
    watch::Watch watch(test::plan());
    const watch::Hand put{
        .chamber = 0, .by = "a", .act = watch::hand::PutIn{.role = watch::StayRole::rest, .mass_kg = 1.5}};
    for (double t = 100.0; t < 110.0; t += 1.0) {
        (void)watch.step(
            input(t,
                  {{.kind = watch::ChannelKind::oxygen, .chamber = 0, .steady_s = t, .value = 8.0},
                   {.kind = watch::ChannelKind::temperature, .chamber = 0, .steady_s = t, .value = 12.0}},
                  t < 101.0 ? std::vector{put} : std::vector<watch::Hand>{}));
    }
    const auto said = json::parse(now_json(
        watch, input(110.0).now, {.through = 17, .devices = {"meter lost: no answer"}, .samples_fault = ""}));
    EXPECT_EQ(said["at"], "2026-05-28T20:28:30Z");
    EXPECT_EQ(said["through"], 17);
    EXPECT_EQ(said["devices_lost"][0], "meter lost: no answer");
    ASSERT_EQ(said["chambers"].size(), 2U);
    const auto& deck = said["chambers"][0];
    EXPECT_EQ(deck["name"], "deck");
    EXPECT_EQ(deck["use"], "fish");
    EXPECT_EQ(deck["role"], "rest");
    EXPECT_EQ(deck["mass_kg"], 1.5);
    EXPECT_EQ(deck["phase"], "flush");
    EXPECT_NEAR(deck["oxygen_percent"], 100.0 * 8.0 / watch::full_mg_per_l(test::plan(), 12.0), 0.5);
    EXPECT_EQ(deck["uptake"], nullptr);
    const auto& shore = said["chambers"][1];
    EXPECT_EQ(shore["use"], "empty");
    EXPECT_EQ(shore["role"], nullptr);
    EXPECT_EQ(shore["oxygen_percent"], nullptr) << "nothing was said, and nothing is made up";
}

TEST(Now, lists_alarms_with_what_to_do) {
    watch::Watch watch(test::plan());
    const watch::Hand put{.chamber = 1, .by = "a", .act = watch::hand::PutIn{}};
    (void)watch.step(input(0.0, {}, {put}));
    for (double t = 1.0; t < 90.0; t += 1.0) {
        (void)watch.step(input(t));
    }
    const auto said = json::parse(now_json(watch, input(90.0).now, {}));
    const auto found = std::find_if(said["alarms"].begin(), said["alarms"].end(),
                                    [](const json& each) { return each["cause"] == "sensor_silent"; });
    ASSERT_NE(found, said["alarms"].end()) << said.dump(1);
    EXPECT_EQ((*found)["chamber"], "shore");
    EXPECT_EQ((*found)["state"], "unacknowledged");
    EXPECT_THAT(std::string((*found)["to_do"]), HasSubstr("Check the meter"));
    EXPECT_EQ((*found)["sounds"], true);
}

TEST(Events, are_one_line_of_json_each) {
    const watch::Event event{
        .at = *parse_iso("2026-06-14T21:05:00Z"),
        .chamber = 1,
        .what = watch::AlarmChanged{.alarm = {.cause = watch::Cause::flush_failing, .chamber = 1},
                                    .from = watch::AlarmState::normal,
                                    .to = watch::AlarmState::unacknowledged,
                                    .announce = true,
                                    .first_out = true,
                                    .words = "a \"pump\"\nthat does nothing \xff",
                                    .by = ""}};
    const auto line = event_json(event, test::plan());
    EXPECT_EQ(line.find('\n'), std::string::npos);
    const auto said = json::parse(line);
    EXPECT_EQ(said["event"], "alarm");
    EXPECT_EQ(said["chamber"], "shore");
    EXPECT_EQ(said["cause"], "flush_failing");
    EXPECT_EQ(said["to"], "unacknowledged");
    EXPECT_THAT(event_words(event, test::plan()), testing::StartsWith("shore: ALARM, "));
    EXPECT_THAT(event_words(event, test::plan()), HasSubstr("Flush not working: a \"pump\""));
    const watch::Event silent{
        .at = {}, .chamber = 0, .what = watch::AlarmChanged{.to = watch::AlarmState::suppressed}};
    EXPECT_EQ(event_words(silent, test::plan()), "") << "what is off by design is no news";
    const watch::Event sealed{.at = {},
                              .chamber = 0,
                              .what = watch::PhaseBegan{.phase = watch::Phase::sealed,
                                                        .why = watch::Why::flushed_enough,
                                                        .planned_s = 600.0}};
    EXPECT_THAT(event_words(sealed, test::plan()), testing::StartsWith("deck: sealed for 10 min: "));
    const watch::Event station{.at = {}, .chamber = {}, .what = watch::Flood{.began = false}};
    EXPECT_EQ(json::parse(event_json(station, test::plan()))["chamber"], nullptr);
}

} // namespace
} // namespace backeddy::live
