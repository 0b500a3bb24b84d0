#pragma once
// Lists in the files of this machine, as TOML: [[person]], [[device]].

#include <cstdint>
#include <functional>
#include <map>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "base/error.hpp"

namespace backeddy::server {

/// One [[entry]] of a list: what of it is text.
struct ListEntry {
    std::map<std::string, std::string, std::less<>> texts;
    std::uint64_t line = 0;

    /// Empty where there is none.
    [[nodiscard]] std::string text(std::string_view key) const;
};

/// The entries named `key`, in their order; none where there are none. Fails with `complaint(what, line)`
/// where the text is no TOML or an entry no table.
[[nodiscard]] Expected<std::vector<ListEntry>>
entries_of(std::string_view text, std::string_view key,
           const std::function<Error(std::string, std::uint64_t)>& complaint);

/// What `read(entry)` makes of each of them; fails with the first that it cannot read, too.
template <typename Item, typename Complaint, typename Read>
[[nodiscard]] Expected<std::vector<Item>> list_of(std::string_view text, std::string_view key,
                                                  const Complaint& complaint, const Read& read) {
    const auto entries = entries_of(text, key, complaint);
    if (!entries) {
        return fail(entries.error());
    }
    std::vector<Item> out;
    for (const auto& entry : *entries) {
        Expected<Item> item = read(entry);
        if (!item) {
            return fail(std::move(item).error());
        }
        out.push_back(std::move(*item));
    }
    return out;
}

} // namespace backeddy::server
