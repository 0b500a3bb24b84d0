#include "instruments/tail.hpp"

#include <gtest/gtest.h>

namespace backeddy::instruments {
namespace {

constexpr FileIdentity first{.device = 1, .number = 10};
constexpr FileIdentity second{.device = 1, .number = 11};

TailPlace after(std::string_view bytes) {
    TailPlace place;
    place.advance(bytes);
    return place;
}

/// What a look at a file of these bytes shows to whoever stands at `place`.
TailSeen look(const TailPlace& place, const std::string& bytes, std::optional<FileIdentity> under_path) {
    TailSeen seen{.size = bytes.size(), .open = first, .under_path = under_path};
    if (place.offset() <= bytes.size()) {
        const auto size = place.behind().size();
        seen.behind = bytes.substr(place.offset() - size, size);
    }
    return seen;
}

TEST(Tail, waits_reads_on_and_waits) {
    const auto place = after("a\nb\n");
    EXPECT_EQ(next_step(place, look(place, "a\nb\n", first)), TailStep::wait);
    EXPECT_EQ(next_step(place, look(place, "a\nb\nc", first)), TailStep::read_on);
}

TEST(Tail, opens_what_comes_to_be_and_waits_for_it) {
    EXPECT_EQ(next_step({}, {}), TailStep::wait);
    EXPECT_EQ(next_step({}, {.under_path = first}), TailStep::open_the_path);
}

TEST(Tail, reads_the_old_file_to_its_end_before_it_opens_the_new) {
    const auto place = after("a\n");
    EXPECT_EQ(next_step(place, look(place, "a\nlast\n", second)), TailStep::read_on);
    const auto end = after("a\nlast\n");
    EXPECT_EQ(next_step(end, look(end, "a\nlast\n", second)), TailStep::open_the_path);
}

TEST(Tail, keeps_the_old_file_while_there_is_no_new_one) {
    const auto place = after("a\n");
    EXPECT_EQ(next_step(place, look(place, "a\n", std::nullopt)), TailStep::wait);
    EXPECT_EQ(next_step(place, look(place, "a\nb\n", std::nullopt)), TailStep::read_on);
}

TEST(Tail, begins_anew_in_a_file_that_was_cut_short) {
    const auto place = after("time;oxygen\n1;8.4\n");
    EXPECT_EQ(next_step(place, look(place, "", first)), TailStep::begin_anew);
    EXPECT_EQ(next_step(place, look(place, "time;oxygen\n", first)), TailStep::begin_anew);
}

TEST(Tail, knows_a_file_that_was_cut_and_has_grown_past_the_place_since) {
    // The same header, so that the beginning tells nothing.
    const auto place = after("time;oxygen\n1;8.4\n");
    EXPECT_EQ(next_step(place, look(place, "time;oxygen\n9;8.1\n10;8.0\n", first)), TailStep::begin_anew);
}

TEST(Tail, remembers_a_bounded_number_of_bytes) {
    TailPlace place;
    for (int i = 0; i < 100; ++i) {
        place.advance("0123456789");
    }
    EXPECT_EQ(place.offset(), 1000U);
    EXPECT_EQ(place.behind().size(), TailPlace::remembered);
    EXPECT_TRUE(place.behind().ends_with("0123456789"));
    EXPECT_EQ(after(std::string(500, 'x')).behind().size(), TailPlace::remembered);
}

} // namespace
} // namespace backeddy::instruments
