#include "server/detail/http_reader.hpp"

#include <algorithm>
#include <limits>

#include "server/detail/asio.hpp"

#include <boost/beast/http/parser.hpp>
#include <boost/beast/http/string_body.hpp>

namespace backeddy::server {

namespace http = boost::beast::http;

struct HttpReader::Parser {
    http::request_parser<http::string_body> http;
    std::size_t most_bytes = 0; ///< of a head
    std::size_t head_bytes = 0; ///< read so far
};

HttpReader::HttpReader(std::size_t header_bytes) : parser_(std::make_unique<Parser>()) {
    parser_->most_bytes = header_bytes;
    // The library's own limit depends on how the bytes are cut; ours is told by feed(), this one only stands
    // behind it.
    parser_->http.header_limit(static_cast<std::uint32_t>(2 * header_bytes));
    // "No limit" is written so: this version of the library takes an empty one for zero.
    parser_->http.body_limit(std::numeric_limits<std::uint64_t>::max());
}

HttpReader::~HttpReader() = default;

HttpReader::State HttpReader::feed(std::string& pending) {
    auto& parser = parser_->http;
    const bool had_head = parser.is_header_done();
    boost::system::error_code failure;
    const std::size_t used = parser.put(boost::asio::buffer(pending), failure);
    pending.erase(0, used);
    if (!had_head) {
        parser_->head_bytes += used;
        const std::size_t unfinished = parser.is_header_done() ? 0 : pending.size();
        if (parser_->head_bytes + unfinished > parser_->most_bytes) {
            return State::head_too_large;
        }
    }
    if (failure == http::error::header_limit) {
        return State::head_too_large;
    }
    if (failure == http::error::body_limit) {
        return State::body_too_large;
    }
    if (failure && failure != http::error::need_more) {
        return State::malformed;
    }
    if (!had_head && parser.is_header_done()) {
        // In another coding than chunks nobody can tell where the body ends.
        const bool is_coded = parser.get().count(http::field::transfer_encoding) > 0 && !parser.chunked();
        return is_coded ? State::malformed : State::head;
    }
    if (parser.is_done()) {
        return State::complete;
    }
    // What waits for its end here is a line between chunks or after them: without a limit it could grow for
    // ever.
    return had_head && pending.size() > parser_->most_bytes ? State::malformed : State::needs_more;
}

Head HttpReader::head() const {
    const auto& message = parser_->http.get();
    Head out{.method = std::string(message.method_string()), .target = std::string(message.target())};
    for (const auto& field : message) {
        std::string name(field.name_string());
        std::ranges::transform(name, name.begin(),
                               [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c; });
        out.fields.emplace_back(std::move(name), std::string(field.value()));
    }
    out.wants_websocket =
        parser_->http.upgrade() && http::token_list(message[http::field::upgrade]).exists("websocket");
    return out;
}

bool HttpReader::has_body() const {
    return parser_->http.chunked() || body_length() > 0;
}

std::uint64_t HttpReader::body_length() const {
    return parser_->http.content_length().value_or(0);
}

bool HttpReader::keeps_alive() const {
    return parser_->http.get().version() == 11 && parser_->http.keep_alive();
}

bool HttpReader::waits_for_word() const {
    return boost::beast::iequals(parser_->http.get()[http::field::expect], "100-continue");
}

HttpReader::State HttpReader::allow_body(std::size_t most_bytes) {
    if (body_length() > most_bytes) {
        return State::body_too_large;
    }
    parser_->http.body_limit(most_bytes);
    parser_->http.eager(true);
    return parser_->http.is_done() ? State::complete : State::needs_more;
}

std::string HttpReader::take_body() {
    return std::move(parser_->http.get().body());
}

} // namespace backeddy::server
