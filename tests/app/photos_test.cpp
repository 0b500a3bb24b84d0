// Photos: kept whole under the hash of their bytes, and nowhere else.

#include "app/photos.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/hash.hpp"
#include "support/small_study.hpp"

namespace backeddy::app {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
namespace fs = std::filesystem;

const std::string jpeg = "\xFF\xD8\xFF\xE0 a fin";
const std::string png = "\x89PNG\r\n\x1A\n a wound";
const std::string webp = "RIFF\x10\x20\x30\x40WEBP a hook";

std::string hash_of(const std::string& bytes) {
    return sha256_hex(std::string_view(bytes));
}

std::vector<std::string> files_below(const fs::path& folder) {
    std::vector<std::string> out;
    for (const auto& each : fs::recursive_directory_iterator(folder)) {
        out.push_back(each.path().lexically_relative(folder).generic_string());
    }
    std::ranges::sort(out);
    return out;
}

TEST(Photos, AreKeptByTheirHashAndKind) {
    const test::ScratchFolder folder("photos");
    for (const auto& [bytes, ending, type] : {std::tuple{jpeg, ".jpg", "image/jpeg"},
                                              {png, ".png", "image/png"},
                                              {webp, ".webp", "image/webp"}}) {
        const auto kept = keep_photo(folder.path(), hash_of(bytes), bytes);
        ASSERT_TRUE(kept) << kept.error().text();
        EXPECT_EQ(*kept, PhotoKept::is_new);
        EXPECT_EQ(*keep_photo(folder.path(), hash_of(bytes), bytes), PhotoKept::was_there);
        EXPECT_EQ(*read_file(folder.path() / "photos" / (hash_of(bytes) + ending)), bytes);
        const auto back = read_photo(folder.path(), hash_of(bytes));
        ASSERT_TRUE(back);
        EXPECT_EQ(back->bytes, bytes);
        EXPECT_EQ(content_type_of(back->kind), type);
    }
    EXPECT_EQ(files_below(folder.path() / "photos").size(), 3U); // nothing is left beside them
    EXPECT_EQ(photos_of(folder.path()).size(), 3U);
}

TEST(Photos, ThatAreNoneOrNotWhatTheyAreCalledAreRefusedAndLeaveNothing) {
    const test::ScratchFolder folder("photos_refused");
    const std::string text = "no photo at all";
    EXPECT_THAT(keep_photo(folder.path(), hash_of(png), jpeg).error().text(), HasSubstr(hash_of(jpeg)));
    EXPECT_THAT(keep_photo(folder.path(), hash_of(text), text).error().text(), HasSubstr("no photo"));
    EXPECT_FALSE(keep_photo(folder.path(), hash_of(""), ""));
    const std::string large = jpeg + std::string(most_photo_bytes, 'x');
    EXPECT_THAT(keep_photo(folder.path(), hash_of(large), large).error().text(), HasSubstr("20 MiB"));
    std::string upper = hash_of(jpeg);
    std::ranges::transform(upper, upper.begin(), [](unsigned char c) { return std::toupper(c); });
    for (const std::string& name :
         {std::string(), std::string("../fish"), "../" + hash_of(jpeg), hash_of(jpeg) + ".jpg", upper,
          hash_of(jpeg).substr(1), "/" + hash_of(jpeg).substr(1)}) {
        EXPECT_EQ(keep_photo(folder.path(), name, jpeg).error().code, ErrorCode::bad_usage) << name;
        EXPECT_EQ(read_photo(folder.path(), name).error().code, ErrorCode::bad_usage) << name;
    }
    EXPECT_EQ(read_photo(folder.path(), hash_of(jpeg)).error().code, ErrorCode::unknown_name);
    EXPECT_THAT(files_below(folder.path()), IsEmpty());
}

TEST(Photos, ThatWereDamagedAreNotShownAndMendedByComingOnceMore) {
    const test::ScratchFolder folder("photos_damaged");
    folder.write("photos/" + hash_of(png) + ".png", png.substr(0, 9));
    EXPECT_EQ(read_photo(folder.path(), hash_of(png)).error().code, ErrorCode::file_unreadable);
    EXPECT_EQ(*keep_photo(folder.path(), hash_of(png), png), PhotoKept::is_new);
    EXPECT_EQ(read_photo(folder.path(), hash_of(png))->bytes, png);
}

TEST(Photos, AreNotKeptWhereALinkLeads) {
    const test::ScratchFolder folder("photos_link");
    const test::ScratchFolder elsewhere("photos_elsewhere");
    fs::create_directory_symlink(elsewhere.path(), folder.path() / "photos");
    EXPECT_EQ(keep_photo(folder.path(), hash_of(png), png).error().code, ErrorCode::cannot_write);
    EXPECT_THAT(files_below(elsewhere.path()), IsEmpty());
    const test::ScratchFolder file("photos_file");
    file.write("photos", "a file of that name");
    EXPECT_EQ(keep_photo(file.path(), hash_of(png), png).error().code, ErrorCode::cannot_write);
}

TEST(Photos, ThatAnEventNamesAndThatAreNotThereAreTold) {
    const test::ScratchFolder folder("photos_missing");
    ASSERT_TRUE(keep_photo(folder.path(), hash_of(png), png));
    study::Event event;
    event.place = {.file = "events.csv", .line = 7};
    event.photo = hash_of(png);
    EXPECT_THAT(check_photos(folder.path(), {event}), IsEmpty());
    event.photo += " " + hash_of(jpeg) + "  IMG_0815.jpg";
    const auto told = check_photos(folder.path(), {event});
    ASSERT_EQ(told.size(), 2U);
    EXPECT_THAT(told[0].error.text(), HasSubstr("the photo " + hash_of(jpeg) + " is not there"));
    EXPECT_THAT(told[1].error.text(), HasSubstr("\"IMG_0815.jpg\" is no name of a photo"));
    EXPECT_EQ(told[0].severity, study::Severity::warning);
    EXPECT_EQ(told[0].error.place.line, 7U);
}

} // namespace
} // namespace backeddy::app
