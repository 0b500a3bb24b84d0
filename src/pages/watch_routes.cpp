#include "pages/watch_routes.hpp"

#include <chrono>
#include <utility>

#include <nlohmann/json.hpp>

#include "pages/detail/answers.hpp"

namespace backeddy::pages {

namespace {

using Json = nlohmann::json;
using server::json_response;
using server::problem;
using server::Request;
using server::Response;

/// The watch answers at once, but for its disk.
constexpr std::chrono::milliseconds patience{5'000};

std::string line(const Json& document) {
    return document.dump(-1, ' ', false, Json::error_handler_t::replace);
}

std::string news(const std::string& now) {
    return R"({"watch":)" + now + '}';
}

Response no_watch() {
    return problem(404, "no watch is running over this study",
                   "start it: backeddy watch DIR --station station.toml");
}

Response asked(const WatchView* view, const Json& question) {
    if (view == nullptr || !view->now()) {
        return no_watch();
    }
    auto answer = live::ask_watch(view->socket(), line(question), patience);
    if (!answer) {
        return answer.error().code == ErrorCode::file_missing
                   ? no_watch()
                   : problem(503, answer.error().text(), answer.error().remedy);
    }
    return json_response(std::move(*answer));
}

/// Who acts is who asks: the body cannot say otherwise.
Response hand(const WatchView* view, const Request& request) {
    Json wish = Json::parse(request.body, nullptr, false);
    if (!wish.is_object() || !wish.contains("act")) {
        return problem(400, "this is no act for the watch", R"(send {"chamber":NAME,"act":WORD,...})");
    }
    wish["by"] = author_of(request).name;
    return asked(view, wish);
}

} // namespace

WatchView::WatchView(std::filesystem::path socket, std::function<void(const std::string&)> publish)
    : socket_(std::move(socket)), publish_(std::move(publish)), look_(
                                                                    socket_,
                                                                    [this](std::string said) {
                                                                        publish_(news(said));
                                                                        const std::lock_guard lock(mutex_);
                                                                        now_ = std::move(said);
                                                                    },
                                                                    [this] {
                                                                        publish_(news("null"));
                                                                        const std::lock_guard lock(mutex_);
                                                                        now_.reset();
                                                                    }) {}

std::optional<std::string> WatchView::now() const {
    const std::lock_guard lock(mutex_);
    return now_;
}

std::vector<server::Route> watch_routes(const WatchView* view) {
    return {
        {.pattern = "/api/watch",
         .handler =
             [view](const Request&) {
                 return json_response(news(view == nullptr ? "null" : view->now().value_or("null")));
             }},
        {.pattern = "/api/watch/course/{chamber}",
         .handler =
             [view](const Request& request) {
                 const Response answer = asked(view, {{"course", request.part("chamber")}});
                 const bool is_refused =
                     answer.status == 200 && answer.body.view().starts_with(R"({"done":false)");
                 return is_refused ? problem(404, "the watch has no such chamber", "choose one that it shows")
                                   : answer;
             }},
        {.pattern = "/api/watch/handover",
         .handler = [view](const Request&) { return asked(view, {{"handover", true}}); }},
        {.method = server::Method::post,
         .pattern = "/api/watch/hand",
         .right = server::Right::log,
         .handler = [view](const Request& request) { return hand(view, request); }},
    };
}

} // namespace backeddy::pages
