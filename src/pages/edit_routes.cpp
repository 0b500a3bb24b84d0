#include "pages/edit_routes.hpp"

#include <algorithm>
#include <iterator>
#include <utility>

#include "app/edits.hpp"
#include "pages/detail/answers.hpp"
#include "pages/detail/edit_parts.hpp"

namespace backeddy::pages {

Expected<void> detail::record(app::Desk& desk, const server::Request& request, std::string content) {
    auto ids = desk.write({{.act = std::string(app::act_record), .content = std::move(content)}},
                          author_of(request));
    return ids ? Expected<void>() : fail(std::move(ids).error());
}

std::vector<server::Route> edit_routes(app::Desk& desk) {
    auto out = detail::table_routes(desk);
    for (auto more : {detail::brief_routes(desk), detail::offered_routes(desk), detail::ask_routes(desk)}) {
        std::ranges::move(more, std::back_inserter(out));
    }
    return out;
}

} // namespace backeddy::pages
