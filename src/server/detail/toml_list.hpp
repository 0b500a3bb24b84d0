#pragma once
// Lists of tables in the files of this machine: [[person]], [[device]].

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include <toml++/toml.h>

#include "base/error.hpp"

namespace backeddy::server {

/// What `read(table, line)` makes of each [[key]] of the text, in their order; none where there are none.
/// Fails with what it says of the first that it cannot read, or with `complaint(what, line)` where the text
/// is no TOML or an entry no table.
template <typename Item, typename Read, typename Complaint>
[[nodiscard]] Expected<std::vector<Item>> toml_list(std::string_view text, std::string_view key,
                                                    const Read& read, const Complaint& complaint) {
    try {
        const toml::table root = toml::parse(text);
        std::vector<Item> out;
        const auto* list = root[key].as_array();
        for (std::size_t i = 0; list != nullptr && i < list->size(); ++i) {
            const toml::node& node = (*list)[i];
            const auto line = std::uint64_t{node.source().begin.line};
            const auto* table = node.as_table();
            Expected<Item> item =
                table == nullptr ? fail(complaint("an entry that is no table", line)) : read(*table, line);
            if (!item) {
                return fail(std::move(item).error());
            }
            out.push_back(std::move(*item));
        }
        return out;
    } catch (const toml::parse_error& error) {
        return fail(complaint(std::string(error.description()), std::uint64_t{error.source().begin.line}));
    }
}

} // namespace backeddy::server
