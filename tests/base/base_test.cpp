#include <cmath>
#include <fstream>
#include <numeric>

#include <gtest/gtest.h>
#include <sys/stat.h>

#include "base/error.hpp"
#include "base/file.hpp"
#include "base/hash.hpp"
#include "base/lower_case.hpp"
#include "base/near_names.hpp"
#include "base/parallel.hpp"
#include "base/random.hpp"

namespace backeddy {
namespace {

TEST(Error, text_says_context_place_found_expected_and_remedy) {
    const auto error = Error{.code = ErrorCode::bad_number,
                             .found = "\"8,41\" is not a number",
                             .expected = "decimal is \".\" (guessed)",
                             .remedy = "set decimal = \",\"",
                             .place = {.file = "night.csv", .line = 2176, .column = "DO"}}
                           .within("chamber 3");
    EXPECT_EQ(error.text(),
              "chamber 3: night.csv line 2176, column \"DO\": \"8,41\" is not a number; decimal is \".\" "
              "(guessed); set decimal = \",\"");
}

TEST(Error, near_names_are_offered_and_far_ones_are_not) {
    EXPECT_EQ(nearest_name("tempeature", {"temperature", "salinity"}), "temperature");
    EXPECT_EQ(nearest_name("zzz", {"temperature", "salinity"}), std::nullopt);
}

TEST(NearNames, come_in_order_those_that_hold_the_word_first_and_no_more_than_asked) {
    const std::vector<std::string> names{"resting", "day", "mass_g", "peak", "pass"};
    EXPECT_EQ(nearest_names("mass", names, 3), (std::vector<std::string>{"mass_g", "pass", "day"}));
    EXPECT_EQ(nearest_names("resting_h", names, 1), (std::vector<std::string>{"resting"}));
    EXPECT_EQ(nearest_names("x", {"a"}, 5), (std::vector<std::string>{"a"}));
    EXPECT_EQ(edit_distance("kitten", "sitting"), 3U); // the usual example (two changed, one put in)
}

// FIPS 180-4 example: SHA-256 of "abc" (NIST CSRC, Examples with Intermediate Values).
TEST(Hash, agrees_with_the_published_example) {
    EXPECT_EQ(sha256_hex(std::string_view("abc")),
              "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
}

// FIPS 180-4 example of two blocks (NIST CSRC, Examples with Intermediate Values).
TEST(Hash, the_second_published_example_holds_too) {
    EXPECT_EQ(sha256_hex(std::string_view("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq")),
              "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
}

// FIPS 180-4 example of a million letters (NIST CSRC), whole and across the reads of a file.
TEST(Hash, a_million_letters_at_once_and_from_a_file) {
    const char* expected = "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0";
    const std::string text(1'000'000, 'a');
    EXPECT_EQ(sha256_hex(text), expected);
    const auto path = std::filesystem::path(testing::TempDir()) / "long_to_hash";
    std::ofstream(path, std::ios::binary) << text;
    EXPECT_EQ(sha256_of_file(path).value(), expected);
    const std::string longer(2'500'001, 'b');
    std::ofstream(path, std::ios::binary) << longer;
    EXPECT_EQ(sha256_of_file(path).value(), sha256_hex(longer));
}

TEST(File, is_written_whole_and_read_back) {
    const auto path = std::filesystem::path(testing::TempDir()) / "whole.txt";
    ASSERT_TRUE(write_file_whole(path, "one"));
    ASSERT_TRUE(write_file_whole(path, "two"));
    EXPECT_EQ(read_file(path).value(), "two");
    EXPECT_EQ(sha256_of_file(path).value(), sha256_hex(std::string_view("two")));
    EXPECT_EQ(read_file(path.parent_path() / "absent").error().code, ErrorCode::file_missing);
    EXPECT_EQ(write_file_whole("/proc/no/such", "x").error().code, ErrorCode::cannot_write);
}

TEST(File, what_stands_beside_it_or_in_its_place_is_not_touched) {
    const auto folder = std::filesystem::path(testing::TempDir()) / "beside";
    std::filesystem::remove_all(folder);
    std::filesystem::create_directories(folder);
    ASSERT_TRUE(write_new_file(folder / "a.csv.new", "mine"));
    ASSERT_TRUE(write_file_whole(folder / "a.csv", "one"));
    EXPECT_EQ(read_file(folder / "a.csv.new").value(), "mine");
    const auto refused = write_new_file(folder / "a.csv", "two");
    ASSERT_FALSE(refused);
    EXPECT_NE(refused.error().text().find("there already"), std::string::npos);
    EXPECT_EQ(read_file(folder / "a.csv").value(), "one");
}

TEST(File, a_folder_a_pipe_and_a_device_are_named_and_not_waited_for) {
    const auto folder = std::filesystem::path(testing::TempDir()) / "kinds";
    std::filesystem::remove_all(folder);
    std::filesystem::create_directories(folder);
    ASSERT_EQ(::mkfifo((folder / "pipe").c_str(), 0600), 0);
    EXPECT_NE(read_file(folder / "pipe").error().text().find("this is a pipe"), std::string::npos);
    EXPECT_NE(read_file(folder).error().text().find("this is a folder"), std::string::npos);
    EXPECT_NE(read_file("/dev/null").error().text().find("this is a device"), std::string::npos);
    EXPECT_EQ(read_file(folder / "pipe").error().code, ErrorCode::file_unreadable);
}

TEST(Parallel, every_index_once_and_the_first_exception_by_index) {
    std::vector<int> seen(1000, 0);
    parallel_for(seen.size(), {.count = 4}, [&](std::size_t i) { ++seen[i]; });
    EXPECT_EQ(std::accumulate(seen.begin(), seen.end(), 0), 1000);
    try {
        parallel_for(100, {.count = 4}, [](std::size_t i) {
            if (i >= 7) {
                throw std::runtime_error(std::to_string(i));
            }
        });
        FAIL();
    } catch (const std::runtime_error& error) {
        EXPECT_STREQ(error.what(), "7");
    }
}

TEST(LowerCase, takes_ascii_letters_and_leaves_the_rest) {
    EXPECT_EQ(lower_case("[ABC xyz-09_@`{Z]"), "[abc xyz-09_@`{z]");
    EXPECT_EQ(lower_case("\u00c4\u00b5G/L"), "\u00c4\u00b5g/l") << "letters beyond ASCII stay as they are";
    EXPECT_EQ(lower_case(""), "");
    EXPECT_EQ(lower_letter('Q'), 'q');
    EXPECT_EQ(lower_letter('\xC4'), '\xC4');
}

TEST(Random, moments_are_those_of_the_named_distributions) {
    Random random(20260614, 3);
    constexpr int n = 200000;
    double sum = 0.0;
    double squares = 0.0;
    double exponential = 0.0;
    for (int i = 0; i < n; ++i) {
        const double z = random.normal();
        sum += z;
        squares += z * z;
        exponential += random.exponential();
    }
    EXPECT_NEAR(sum / n, 0.0, 4.0 / std::sqrt(n));
    EXPECT_NEAR(squares / n, 1.0, 4.0 * std::sqrt(2.0 / n));
    EXPECT_NEAR(exponential / n, 1.0, 4.0 / std::sqrt(n));
}

TEST(Random, streams_differ_and_repeat) {
    EXPECT_EQ(Random(1, 2)(), Random(1, 2)());
    EXPECT_NE(Random(1, 2)(), Random(1, 3)());
    EXPECT_NE(Random(1, 2)(), Random(2, 2)());
}

} // namespace
} // namespace backeddy
