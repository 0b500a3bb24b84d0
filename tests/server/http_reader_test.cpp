#include "server/detail/http_reader.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace {

using namespace backeddy::server;
using State = HttpReader::State;
using testing::Contains;
using testing::Pair;

constexpr std::size_t header_bytes = 1024;

State first_state(std::string text) {
    HttpReader reader(header_bytes);
    return reader.feed(text);
}

TEST(HttpReader, reads_a_head_then_a_body) {
    HttpReader reader(header_bytes);
    std::string text =
        "POST /api/x?a=1 HTTP/1.1\r\nHost: h\r\nX-Thing:  two words \r\nContent-Length: 5\r\n\r\nhello";
    ASSERT_EQ(reader.feed(text), State::head);
    const Head head = reader.head();
    EXPECT_EQ(head.method, "POST");
    EXPECT_EQ(head.target, "/api/x?a=1");
    EXPECT_THAT(head.fields, Contains(Pair("x-thing", "two words")));
    EXPECT_EQ(reader.body_length(), 5U);
    ASSERT_EQ(reader.allow_body(10), State::needs_more);
    ASSERT_EQ(reader.feed(text), State::complete);
    EXPECT_EQ(reader.take_body(), "hello");
    EXPECT_TRUE(reader.keeps_alive());
    EXPECT_TRUE(text.empty());
}

TEST(HttpReader, reads_the_same_byte_by_byte) {
    const std::string text = "POST / HTTP/1.1\r\nHost: h\r\nTransfer-Encoding: "
                             "chunked\r\n\r\n3\r\nabc\r\n2;x=y\r\nde\r\n0\r\n\r\n";
    HttpReader reader(header_bytes);
    std::string pending;
    State state = State::needs_more;
    for (const char c : text) {
        pending += c;
        state = reader.feed(pending);
        if (state == State::head) {
            state = reader.allow_body(10);
        }
        ASSERT_TRUE(state == State::needs_more || state == State::complete);
    }
    EXPECT_EQ(state, State::complete);
    EXPECT_EQ(reader.take_body(), "abcde");
}

TEST(HttpReader, leaves_the_next_request_where_it_is) {
    std::string text = "GET /1 HTTP/1.1\r\nHost: h\r\n\r\nGET /2 HTTP/1.1\r\nHost: h\r\n\r\n";
    for (const char* target : {"/1", "/2"}) {
        HttpReader reader(header_bytes);
        ASSERT_EQ(reader.feed(text), State::head);
        EXPECT_EQ(reader.head().target, target);
        EXPECT_EQ(reader.allow_body(0), State::complete);
    }
    EXPECT_TRUE(text.empty());
}

TEST(HttpReader, refuses_what_is_no_request) {
    for (const char* text :
         {"hello\r\n\r\n", "GET\r\n\r\n", "GET / HTTP/2.0\r\nHost: h\r\n\r\n", "GET / HTTP/1.1\nHost: h\n\n",
          "GET / HTTP/1.1\r\nHost h\r\n\r\n", "GET / HTTP/1.1\r\nHost : h\r\n\r\n",
          "GET  / HTTP/1.1\r\nHost: h\r\n\r\n", "G\x01T / HTTP/1.1\r\n\r\n",
          "\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n",
          "GET / HTTP/1.1\r\nContent-Length: x\r\n\r\n", "GET / HTTP/1.1\r\nContent-Length: -1\r\n\r\n",
          "GET / HTTP/1.1\r\nContent-Length: 99999999999999999999999\r\n\r\n"}) {
        EXPECT_EQ(first_state(text), State::malformed) << text;
    }
}

// Where two readers could disagree on where a body ends, the second reads requests that the first never saw
// (RFC 9112, section 6.3).
TEST(HttpReader, refuses_bodies_whose_end_is_in_doubt) {
    for (const char* fields :
         {"Content-Length: 5\r\nTransfer-Encoding: chunked\r\n",
          "Transfer-Encoding: chunked\r\nContent-Length: 5\r\n", "Content-Length: 5\r\nContent-Length: 6\r\n",
          "Content-Length: 5, 6\r\n", "Transfer-Encoding: gzip\r\n", "Transfer-Encoding: xchunked\r\n"}) {
        EXPECT_EQ(first_state(std::string("POST / HTTP/1.1\r\nHost: h\r\n") + fields + "\r\nhello"),
                  State::malformed)
            << fields;
    }
}

TEST(HttpReader, refuses_heads_and_bodies_that_are_too_large) {
    EXPECT_EQ(first_state("GET / HTTP/1.1\r\nX: " + std::string(2 * header_bytes, 'a')),
              State::head_too_large);
    EXPECT_EQ(first_state("GET /" + std::string(2 * header_bytes, 'a')), State::head_too_large);
    std::string text = "POST / HTTP/1.1\r\nContent-Length: 11\r\n\r\n";
    HttpReader reader(header_bytes);
    ASSERT_EQ(reader.feed(text), State::head);
    EXPECT_EQ(reader.allow_body(10), State::body_too_large);
    text = "POST / HTTP/1.1\r\nTransfer-Encoding: chunked\r\n\r\n6\r\nabcdef\r\n5\r\nabcde\r\n0\r\n\r\n";
    HttpReader chunked(header_bytes);
    ASSERT_EQ(chunked.feed(text), State::head);
    ASSERT_EQ(chunked.allow_body(10), State::needs_more);
    EXPECT_EQ(chunked.feed(text), State::body_too_large);
}

TEST(HttpReader, refuses_lines_between_chunks_that_do_not_end) {
    for (const char* begins : {"1;x=", "1\r\na\r\n0\r\nTrailer: "}) {
        std::string text = std::string("POST / HTTP/1.1\r\nTransfer-Encoding: chunked\r\n\r\n") + begins;
        HttpReader reader(header_bytes);
        ASSERT_EQ(reader.feed(text), State::head);
        State state = reader.allow_body(10);
        for (int i = 0; i < 100 && state == State::needs_more; ++i) {
            text += std::string(100, 'a');
            state = reader.feed(text);
        }
        EXPECT_NE(state, State::needs_more) << begins;
        EXPECT_NE(state, State::complete) << begins;
    }
}

TEST(HttpReader, knows_a_websockets_opening) {
    std::string text =
        "GET / HTTP/1.1\r\nHost: h\r\nConnection: keep-alive, Upgrade\r\nUpgrade: WebSocket\r\n\r\n";
    HttpReader reader(header_bytes);
    ASSERT_EQ(reader.feed(text), State::head);
    EXPECT_TRUE(reader.head().wants_websocket);
    std::string other = "GET / HTTP/1.1\r\nHost: h\r\nUpgrade: websocket\r\n\r\n";
    HttpReader without_connection(header_bytes);
    ASSERT_EQ(without_connection.feed(other), State::head);
    EXPECT_FALSE(without_connection.head().wants_websocket);
}

TEST(HttpReader, an_old_client_is_answered_once) {
    std::string text = "GET / HTTP/1.0\r\nHost: h\r\n\r\n";
    HttpReader reader(header_bytes);
    ASSERT_EQ(reader.feed(text), State::head);
    EXPECT_FALSE(reader.keeps_alive());
}

} // namespace
