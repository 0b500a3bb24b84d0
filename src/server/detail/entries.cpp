#include "server/detail/entries.hpp"

#include <toml++/toml.h>

namespace backeddy::server {

namespace {

ListEntry entry_of(const toml::table& table, std::uint64_t line) {
    ListEntry out{.texts = {}, .line = line};
    for (const auto& [key, value] : table) {
        if (const auto text = value.value<std::string>()) {
            out.texts.emplace(key.str(), *text);
        }
    }
    return out;
}

} // namespace

std::string ListEntry::text(std::string_view key) const {
    const auto found = texts.find(key);
    return found == texts.end() ? std::string() : found->second;
}

Expected<std::vector<ListEntry>>
entries_of(std::string_view text, std::string_view key,
           const std::function<Error(std::string, std::uint64_t)>& complaint) {
    try {
        const toml::table root = toml::parse(text);
        std::vector<ListEntry> out;
        const auto* list = root[key].as_array();
        for (std::size_t i = 0; list != nullptr && i < list->size(); ++i) {
            const toml::node& node = (*list)[i];
            const auto line = std::uint64_t{node.source().begin.line};
            const auto* table = node.as_table();
            if (table == nullptr) {
                return fail(complaint("an entry that is no table", line));
            }
            out.push_back(entry_of(*table, line));
        }
        return out;
    } catch (const toml::parse_error& error) {
        return fail(complaint(std::string(error.description()), std::uint64_t{error.source().begin.line}));
    }
}

} // namespace backeddy::server
