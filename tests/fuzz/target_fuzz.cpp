// Any bytes as a request's target, and as a whole request: no segment is a way out, what is read is written
// and read back as the same, the table of routes answers, and the reader comes to the same requests however
// the bytes are cut.

#include <algorithm>
#include <memory>
#include <string>
#include <vector>

#include "fuzz/fuzz.hpp"
#include "server/detail/http_reader.hpp"
#include "server/routes.hpp"
#include "server/target.hpp"

using namespace backeddy;
using namespace backeddy::server;

namespace {

const Routes& table() {
    const auto route = [](Method method, std::string pattern) {
        return Route{.method = method, .pattern = std::move(pattern), .handler = [](const Request&) {
                         return Response();
                     }};
    };
    static const Routes routes =
        Routes::of({route(Method::get, "/"), route(Method::get, "/api/{a}"), route(Method::post, "/api/{a}"),
                    route(Method::get, "/api/stays"), route(Method::get, "/api/{a}/{b}/c")})
            .value();
    return routes;
}

void check_target(std::string_view text) {
    const auto target = parse_target(text);
    if (!target) {
        fuzz::require(target.error().code == ErrorCode::bad_text, "what a client sent is no bug of ours");
        fuzz::require(!target.error().found.empty(), "a refusal says what is there");
        return;
    }
    for (const auto& segment : target->path) {
        fuzz::require(!segment.empty() && segment != "." && segment != "..", "no segment is a way out");
        fuzz::require(segment.find_first_of(std::string_view("/\\\0", 3)) == std::string::npos,
                      "no segment holds a slash, a backslash or a zero");
    }
    const std::string written = target_text(*target);
    fuzz::require(written.size() > longest_target || parse_target(written) == *target,
                  "what is written reads back as the same");
    const auto found = table().find(Method::get, target->path);
    if (const auto* match = std::get_if<Routes::Match>(&found)) {
        const auto named = static_cast<std::size_t>(std::ranges::count(match->route->pattern, '{'));
        fuzz::require(match->named.size() == named, "each word of the pattern stands for one segment");
    } else {
        const int status = std::get<Response>(found).status;
        fuzz::require(status == 404 || status == 405, "or the answer says that there is nothing");
    }
}

/// What the reader makes of the bytes when they come `step` at a time: each request in one line, then how it
/// ended.
std::vector<std::string> requests(std::string_view bytes, std::size_t step) {
    using State = HttpReader::State;
    std::vector<std::string> out;
    std::string pending, head;
    auto reader = std::make_unique<HttpReader>(512);
    State state = State::needs_more;
    while (true) {
        state = reader->feed(pending);
        if (state == State::head) {
            state = reader->allow_body(64);
            head = reader->head().method + ' ' + reader->head().target;
            if (state == State::needs_more) {
                continue; // the body may be there already
            }
        }
        if (state == State::complete) {
            out.push_back(head + ' ' + reader->take_body());
            reader = std::make_unique<HttpReader>(512);
        } else if (state != State::needs_more || bytes.empty()) {
            return out; // refused, sooner or later, or at the end
        } else {
            pending += bytes.substr(0, step);
            bytes.remove_prefix(std::min(step, bytes.size()));
        }
    }
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const std::string_view text = fuzz::text_of(data, size);
    check_target(text);
    fuzz::require(requests(text, std::max<std::size_t>(size, 1)) == requests(text, 7),
                  "how the bytes are cut changes no request");
    return 0;
}
