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

server::Role as_asked(store::Role role) {
    switch (role) {
    case store::Role::viewer:
        return server::Role::viewer;
    case store::Role::crew:
        return server::Role::crew;
    case store::Role::scientist:
        return server::Role::scientist;
    }
    return server::Role::scientist;
}

/// Why an entry is not taken from who asks, and what to do.
struct Foreign {
    std::string why;
    std::string remedy;
};

/// Nobody writes as more than they are. What somebody else wrote is brought by a scientist, or by a paired
/// phone of the crew, which goes from hand to hand: but not in a name that may more than the phone.
std::optional<Foreign> foreign(const store::Entry& entry, const server::Asker& asker,
                               const std::string& asker_name, const RoleOfName& role_of_name) {
    const auto may = asker.role.value_or(server::Role::viewer);
    const auto let_in = fmt::format("let {} sign in on this phone", entry.author);
    if (as_asked(entry.role) > may) {
        return Foreign{fmt::format("written as {}, and {} is here as {}", store::name_of(entry.role),
                                   asker_name, server::role_word(may)),
                       let_in + ", or a scientist take in the phone's queue file"};
    }
    if (may == server::Role::scientist || entry.author == asker_name) {
        return std::nullopt;
    }
    if (!asker.is_paired) {
        return Foreign{fmt::format("written by {}, and {} is signed in", entry.author, asker_name),
                       let_in + ", pair the phone for the crew, or have a scientist take in its queue file"};
    }
    if (const auto theirs = role_of_name(entry.author); theirs > may) {
        return Foreign{
            fmt::format("written in the name of {}, who is here as {}, and this phone is here as {}",
                        entry.author, server::role_word(*theirs), server::role_word(may)),
            let_in + ", or a scientist take in the phone's queue file"};
    }
    return std::nullopt;
}

/// What is taken of a batch, and what is not. An entry that is here already is no news, whoever brings it.
struct Sorted {
    std::vector<store::Entry> taken;
    Json refused = Json::array();
};

Sorted sorted(app::Desk& desk, std::vector<store::Entry> entries, const Request& request,
              const RoleOfName& role_of_name) {
    const auto asker_name = author_of(request).name;
    std::optional<app::JournalRead> journal;
    const auto is_here = [&](const store::Entry& entry) {
        if (!journal) {
            journal = desk.journal();
        }
        return std::ranges::find(journal->entries, entry) != journal->entries.end();
    };
    Sorted out;
    for (auto& entry : entries) {
        const auto why = foreign(entry, request.asker, asker_name, role_of_name);
        if (!why || is_here(entry)) {
            out.taken.push_back(std::move(entry));
        } else {
            out.refused.push_back(
                {{"id", app::id_text(entry.id)}, {"detail", why->why}, {"remedy", why->remedy}});
        }
    }
    return out;
}

Response carry(app::Desk& desk, const Request& request, const RoleOfName& role_of_name) {
    auto entries = store::read_carried(request.body);
    if (!entries) {
        return refusal(entries.error());
    }
    auto parts = sorted(desk, *std::move(entries), request, role_of_name);
    // An older page takes every 200 for all of its entries: it would call sent what was refused.
    if (!parts.refused.empty() && request.asked("each") != "yes") {
        const Json& first = parts.refused.front();
        return problem(
            403,
            fmt::format("entry {}: {}", first["id"].get<std::string>(), first["detail"].get<std::string>()),
            "nothing was taken in; " + first["remedy"].get<std::string>());
    }
    const auto taken = desk.take_in(parts.taken);
    if (!taken) {
        return change_refused(taken.error());
    }
    auto out = taken_in_json<Json>(*taken);
    out["refused"] = std::move(parts.refused);
    return json_response(text_of(out));
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

std::vector<server::Route> carried_routes(app::Desk& desk, RoleOfName role_of_name) {
    return {{.method = Method::post,
             .pattern = "/api/entries/carried",
             .right = Right::log,
             .handler = [&desk, role_of = std::move(role_of_name)](
                            const Request& request) { return carry(desk, request, role_of); },
             .body_limit = most_bytes},
            {.method = Method::get,
             .pattern = "/api/entries/arrived",
             .handler = [&desk](const Request& request) { return arrived(desk, request); }}};
}

} // namespace backeddy::pages::detail
