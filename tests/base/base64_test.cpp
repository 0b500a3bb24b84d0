#include "base/base64.hpp"

#include <gtest/gtest.h>

#include "base/random.hpp"

namespace backeddy {
namespace {

// RFC 4648, section 10.
TEST(Base64, HasTheWordsOfItsStandard) {
    const std::pair<std::string, std::string> words[] = {{"", ""},
                                                         {"f", "Zg=="},
                                                         {"fo", "Zm8="},
                                                         {"foo", "Zm9v"},
                                                         {"foob", "Zm9vYg=="},
                                                         {"fooba", "Zm9vYmE="},
                                                         {"foobar", "Zm9vYmFy"}};
    for (const auto& [bytes, text] : words) {
        EXPECT_EQ(to_base64(bytes), text);
        EXPECT_EQ(from_base64(text), bytes);
    }
    EXPECT_EQ(to_base64("\xFB\xFF\xFE"), "+//+");
}

TEST(Base64, AnyBytesComeBack) {
    Random random(7);
    for (std::size_t size = 0; size < 300; ++size) {
        std::string bytes;
        for (std::size_t i = 0; i < size; ++i) {
            bytes += static_cast<char>(random.below(256));
        }
        EXPECT_EQ(from_base64(to_base64(bytes)), bytes);
    }
}

TEST(Base64, NothingElseIsTaken) {
    for (const char* text : {"Z", "Zg", "Zg=", "Zg= ", "Z===", "====", "=", "Zm9v\n", "Zm 9",
                             "Zh==", "Zm9=", "Zg==Zg==", "-_-_", "Zm9vYm=y", "Zm9\x80"}) {
        EXPECT_EQ(from_base64(text), std::nullopt) << text;
    }
}

} // namespace
} // namespace backeddy
