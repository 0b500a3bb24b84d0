#pragma once
// What the routes of the pages share.

#include <string>

#include "app/journal.hpp"
#include "base/error.hpp"
#include "server/exchange.hpp"

namespace backeddy::pages {

/// A name that names nothing is not found; a study that says otherwise is a conflict, a disk that takes
/// nothing the machine's fault; what else a person can get wrong is a bad request.
[[nodiscard]] inline server::Response refusal(const Error& error) {
    int status = 400;
    switch (error.code) {
    case ErrorCode::unknown_name:
    case ErrorCode::too_few:
        status = 404;
        break;
    case ErrorCode::bad_relation:
    case ErrorCode::duplicate:
        status = 409;
        break;
    case ErrorCode::cannot_write:
        status = 507;
        break;
    default:
        break;
    }
    return server::problem(status, error.text(), error.remedy);
}

/// Of a change that the study as it stands does not take, or the machine.
[[nodiscard]] inline server::Response change_refused(const Error& error) {
    return server::problem(error.code == ErrorCode::cannot_write ? 507 : 409, error.text(), error.remedy);
}

/// Whoever opened the program on the machine itself has no name of their own.
[[nodiscard]] inline app::Author author_of(const server::Request& request) {
    store::Role role = store::Role::viewer;
    if (request.asker.role == server::Role::crew) {
        role = store::Role::crew;
    } else if (request.asker.role == server::Role::scientist) {
        role = store::Role::scientist;
    }
    return {.name = request.asker.name.empty() ? "somebody at this machine" : request.asker.name,
            .role = role};
}

} // namespace backeddy::pages
