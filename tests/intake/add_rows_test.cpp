#include "intake/add_rows.hpp"

#include <string>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "intake/tables.hpp"

namespace backeddy::intake {
namespace {

using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

const std::string hash(64, 'a');

RowToAdd row(const std::string& question, const std::string& note = "") {
    return {{"question", question}, {"form_sha256", hash}, {"declared_at", "2026-05-01T09:12:00Z"},
            {"author", "A. Keen"},  {"fish_met", "3"},     {"results_seen", "no"},
            {"note", note}};
}

Expected<std::string> added(std::string_view bytes, const std::vector<RowToAdd>& rows) {
    return with_rows(bytes, study::TableName::declarations, rows);
}

TEST(AddRows, a_table_that_is_not_there_is_made_with_its_header_and_reads_back) {
    const auto bytes = added("", {row("rig_peak", "late, \"but\" honest"), row("second; one")});
    ASSERT_TRUE(bytes) << bytes.error().text();
    EXPECT_TRUE(bytes->starts_with(
        "question,form_sha256,settings_sha256,declared_at,author,fish_met,results_seen,note\n"
        "rig_peak,"));
    const auto read = read_declarations(*bytes, "declarations.csv", {});
    EXPECT_THAT(read.complaints, IsEmpty());
    ASSERT_THAT(read.rows, SizeIs(2));
    EXPECT_EQ(read.rows[0].note, "late, \"but\" honest");
    EXPECT_EQ(read.rows[0].fish_met, 3U);
    EXPECT_FALSE(read.rows[0].results_seen);
    EXPECT_EQ(iso_text(read.rows[0].declared_at), "2026-05-01T09:12:00Z");
    EXPECT_EQ(read.rows[1].question, "second; one");
    EXPECT_EQ(read.rows[1].place.line, 3U);
}

// A spreadsheet has its own order, delimiter, line ends and mark; what it wrote stays as it is.
TEST(AddRows, what_stood_there_stays_byte_for_byte_and_new_rows_follow_its_ways) {
    const std::string mark = "\xEF\xBB\xBF";
    const std::string before =
        mark + "# kept\r\nNote;question;Form SHA256;author;declared_at;fish_met;results_seen;mine\r\n;old;" +
        hash + ";B;2026-04-01T00:00:00Z;0;no;x";
    const auto bytes = added(before, {row("new", "a;b")});
    ASSERT_TRUE(bytes) << bytes.error().text();
    EXPECT_EQ(*bytes, before + "\r\n\"a;b\";new;" + hash + ";A. Keen;2026-05-01T09:12:00Z;3;no;\r\n");
    const auto read = read_declarations(*bytes, "declarations.csv", {});
    EXPECT_THAT(read.complaints, IsEmpty());
    EXPECT_THAT(read.rows, SizeIs(2));
}

TEST(AddRows, a_table_says_which_columns_it_takes) {
    const auto takes = [](std::string_view bytes) {
        return takes_column(bytes, study::TableName::declarations, "settings_sha256");
    };
    EXPECT_TRUE(takes("")) << "it is made whole";
    EXPECT_TRUE(takes("question;Settings SHA256\n"));
    EXPECT_FALSE(takes("question,form_sha256\n"));
}

TEST(AddRows, a_table_that_cannot_take_them_is_refused_with_what_to_do) {
    const auto error = [&](std::string_view bytes) {
        const auto out = added(bytes, {row("q", "x")});
        return out ? std::string("taken") : out.error().text();
    };
    EXPECT_THAT(error("question,declared_at\n"), HasSubstr("no column \"author\""));
    EXPECT_THAT(error(std::string("\xFF\xFEq\0", 4)), HasSubstr("save it as \"CSV UTF-8\""));
    EXPECT_THAT(error("question,note\nq,\xE9\n"), HasSubstr("CSV UTF-8"));
    EXPECT_THAT(error("question,note\n\"q,\n"), HasSubstr("never closed"));
    EXPECT_THAT(error("# nothing but a remark\n"), HasSubstr("no column"));
}

TEST(Declarations, of_half_a_fish_or_of_maybe_are_refused_with_their_line) {
    const auto read = read_declarations("question,form_sha256,declared_at,fish_met,results_seen\n"
                                        "q," +
                                            hash +
                                            ",2026-05-01T09:12:00Z,1.5,no\n"
                                            "q," +
                                            hash +
                                            ",2026-05-01T09:12:00Z,1,maybe\n"
                                            "q," +
                                            hash + ",2026-05-01T09:12:00Z,1,Yes\n",
                                        "declarations.csv", {});
    ASSERT_THAT(read.complaints, SizeIs(2));
    EXPECT_THAT(read.complaints[0].error.text(), HasSubstr("line 2, column \"fish_met\""));
    EXPECT_THAT(read.complaints[0].error.text(), HasSubstr("a whole number"));
    EXPECT_THAT(read.complaints[1].error.text(), HasSubstr("line 3, column \"results_seen\""));
    ASSERT_THAT(read.rows, SizeIs(1));
    EXPECT_TRUE(read.rows[0].results_seen);
}

} // namespace
} // namespace backeddy::intake
