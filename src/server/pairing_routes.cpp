#include "server/pairing_routes.hpp"

#include <chrono>
#include <string>
#include <utility>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "server/certificate.hpp"
#include "server/detail/qr.hpp"

namespace backeddy::server {

namespace {

using Json = nlohmann::ordered_json;

constexpr std::size_t body_limit = 4 << 10;

std::string deck_address(const Road& road) {
    return road.origin + "/deck";
}

Json devices_json(Pairings& pairings) {
    Json out = Json::array();
    for (const auto& each : pairings.all()) {
        out.push_back({{"id", each.id},
                       {"label", each.label},
                       {"author", each.author},
                       {"role", role_word(each.role)},
                       {"paired_at", iso_text(each.paired_at)},
                       {"last_seen_at", iso_text(each.last_seen_at)}});
    }
    return out;
}

Json text_or_null(const std::string& text) {
    return text.empty() ? Json(nullptr) : Json(text);
}

Response pairing(Pairings& pairings, const std::optional<Road>& road) {
    Json out{{"is_on", road.has_value()},        {"name", nullptr},
             {"deck_address", nullptr},          {"trust_address", nullptr},
             {"trust_qr_svg", nullptr},          {"fingerprint", nullptr},
             {"fingerprint_short", nullptr},     {"authority_until", nullptr},
             {"devices", devices_json(pairings)}};
    if (road) {
        const std::string trust_address = road->trust_address();
        out["name"] = road->name;
        out["deck_address"] = deck_address(*road);
        out["trust_address"] = text_or_null(trust_address);
        out["trust_qr_svg"] = text_or_null(trust_address.empty() ? std::string() : qr_svg(trust_address));
        if (!road->authority_der.empty()) {
            out["fingerprint"] = fingerprint(road->authority_der);
            out["fingerprint_short"] = short_fingerprint(road->authority_der);
            out["authority_until"] = iso_text(road->until);
        }
    }
    return json_response(out.dump());
}

std::optional<Pairings::Wish> wish_of(const std::string& body) {
    const auto json = nlohmann::json::parse(body, nullptr, false);
    const auto text = [&](const char* key) {
        const auto found = json.is_object() ? json.find(key) : json.end();
        return found != json.end() && found->is_string() ? found->get<std::string>() : std::string();
    };
    const auto role = role_of(text("role"));
    return role ? std::optional(
                      Pairings::Wish{.label = text("label"), .author = text("author"), .role = *role})
                : std::nullopt;
}

Response offer(Pairings& pairings, const std::optional<Road>& road, const Request& request) {
    if (!road) {
        return problem(409, "the program was started without the road onto phones",
                       "start it with --deck: backeddy serve DIR --deck");
    }
    auto wish = wish_of(request.body);
    if (!wish) {
        return problem(400, "the body is not what a pairing code needs",
                       R"(send JSON such as {"author": "...", "role": "crew", "label": "A"})");
    }
    const auto code = pairings.offer(std::move(*wish));
    if (!code) {
        return problem(422, code.error().found, code.error().expected);
    }
    const std::string address = fmt::format("{}#pair={}", deck_address(*road), code->text);
    return json_response(Json{{"code", code->text},
                              {"address", address},
                              {"qr_svg", qr_svg(address)},
                              {"expires_at", iso_text(code->expires_at)}}
                             .dump());
}

Response end(Pairings& pairings, const Request& request) {
    const auto ended = pairings.end(request.part("id"));
    if (!ended) {
        return problem(503, "this phone is out now, but that could not be written: " + ended.error().found,
                       ended.error().remedy +
                           ", and end it again: the next start of the program would let it in");
    }
    return *ended == Pairings::Ended::now
               ? Response{.status = 204}
               : problem(404, "no phone of this id is paired", "load the page again; it may be gone already");
}

} // namespace

std::vector<Route> pairing_routes(Gate& gate, Pairings& pairings, const std::optional<Road>& road,
                                  std::function<void()> on_change) {
    const auto telling = [tell = std::move(on_change)](Response response) {
        if (response.status < 300 || response.status == 503) { // 503: out, though it could not be written
            tell();
        }
        return response;
    };
    return {
        {.pattern = "/api/pairing",
         .right = Right::edit,
         .handler = [&pairings, road](const Request&) { return pairing(pairings, road); }},
        {.method = Method::post,
         .pattern = "/api/pairing",
         .right = Right::edit,
         .handler = [&pairings, road](const Request& request) { return offer(pairings, road, request); },
         .body_limit = body_limit},
        {.method = Method::remove,
         .pattern = "/api/pairing/{id}",
         .right = Right::edit,
         .handler = [&pairings, telling](const Request& request) { return telling(end(pairings, request)); }},
        {.method = Method::post,
         .pattern = "/api/pair",
         .right = Right::anyone,
         .handler =
             [&gate, telling](const Request& request) {
                 return telling(gate.pair(request, std::chrono::steady_clock::now()));
             },
         .body_limit = body_limit},
    };
}

} // namespace backeddy::server
