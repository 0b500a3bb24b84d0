#include "app/raw_traces.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace backeddy::app {
namespace {

using testing::HasSubstr;

/// Streams of invented files, each with a single row.
class Traces {
  public:
    Traces& file(std::string trace, std::string chamber, std::vector<ColumnHeader> headers) {
        const auto index = traces_.files.size();
        traces_.files.push_back({.path = "raw/" + std::to_string(index) + ".csv", .trace = trace});
        RawStream stream{.trace = std::move(trace), .name = std::move(chamber), .file = index};
        stream.data.times_ns = {static_cast<std::int64_t>(index)};
        stream.data.columns.assign(headers.size(), {1.0});
        stream.data.headers = std::move(headers);
        traces_.streams.push_back(std::move(stream));
        return *this;
    }
    [[nodiscard]] Expected<std::vector<ChannelPiece>> find(std::string trace, std::string channel,
                                                           ChannelFor what = ChannelFor::oxygen) const {
        return find_channel(traces_, {.trace = std::move(trace), .channel = std::move(channel)}, what);
    }

  private:
    RawTraces traces_;
};

const ColumnHeader percent_1{.channel = "O2_1 (% air sat)", .kind = ColumnKind::oxygen_percent_air};
const ColumnHeader percent_2{.channel = "O2_2 (% air sat)", .kind = ColumnKind::oxygen_percent_air};
const ColumnHeader warm{.channel = "temp (degC)", .kind = ColumnKind::temperature_celsius};

ColumnHeader long_oxygen(const std::string& chamber) {
    return {.channel = "O2 [mg/L]@" + chamber, .kind = ColumnKind::oxygen_mg_per_l};
}

TEST(FindChannel, a_header_is_known_whole_and_without_its_unit) {
    const auto traces = Traces().file("boat", "", {percent_1, percent_2, warm});
    for (const char* name : {"O2_2", "O2_2 (% air sat)"}) {
        const auto found = traces.find("boat", name);
        ASSERT_TRUE(found) << found.error().text();
        ASSERT_EQ(found->size(), 1U);
        EXPECT_EQ(found->front().column, 1U);
    }
}

TEST(FindChannel, the_same_name_means_the_column_of_the_kind_that_is_asked_for) {
    const ColumnHeader oxygen{.channel = "tube (mg/L)", .kind = ColumnKind::oxygen_mg_per_l};
    const ColumnHeader water{.channel = "tube (degC)", .kind = ColumnKind::temperature_celsius};
    const auto traces = Traces().file("boat", "", {oxygen, water});
    EXPECT_EQ(traces.find("boat", "tube", ChannelFor::oxygen)->front().column, 0U);
    EXPECT_EQ(traces.find("boat", "tube", ChannelFor::temperature)->front().column, 1U);
}

TEST(FindChannel, no_name_is_needed_where_there_is_only_one) {
    const auto traces = Traces().file("boat", "", {percent_1, warm}).file("boat", "", {percent_1, warm});
    const auto found = traces.find("boat", "");
    ASSERT_TRUE(found) << found.error().text();
    EXPECT_EQ(found->size(), 2U);
    EXPECT_FALSE(Traces().file("boat", "", {percent_1, percent_2}).find("boat", ""));
}

TEST(FindChannel, pieces_of_several_files_are_one_channel_in_the_order_of_time) {
    const auto traces =
        Traces().file("boat", "", {percent_1}).file("shore", "", {percent_1}).file("boat", "", {percent_1});
    const auto found = traces.find("boat", "O2_1");
    ASSERT_TRUE(found);
    ASSERT_EQ(found->size(), 2U);
    EXPECT_EQ((*found)[0].stream, 0U);
    EXPECT_EQ((*found)[1].stream, 2U);
}

TEST(FindChannel, a_chamber_of_a_long_file_is_found_by_its_own_name) {
    const auto traces =
        Traces().file("shore", "3", {long_oxygen("3")}).file("shore", "4", {long_oxygen("4")});
    for (const char* name : {"4", "O2@4", "O2 [mg/L]@4"}) {
        const auto found = traces.find("shore", name);
        ASSERT_TRUE(found) << name << ": " << found.error().text();
        ASSERT_EQ(found->size(), 1U) << name;
        EXPECT_EQ(found->front().stream, 1U) << name;
    }
}

TEST(FindChannel, a_long_file_s_header_alone_fits_several_chambers_and_is_refused) {
    const auto traces =
        Traces().file("shore", "3", {long_oxygen("3")}).file("shore", "4", {long_oxygen("4")});
    const auto found = traces.find("shore", "O2");
    ASSERT_FALSE(found);
    EXPECT_EQ(found.error().code, ErrorCode::bad_relation);
    EXPECT_THAT(found.error().found, HasSubstr("O2 [mg/L]@3, O2 [mg/L]@4"));
    EXPECT_TRUE(Traces().file("shore", "3", {long_oxygen("3")}).find("shore", "O2"));
}

TEST(FindChannel, an_unknown_name_lists_what_there_is_and_offers_the_nearest) {
    const auto traces = Traces().file("boat", "", {percent_1, percent_2, warm});
    const auto far = traces.find("boat", "tube");
    ASSERT_FALSE(far);
    EXPECT_EQ(far.error().code, ErrorCode::unknown_name);
    EXPECT_THAT(far.error().found, HasSubstr("no oxygen channel \"tube\" in the trace \"boat\""));
    EXPECT_THAT(far.error().expected, HasSubstr("O2_1 (% air sat), O2_2 (% air sat)"));
    // The nearest is judged without the unit, which nobody types.
    const auto near = traces.find("boat", "O2-2");
    ASSERT_FALSE(near);
    EXPECT_THAT(near.error().remedy, HasSubstr("did you mean \"boat:O2_2\"?"));
    EXPECT_THAT(traces.find("boat", "x", ChannelFor::pump).error().expected, HasSubstr("a pump column"));
    EXPECT_THAT(traces.find("night", "O2_1").error().found, HasSubstr("no readings in the trace \"night\""));
}

TEST(FindChannel, one_name_in_two_units_of_different_kinds_is_refused) {
    const auto traces = Traces()
                            .file("boat", "", {{.channel = "O2", .kind = ColumnKind::oxygen_mg_per_l}})
                            .file("boat", "", {{.channel = "O2", .kind = ColumnKind::oxygen_percent_air}});
    const auto found = traces.find("boat", "O2");
    ASSERT_FALSE(found);
    EXPECT_EQ(found.error().code, ErrorCode::bad_unit);
    EXPECT_THAT(found.error().found,
                HasSubstr("\"boat:O2\" is oxygen_mg_per_l in raw/0.csv and oxygen_percent_air in raw/1.csv"));
}

} // namespace
} // namespace backeddy::app
