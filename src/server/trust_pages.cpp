#include "server/trust_pages.hpp"

#include <array>
#include <string_view>
#include <utility>

#include <fmt/format.h>

#include "base/html_text.hpp"
#include "server/certificate.hpp"

extern "C" {
extern const char backeddy_plain_css_begin[];
extern const char backeddy_plain_css_end[];
extern const char backeddy_trust_html_begin[];
extern const char backeddy_trust_html_end[];
}

namespace backeddy::server {

namespace {

constexpr std::string_view html = "text/html; charset=utf-8";

std::string_view between(const char* begin, const char* end) {
    return {begin, static_cast<std::size_t>(end - begin)};
}

/// `text` with each {{word}} replaced; what stands for it is escaped.
std::string filled(std::string_view text,
                   const std::vector<std::pair<std::string_view, std::string>>& words) {
    std::string out(text);
    for (const auto& [word, meaning] : words) {
        const std::string mark = fmt::format("{{{{{}}}}}", word);
        const std::string escaped = html_text(meaning);
        for (auto at = out.find(mark); at != std::string::npos; at = out.find(mark, at + escaped.size())) {
            out.replace(at, mark.size(), escaped);
        }
    }
    return out;
}

std::string trust_page(const Road& road) {
    return filled(between(backeddy_trust_html_begin, backeddy_trust_html_end),
                  {{"name", road.name},
                   {"origin", road.origin},
                   {"until", iso_text(road.until).substr(0, 10)},
                   {"fingerprint", fingerprint(road.authority_der)},
                   {"short", short_fingerprint(road.authority_der)}});
}

/// Where the certificate is one's own there is nothing of ours to trust.
std::string own_certificate_page(const Road& road) {
    return filled(R"(<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Nothing to install – Backeddy</title>
<meta name="viewport" content="width=device-width, initial-scale=1"><link rel="stylesheet" href="/trust/plain.css">
<link rel="icon" href="data:,"></head>
<body><main><h1>Nothing to install from here</h1>
<p>This laptop shows a certificate that was given to it by whoever runs it, for the name <strong>{{name}}</strong>. If your phone warns
of it, do not go past the warning; ask them what the phone has to know first.</p>
<p><a class="act" href="{{origin}}/">Open {{origin}}</a></p></main></body></html>
)",
                  {{"name", road.name}, {"origin", road.origin}});
}

Route for_anyone(std::string pattern, const Response& response) {
    return {.pattern = std::move(pattern), .right = Right::anyone, .handler = [response](const Request&) {
                return response;
            }};
}

} // namespace

std::vector<Route> trust_routes(const std::optional<Road>& road) {
    std::vector<Route> out{
        for_anyone("/trust/plain.css",
                   {.content_type = "text/css; charset=utf-8",
                    .body = Bytes::of_program(between(backeddy_plain_css_begin, backeddy_plain_css_end))})};
    if (!road) {
        return out;
    }
    const bool is_ours = !road->authority_der.empty();
    out.push_back(for_anyone("/trust", {.content_type = std::string(html),
                                        .body = is_ours ? trust_page(*road) : own_certificate_page(*road)}));
    if (is_ours) {
        out.push_back(for_anyone("/trust/authority.crt", {.content_type = "application/x-x509-ca-cert",
                                                          .body = road->authority_der}));
    }
    return out;
}

} // namespace backeddy::server
