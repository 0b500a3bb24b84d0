#include "server/routes.hpp"

#include <algorithm>
#include <optional>
#include <set>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace backeddy::server {

namespace {

bool is_open(std::string_view segment) {
    return segment.size() > 2 && segment.front() == '{' && segment.back() == '}';
}

std::vector<std::string> segments_of(std::string_view pattern) {
    std::vector<std::string> out;
    std::string_view rest = pattern.substr(1);
    while (!rest.empty()) {
        const auto end = std::min(rest.find('/'), rest.size());
        out.emplace_back(rest.substr(0, end));
        rest.remove_prefix(std::min(end + 1, rest.size()));
    }
    return out;
}

/// Of two patterns that take one path, the one with the smaller rank is meant: false (as it stands) before
/// true.
std::vector<bool> rank(const std::vector<std::string>& pattern) {
    std::vector<bool> out;
    std::ranges::transform(pattern, std::back_inserter(out), is_open);
    return out;
}

bool takes(const std::vector<std::string>& pattern, const std::vector<std::string>& path) {
    return std::ranges::equal(pattern, path, [](const std::string& ours, const std::string& theirs) {
        return is_open(ours) || ours == theirs;
    });
}

std::vector<Field> what_is_named(const std::vector<std::string>& pattern,
                                 const std::vector<std::string>& path) {
    std::vector<Field> out;
    for (std::size_t i = 0; i < path.size(); ++i) {
        if (is_open(pattern[i])) {
            out.emplace_back(pattern[i].substr(1, pattern[i].size() - 2), path[i]);
        }
    }
    return out;
}

/// The same for two patterns that take the same paths.
std::string shape(const Route& route, const std::vector<std::string>& pattern) {
    std::string out(method_word(route.method));
    for (const auto& segment : pattern) {
        out += '/' + (is_open(segment) ? "{}" : segment);
    }
    return out;
}

Response nothing_there() {
    return problem(404, "there is nothing at this address",
                   "go back to the first page; /api/openapi.json lists what the program answers");
}

Response other_methods(const std::set<std::string_view>& allowed) {
    Response out = problem(405, "this address does not take such requests",
                           fmt::format("send {}", fmt::join(allowed, " or ")));
    out.fields.emplace_back("Allow", fmt::format("{}", fmt::join(allowed, ", ")));
    return out;
}

} // namespace

Expected<Routes> Routes::of(std::vector<Route> routes) {
    Routes out;
    std::set<std::string> seen;
    for (const auto& route : routes) {
        const bool is_path = route.pattern.starts_with('/') && route.pattern.find("//") == std::string::npos;
        auto pattern = is_path ? segments_of(route.pattern) : std::vector<std::string>();
        if (!is_path || !route.handler || !seen.insert(shape(route, pattern)).second) {
            return fail({.code = ErrorCode::our_bug,
                         .found = fmt::format("the route {} {}", method_word(route.method), route.pattern),
                         .expected = "a path, a handler, and no other route that takes the same requests",
                         .remedy = "please report this"});
        }
        out.patterns_.push_back(std::move(pattern));
    }
    out.routes_ = std::move(routes);
    return out;
}

std::variant<Routes::Match, Response> Routes::find(Method method,
                                                   const std::vector<std::string>& path) const {
    const Method wanted = method == Method::head ? Method::get : method;
    std::optional<std::size_t> best;
    std::set<std::string_view> allowed;
    for (std::size_t i = 0; i < routes_.size(); ++i) {
        if (!takes(patterns_[i], path)) {
            continue;
        }
        allowed.insert(method_word(routes_[i].method));
        if (routes_[i].method == Method::get) {
            allowed.insert(method_word(Method::head));
        }
        if (routes_[i].method == wanted && (!best || rank(patterns_[i]) < rank(patterns_[*best]))) {
            best = i;
        }
    }
    if (best) {
        return Match{.route = &routes_[*best], .named = what_is_named(patterns_[*best], path)};
    }
    return allowed.empty() ? nothing_there() : other_methods(allowed);
}

} // namespace backeddy::server
