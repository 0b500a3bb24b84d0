#include "server/exchange.hpp"

#include <algorithm>
#include <array>
#include <chrono>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "base/hash.hpp"
#include "base/html_text.hpp"

namespace backeddy::server {

namespace {

constexpr std::array<std::pair<Method, std::string_view>, 6> methods{{{Method::get, "GET"},
                                                                      {Method::head, "HEAD"},
                                                                      {Method::post, "POST"},
                                                                      {Method::put, "PUT"},
                                                                      {Method::patch, "PATCH"},
                                                                      {Method::remove, "DELETE"}}};
constexpr std::array<std::pair<Role, std::string_view>, 3> roles{
    {{Role::viewer, "viewer"}, {Role::crew, "crew"}, {Role::scientist, "scientist"}}};

template <typename Table, typename Value>
std::string_view word_of(const Table& table, Value value) {
    return std::ranges::find(table, value, [](const auto& row) { return row.first; })->second;
}

template <typename Value, std::size_t count>
std::optional<Value> value_of(const std::array<std::pair<Value, std::string_view>, count>& table,
                              std::string_view word) {
    const auto* row = std::ranges::find(table, word, [](const auto& each) { return each.second; });
    return row == table.end() ? std::nullopt : std::optional(row->first);
}

std::optional<std::string_view> first_of(const std::vector<Field>& fields, std::string_view name) {
    const auto found = std::ranges::find(fields, name, &Field::first);
    return found == fields.end() ? std::nullopt : std::optional<std::string_view>(found->second);
}

std::string one_line(std::string_view text) {
    std::string out(text);
    std::ranges::replace_if(out, [](unsigned char c) { return c < 0x20 || c == 0x7f; }, ' ');
    return out;
}

constexpr std::string_view problem_type = "application/problem+json";

constexpr std::string_view page_policy =
    "Content-Security-Policy: default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: "
    "blob:; font-src 'self'; connect-src 'self'; manifest-src 'self'; worker-src 'self'; frame-src 'self'; "
    "base-uri 'none'; form-action 'self'; frame-ancestors 'none'\r\n"
    "X-Frame-Options: DENY\r\n";
constexpr std::string_view report_policy =
    "Content-Security-Policy: sandbox allow-scripts allow-downloads allow-modals; default-src 'none'; "
    "script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data: blob:; frame-ancestors 'self'\r\n"
    "X-Frame-Options: SAMEORIGIN\r\n";
constexpr std::string_view for_every_answer = "X-Content-Type-Options: nosniff\r\n"
                                              "Referrer-Policy: no-referrer\r\n"
                                              "Cross-Origin-Opener-Policy: same-origin\r\n"
                                              "Cross-Origin-Resource-Policy: same-origin\r\n";

/// Whether a list such as "gzip, br;q=0.5" takes gzip (RFC 9110, section 12.5.3).
bool takes_gzip(std::string_view list) {
    while (!list.empty()) {
        const auto end = std::min(list.find(','), list.size());
        std::string item(list.substr(0, end));
        std::erase(item, ' ');
        list.remove_prefix(std::min(end + 1, list.size()));
        const auto weight = item.find(";q=");
        const std::string name = item.substr(0, item.find(';'));
        if (name != "gzip" && name != "*") {
            continue;
        }
        return weight == std::string::npos || item.find_first_of("123456789", weight) != std::string::npos;
    }
    return false;
}

/// Whether a list of ETags holds this one (RFC 9110, section 13.1.2: weak comparison).
bool has_etag(std::string_view list, std::string_view etag) {
    return !etag.empty() && (list == "*" || list.find(etag) != std::string_view::npos);
}

} // namespace

std::string_view method_word(Method method) {
    return word_of(methods, method);
}

std::optional<Method> method_of(std::string_view word) {
    return value_of(methods, word);
}

std::string_view role_word(Role role) {
    return word_of(roles, role);
}

std::optional<Role> role_of(std::string_view word) {
    return value_of(roles, word);
}

bool may(Role role, Right right) {
    switch (right) {
    case Right::anyone:
    case Right::read:
        return true;
    case Right::log:
        return role != Role::viewer;
    case Right::edit:
        return role == Role::scientist;
    }
    return false;
}

std::size_t Head::count(std::string_view name) const {
    return static_cast<std::size_t>(std::ranges::count(fields, name, &Field::first));
}

std::string_view Head::field(std::string_view name) const {
    return first_of(fields, name).value_or(std::string_view());
}

std::string_view Request::part(std::string_view name) const {
    return first_of(named, name).value_or(std::string_view());
}

std::optional<std::string_view> Request::asked(std::string_view name) const {
    return first_of(query, name);
}

Response problem(int status, std::string_view detail, std::string_view remedy) {
    const nlohmann::ordered_json json = {{"type", "about:blank"},
                                         {"title", reason_phrase(status)},
                                         {"status", status},
                                         {"detail", valid_utf8(detail)},
                                         {"remedy", valid_utf8(remedy)}};
    return {.status = status, .content_type = std::string(problem_type), .body = json.dump()};
}

Response problem_page(const Response& problem) {
    if (problem.content_type != problem_type) {
        return problem;
    }
    const auto json = nlohmann::json::parse(problem.body.view());
    const auto text = [&](const char* key) { return html_text(json.at(key).get<std::string>()); };
    std::string detail = text("detail");
    if (!detail.empty() && detail.front() >= 'a' && detail.front() <= 'z') {
        detail.front() = static_cast<char>(detail.front() - 'a' + 'A');
    }
    Response out = problem;
    out.content_type = "text/html; charset=utf-8";
    out.body = fmt::format(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>{0} – Backeddy</title>\n"
        "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
        "<link rel=\"stylesheet\" href=\"/trust/plain.css\"><link rel=\"icon\" href=\"data:,\"></head>\n"
        "<body><main><h1>{0}</h1>\n<p>{1}.</p>\n<p>What to do: {2}.</p>\n"
        "<p><a class=\"act\" href=\"/\">To the first page</a></p></main></body></html>\n",
        text("title"), detail, text("remedy"));
    return out;
}

Response json_response(std::string json) {
    return {.content_type = "application/json", .body = std::move(json)};
}

Response program_file(std::string_view content_type, std::string_view bytes, std::string_view gzip) {
    return {.content_type = std::string(content_type),
            .body = Bytes::of_program(bytes),
            .gzip = Bytes::of_program(gzip),
            .etag = '"' + sha256_hex(bytes).substr(0, 32) + '"'};
}

std::string_view reason_phrase(int status) {
    switch (status) {
    case 200:
        return "OK";
    case 201:
        return "Created";
    case 204:
        return "No Content";
    case 303:
        return "See Other";
    case 304:
        return "Not Modified";
    case 308:
        return "Permanent Redirect";
    case 400:
        return "Bad Request";
    case 401:
        return "Unauthorized";
    case 403:
        return "Forbidden";
    case 404:
        return "Not Found";
    case 405:
        return "Method Not Allowed";
    case 408:
        return "Request Timeout";
    case 409:
        return "Conflict";
    case 412:
        return "Precondition Failed";
    case 413:
        return "Content Too Large";
    case 415:
        return "Unsupported Media Type";
    case 421:
        return "Misdirected Request";
    case 422:
        return "Unprocessable Content";
    case 426:
        return "Upgrade Required";
    case 429:
        return "Too Many Requests";
    case 431:
        return "Request Header Fields Too Large";
    case 500:
        return "Internal Server Error";
    case 501:
        return "Not Implemented";
    case 503:
        return "Service Unavailable";
    default:
        return "Unknown";
    }
}

std::string date_text(std::int64_t unix_seconds) {
    using namespace std::chrono;
    constexpr std::array<std::string_view, 7> weekdays{"Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"};
    constexpr std::array<std::string_view, 12> months{"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                                      "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
    const sys_seconds moment{seconds(unix_seconds)};
    const auto midnight = floor<days>(moment);
    const year_month_day day(midnight);
    const hh_mm_ss time(moment - midnight);
    return fmt::format("{}, {:02} {} {:04} {:02}:{:02}:{:02} GMT", weekdays[weekday(midnight).c_encoding()],
                       static_cast<unsigned>(day.day()), months[static_cast<unsigned>(day.month()) - 1],
                       static_cast<int>(day.year()), time.hours().count(), time.minutes().count(),
                       time.seconds().count());
}

std::string head_text(const Response& response, std::string_view body, bool is_packed) {
    std::string out = fmt::format("HTTP/1.1 {} {}\r\n", response.status, reason_phrase(response.status));
    const bool may_have_body = response.status != 204 && response.status != 304;
    if (may_have_body) {
        out += fmt::format("Content-Length: {}\r\n", body.size());
    }
    if (may_have_body && !response.content_type.empty()) {
        out += "Content-Type: " + one_line(response.content_type) + "\r\n";
    }
    if (is_packed) {
        out += "Content-Encoding: gzip\r\n";
    }
    if (response.gzip) {
        out += "Vary: Accept-Encoding\r\n";
    }
    // What has an ETag may be kept and asked after; anything else is of this moment and of this person.
    out += response.etag.empty() ? "Cache-Control: no-store\r\n" : "Cache-Control: no-cache\r\n";
    if (!response.etag.empty()) {
        out += "ETag: " + one_line(response.etag) + "\r\n";
    }
    for (const auto& [name, text] : response.fields) {
        out += name + ": " + one_line(text) + "\r\n";
    }
    out += response.policy == Policy::report ? report_policy : page_policy;
    out += for_every_answer;
    out += response.closes ? "Connection: close\r\n\r\n" : "\r\n";
    return out;
}

Outgoing outgoing(const Response& response, const Head& head) {
    const bool only_head = head.method == "HEAD";
    if (response.status == 200 && (head.method == "GET" || only_head) &&
        has_etag(head.field("if-none-match"), response.etag)) {
        Response unchanged = response;
        unchanged.status = 304;
        return {.head = head_text(unchanged, {}, false), .body = {}};
    }
    const bool is_packed = response.gzip && takes_gzip(head.field("accept-encoding"));
    const Bytes& body = is_packed ? *response.gzip : response.body;
    return {.head = head_text(response, body.view(), is_packed), .body = only_head ? Bytes() : body};
}

} // namespace backeddy::server
