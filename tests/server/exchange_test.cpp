#include "server/exchange.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace {

using namespace backeddy::server;
using testing::HasSubstr;
using testing::Not;

Head asks(std::string method, std::vector<Field> fields = {}) {
    return {.method = std::move(method), .target = "/", .fields = std::move(fields)};
}

TEST(Exchange, roles_may_what_they_may) {
    struct Row {
        Role role;
        bool read, log, edit;
    };
    for (const Row& row : {Row{Role::viewer, true, false, false}, Row{Role::crew, true, true, false},
                           Row{Role::scientist, true, true, true}}) {
        EXPECT_EQ(may(row.role, Right::read), row.read) << role_word(row.role);
        EXPECT_EQ(may(row.role, Right::log), row.log) << role_word(row.role);
        EXPECT_EQ(may(row.role, Right::edit), row.edit) << role_word(row.role);
        EXPECT_EQ(role_of(role_word(row.role)), row.role);
    }
    EXPECT_FALSE(role_of("admin"));
}

TEST(Exchange, every_answer_says_what_pages_may_load) {
    for (const Response& response : {json_response("{}"), problem(404, "a", "b"), Response{.status = 204}}) {
        const std::string head = outgoing(response, asks("GET")).head;
        EXPECT_THAT(head, HasSubstr("Content-Security-Policy: default-src 'none'; script-src 'self';"));
        EXPECT_THAT(head, HasSubstr("frame-ancestors 'none'"));
        EXPECT_THAT(head, HasSubstr("X-Content-Type-Options: nosniff\r\n"));
        EXPECT_THAT(head, HasSubstr("X-Frame-Options: DENY\r\n"));
        EXPECT_THAT(head, HasSubstr("Referrer-Policy: no-referrer\r\n"));
        EXPECT_THAT(head, Not(HasSubstr("Access-Control")));
        EXPECT_TRUE(head.ends_with("\r\n\r\n"));
    }
}

TEST(Exchange, a_report_has_its_own_script_and_no_rights) {
    Response report{.content_type = "text/html; charset=utf-8", .body = "<p>", .policy = Policy::report};
    const std::string head = outgoing(report, asks("GET")).head;
    EXPECT_THAT(head, HasSubstr("Content-Security-Policy: sandbox allow-scripts allow-downloads "
                                "allow-modals; default-src 'none';"));
    EXPECT_THAT(head, HasSubstr("frame-ancestors 'self'\r\n"));
    EXPECT_THAT(head, HasSubstr("X-Frame-Options: SAMEORIGIN\r\n"));
    EXPECT_THAT(head, Not(HasSubstr("allow-same-origin")));
    EXPECT_THAT(head, Not(HasSubstr("DENY")));
}

TEST(Exchange, a_field_cannot_split_the_answer) {
    Response response = json_response("{}");
    response.fields.emplace_back("Location", "/x\r\nSet-Cookie: a=b");
    const std::string head = head_text(response, response.body.view(), false);
    EXPECT_THAT(head, HasSubstr("Location: /x  Set-Cookie: a=b\r\n"));
}

TEST(Exchange, head_says_the_length_and_sends_nothing) {
    const auto out = outgoing(json_response("{\"a\":1}"), asks("HEAD"));
    EXPECT_THAT(out.head, HasSubstr("Content-Length: 7\r\n"));
    EXPECT_TRUE(out.body.view().empty());
}

TEST(Exchange, packed_goes_to_who_takes_it) {
    const Response file = program_file("text/plain", "long text", "packed");
    struct Row {
        const char* takes;
        bool is_packed;
    };
    for (const Row& row :
         {Row{"gzip", true}, Row{"gzip, deflate, br, zstd", true}, Row{"br;q=1.0, gzip;q=0.8", true},
          Row{"*", true}, Row{"", false}, Row{"br", false}, Row{"gzip;q=0", false},
          Row{"gzip; q=0.000", false}, Row{"xgzip", false}}) {
        const auto out = outgoing(file, asks("GET", {{"accept-encoding", row.takes}}));
        EXPECT_EQ(out.body.view(), row.is_packed ? "packed" : "long text") << row.takes;
        EXPECT_EQ(out.head.find("Content-Encoding: gzip\r\n") != std::string::npos, row.is_packed)
            << row.takes;
        EXPECT_THAT(out.head, HasSubstr("Vary: Accept-Encoding\r\n"));
    }
}

TEST(Exchange, who_has_it_already_is_told_so) {
    const Response file = program_file("text/plain", "long text", "packed");
    const auto out = outgoing(file, asks("GET", {{"if-none-match", "\"old\", W/" + file.etag}}));
    EXPECT_TRUE(out.head.starts_with("HTTP/1.1 304 Not Modified\r\n"));
    EXPECT_THAT(out.head, HasSubstr("ETag: " + file.etag));
    EXPECT_THAT(out.head, Not(HasSubstr("Content-Length")));
    EXPECT_TRUE(out.body.view().empty());
    EXPECT_TRUE(outgoing(file, asks("GET", {{"if-none-match", "\"old\""}})).head.starts_with("HTTP/1.1 200"));
    EXPECT_NE(file.etag, program_file("text/plain", "other text", "packed").etag);
}

TEST(Exchange, a_problem_keeps_bytes_that_are_no_text_out_of_its_json) {
    EXPECT_THAT(std::string(problem(400, "a\xff", "b").body.view()), HasSubstr("a\uFFFD"));
}

} // namespace
