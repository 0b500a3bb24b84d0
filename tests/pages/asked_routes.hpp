#pragma once
// Routes over a study's folder, asked as requests and answers without a socket.

#include <chrono>
#include <memory>
#include <string>
#include <thread>
#include <vector>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "app/desk.hpp"
#include "server/routes.hpp"
#include "server/target.hpp"
#include "support/small_study.hpp"

namespace backeddy::pages {

/// Asked as a scientist, where nothing else is said.
class AskedRoutes : public testing::Test {
  protected:
    explicit AskedRoutes(const std::string& name)
        : folder_(name + testing::UnitTest::GetInstance()->current_test_info()->name()) {}

    /// `routes_of`: what is served of the desk.
    template <typename RoutesOf>
    void open(const test::StudyFiles& files, const RoutesOf& routes_of) {
        test::write_all(folder_, files);
        desk_ = std::make_unique<app::Desk>(app::DeskWish{
            .folder = folder_.path(), .now = [] { return *parse_iso("2026-06-20T12:00:00Z"); }});
        routes_ = std::make_unique<server::Routes>(*server::Routes::of(routes_of(*desk_)));
    }

    /// Waits for an answer of this revision or a later one, or gives up after a minute (a busy machine takes
    /// its time).
    [[nodiscard]] bool until(app::DeskPhase phase, std::uint64_t revision) const {
        using namespace std::chrono_literals;
        for (const auto end = std::chrono::steady_clock::now() + 60s;
             std::chrono::steady_clock::now() < end;) {
            if (desk_->state().phase == phase && desk_->state().revision >= revision) {
                return true;
            }
            std::this_thread::sleep_for(5ms);
        }
        return false;
    }

    [[nodiscard]] server::Response ask(const std::string& address,
                                       server::Method method = server::Method::get, std::string body = {},
                                       server::Role role = server::Role::scientist,
                                       const std::string& peer = {}) const {
        const auto target = server::parse_target(address);
        EXPECT_TRUE(target) << address;
        auto found = routes_->find(method, target->path);
        if (auto* refusal = std::get_if<server::Response>(&found)) {
            return *refusal;
        }
        auto& match = std::get<server::Routes::Match>(found);
        return match.route->handler(
            {.method = method,
             .path = target->path,
             .query = target->query,
             .named = match.named,
             .body = std::move(body),
             .asker = {.name = "A. Tester", .role = role, .is_paired = is_paired_, .peer = peer}});
    }
    /// From a device of this address.
    [[nodiscard]] server::Response ask_from(const std::string& peer, const std::string& address) const {
        return ask(address, server::Method::get, {}, server::Role::scientist, peer);
    }

    [[nodiscard]] nlohmann::json ask_json(const std::string& address,
                                          server::Method method = server::Method::get,
                                          const std::string& body = {}) const {
        const auto answer = ask(address, method, body);
        EXPECT_EQ(answer.status, 200) << address << ": " << answer.body.view();
        return nlohmann::json::parse(answer.body.view());
    }

    test::ScratchFolder folder_;
    std::unique_ptr<app::Desk> desk_;
    std::unique_ptr<server::Routes> routes_;
    bool is_paired_ = false; ///< asks from a paired phone
};

} // namespace backeddy::pages
