// Entries that other devices wrote, in and out.

#include <algorithm>
#include <charconv>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "app/desk.hpp"
#include "pages/detail/answers.hpp"
#include "pages/detail/deck_parts.hpp"
#include "pages/detail/edit_parts.hpp"
#include "pages/detail/taken_in.hpp"
#include "store/carried.hpp"

namespace backeddy::pages::detail {

namespace {

using Json = nlohmann::json;
using server::json_response;
using server::Method;
using server::problem;
using server::Request;
using server::Response;
using server::Right;

/// 4 MiB: a thousand entries of a boat's log are a tenth of that.
constexpr std::size_t most_bytes = std::size_t{4} << 20;

int rank_of(store::Role role) {
    switch (role) {
    case store::Role::viewer:
        return 0;
    case store::Role::crew:
        return 1;
    case store::Role::scientist:
        return 2;
    }
    return 2;
}

/// Nobody writes as more than they are, and only a scientist brings what somebody else wrote.
std::optional<Response> refuse_foreign(const std::vector<store::Entry>& entries, const app::Author& asker) {
    for (const auto& entry : entries) {
        if (rank_of(entry.role) > rank_of(asker.role)) {
            return problem(403,
                           fmt::format("entry {} was written as {}, and {} is here as {}",
                                       app::id_text(entry.id), store::name_of(entry.role), asker.name,
                                       store::name_of(asker.role)),
                           "nothing was taken in; a scientist can take in the device's queue file");
        }
        if (asker.role != store::Role::scientist && entry.author != asker.name) {
            return problem(403,
                           fmt::format("entry {} was written by {}, and not by {}", app::id_text(entry.id),
                                       entry.author, asker.name),
                           "nothing was taken in; a scientist can take in the device's queue file");
        }
    }
    return std::nullopt;
}

Response carry(app::Desk& desk, const Request& request) {
    const auto entries = store::read_carried(request.body);
    if (!entries) {
        return refusal(entries.error());
    }
    if (auto foreign = refuse_foreign(*entries, author_of(request))) {
        return *std::move(foreign);
    }
    const auto taken = desk.take_in(*entries);
    return taken ? json_response(text_of(taken_in_json<Json>(*taken))) : change_refused(taken.error());
}

std::optional<std::int64_t> position_of(const Request& request) {
    const auto text = request.asked("after").value_or("0");
    std::int64_t out = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), out);
    const bool is_read = error == std::errc() && end == text.data() + text.size() && out >= 0;
    return is_read ? std::optional(out) : std::nullopt;
}

Response arrived(app::Desk& desk, const Request& request) {
    const auto after = position_of(request);
    if (!after) {
        return problem(400, "`after` is no place in the order of arrival",
                       "ask with after=0, or with the `through` of the answer before");
    }
    const auto news = desk.arrived(store::Position{*after}, store::most_carried);
    if (!news) {
        return refusal(news.error());
    }
    std::string entries;
    for (const auto& each : news->entries) {
        entries += (entries.empty() ? "" : ",") + store::carried_text(each);
    }
    return json_response(fmt::format(R"({{"identity":"{}","through":{},"entries":[{}]}})", news->identity,
                                     static_cast<std::int64_t>(news->through), entries));
}

} // namespace

std::vector<server::Route> carried_routes(app::Desk& desk) {
    return {{.method = Method::post,
             .pattern = "/api/entries/carried",
             .right = Right::log,
             .handler = [&desk](const Request& request) { return carry(desk, request); },
             .body_limit = most_bytes},
            {.method = Method::get,
             .pattern = "/api/entries/arrived",
             .handler = [&desk](const Request& request) { return arrived(desk, request); }}};
}

} // namespace backeddy::pages::detail
