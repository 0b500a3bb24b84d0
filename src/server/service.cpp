#include "server/service.hpp"

#include <exception>

#include <fmt/format.h>

#include "server/target.hpp"

namespace backeddy::server {

namespace {

Admission refused(Response response) {
    return {.refusal = std::move(response)};
}

/// Whether somebody opened this address in a browser, to read what comes.
bool is_visit(const Head& head) {
    return (head.method == "GET" || head.method == "HEAD") && !head.target.starts_with("/api/") &&
           head.field("accept").find("text/html") != std::string_view::npos;
}

/// What a WebSocket's opening lacks (RFC 6455, section 4.2.1), or nothing.
std::optional<Response> refuse_opening(const Head& head) {
    if (head.field("sec-websocket-version") != "13") {
        Response out = problem(426, "another version of WebSocket", "use version 13 (RFC 6455)");
        out.fields.emplace_back("Sec-WebSocket-Version", "13");
        return out;
    }
    if (head.count("sec-websocket-key") != 1 || head.field("sec-websocket-key").size() != 24) {
        return problem(400, "a WebSocket's opening without its key",
                       "send one Sec-WebSocket-Key of 16 bytes in base64");
    }
    return std::nullopt;
}

} // namespace

Admission Service::admit(const Head& head, Moment now) const {
    Admission out = judge(head, now);
    if (out.refusal && is_visit(head)) {
        out.refusal = problem_page(*out.refusal);
    }
    return out;
}

Admission Service::judge(const Head& head, Moment now) const {
    const auto method = method_of(head.method);
    if (!method) {
        return refused(problem(501, fmt::format("the method \"{}\"", head.method),
                               "send GET, POST, PUT, PATCH or DELETE"));
    }
    if (auto refusal = gate_.refuse_stranger(head, *method)) {
        return refused(std::move(*refusal));
    }
    auto target = parse_target(head.target);
    if (!target) {
        return refused(problem(400, target.error().found + " in the address", target.error().remedy));
    }
    if (auto elsewhere = gate_.refuse_plain(head, *method, *target)) {
        return refused(std::move(*elsewhere));
    }
    if (only_asks(*method)) {
        if (auto exchanged = gate_.take_start_token(head, *target, now)) {
            return refused(std::move(*exchanged));
        }
    }
    auto found = routes_.find(*method, target->path);
    if (auto* none = std::get_if<Response>(&found)) {
        return refused(std::move(*none));
    }
    auto& match = std::get<Routes::Match>(found);
    Asker asker = gate_.who(head, now);
    if (auto refusal = gate_.refuse(head, *method, match.route->right, asker)) {
        return refused(std::move(*refusal));
    }
    const bool opens_changes = head.wants_websocket && match.route->pattern == changes_path;
    if (opens_changes) {
        if (auto refusal = refuse_opening(head)) {
            return refused(std::move(*refusal));
        }
    }
    return {.request = {.method = *method,
                        .path = std::move(target->path),
                        .query = std::move(target->query),
                        .named = std::move(match.named),
                        .content_type = std::string(head.field("content-type")),
                        .if_match = std::string(head.field("if-match")),
                        .asker = std::move(asker)},
            .route = match.route,
            .opens_changes = opens_changes};
}

Response Service::answer(const Route& route, const Request& request) {
    try {
        return route.handler(request);
    } catch (const std::exception& error) {
        return problem(500, fmt::format("a fault of the program: {}", error.what()),
                       "please report it with what you did; nothing of this request was kept");
    }
}

} // namespace backeddy::server
