#include "live/keeper.hpp"

#include <chrono>
#include <filesystem>
#include <fstream>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "base/file.hpp"
#include "live/fake_meter.hpp"
#include "live/plain.hpp"
#include "live/visitor.hpp"
#include "store/segment.hpp"

namespace backeddy::live {
namespace {

using namespace std::chrono_literals;
using nlohmann::json;
using testing::Contains;
using testing::HasSubstr;

/// A keeper on a loop that runs on a thread, over a fake meter.
class Night {
  public:
    explicit Night(const test::FakeMeter& meter, const std::filesystem::path& samples,
                   watch::Plan plan = test::plan())
        : keeper_(test::value_of(
              Keeper::start(loop_, test::station(meter.port()), std::move(plan),
                            {.samples = samples, .program = "backeddy test", .station_sha256 = "ab"}))),
          socket_(keeper_->socket()) {
        thread_ = std::thread([this] { loop_.run(); });
        look_ = std::make_unique<WatchLook>(
            socket_,
            [this](std::string line) {
                const std::lock_guard lock(mutex_);
                now_ = std::move(line);
            },
            [] {});
    }
    ~Night() { end(); }

    void end() {
        look_.reset();
        if (thread_.joinable()) {
            loop_.stop();
            thread_.join();
            keeper_.reset();
        }
    }

    json ask(const json& line) { return json::parse(test::value_of(ask_watch(socket_, line.dump(), 20s))); }
    json now() {
        const std::lock_guard lock(mutex_);
        return now_.empty() ? json() : json::parse(now_);
    }
    template <typename Claim>
    ::testing::AssertionResult soon(const Claim& claim) {
        const auto end = std::chrono::steady_clock::now() + 30s;
        while (std::chrono::steady_clock::now() < end) {
            const json said = now();
            if (!said.is_null() && claim(said)) {
                return ::testing::AssertionSuccess();
            }
            std::this_thread::sleep_for(5ms);
        }
        return ::testing::AssertionFailure() << "not within 30 s: " << now().dump(1);
    }

  private:
    instruments::Loop loop_;
    std::unique_ptr<Keeper> keeper_;
    std::filesystem::path socket_;
    std::thread thread_;
    std::mutex mutex_;
    std::string now_;
    std::unique_ptr<WatchLook> look_;
};

class Keeping : public testing::Test {
  protected:
    TemporaryFolder folder_ = test::value_of(TemporaryFolder::make("keeper"));
    std::filesystem::path samples_ = folder_.path() / store::watch_folder;
    test::FakeMeter meter_;
};

const json fish_in = {
    {"chamber", "deck"}, {"by", "A. Keen"}, {"act", "put_in"}, {"role", "rest"}, {"mass_kg", 1.2}};

TEST_F(Keeping, shows_readings_and_keeps_them_before) {
    Night night(meter_, samples_);
    ASSERT_TRUE(night.soon([](const json& now) { return now["chambers"][1]["oxygen_percent"].is_number(); }));
    const json now = night.now();
    EXPECT_NEAR(now["chambers"][0]["celsius"], 12.5, 1e-9);
    store::SegmentReader reader(samples_);
    const auto pieces = test::value_of(reader.read());
    EXPECT_GE(reader.last(), now["through"].get<std::uint64_t>());
    std::vector<std::string> sources;
    std::string bytes;
    for (const auto& piece : pieces) {
        bytes += piece.heard.bytes;
        sources.push_back(piece.head->sources.at(piece.heard.source));
    }
    EXPECT_THAT(bytes, HasSubstr(";deck_t=12.5;shore_o2=9"));
    EXPECT_THAT(bytes, HasSubstr(R"("event":"device")")) << "that the meter was reached";
    EXPECT_THAT(sources, Contains("meter"));
    EXPECT_THAT(sources, Contains(own_source));
}

TEST_F(Keeping, tells_every_pump_to_flush_and_again_and_again) {
    const Night night(meter_, samples_);
    const auto flushes = [&](const char* line) {
        const auto heard = meter_.heard();
        return std::count(heard.begin(), heard.end(), line);
    };
    const auto end = std::chrono::steady_clock::now() + 30s;
    while ((flushes("flush deck") < 3 || flushes("flush shore") < 3) &&
           std::chrono::steady_clock::now() < end) {
        std::this_thread::sleep_for(20ms);
    }
    EXPECT_GE(flushes("flush deck"), 3);
    EXPECT_GE(flushes("flush shore"), 3);
    EXPECT_EQ(flushes("seal deck"), 0);
}

TEST_F(Keeping, does_what_a_hand_says_when_it_may_and_answers_when_it_is_on_disk) {
    Night night(meter_, samples_);
    EXPECT_EQ(night.ask(fish_in)["done"], true);
    EXPECT_THAT(test::value_of(read_file(samples_ / kept_name)), HasSubstr("deck\tfish\trest"));
    EXPECT_TRUE(night.soon([](const json& now) { return now["chambers"][0]["use"] == "fish"; }));
    const json cleaning =
        night.ask({{"chamber", "deck"}, {"by", "A. Keen"}, {"act", "clean"}, {"minutes", 10}});
    EXPECT_EQ(cleaning["done"], false) << "a fish is in it";
    EXPECT_FALSE(cleaning["words"].get<std::string>().empty());
    EXPECT_THAT(night.ask({{"by", "A. Keen"}, {"act", "fly"}})["words"].get<std::string>(),
                HasSubstr("act \"fly\""));
    EXPECT_THAT(night.ask({{"handover", true}})["text"].get<std::string>(), HasSubstr("deck"));
    EXPECT_GT(night.ask({{"course", "deck"}})["from"].size(), 0U);
    EXPECT_EQ(night.ask({{"course", "pier"}})["done"], false);
}

TEST_F(Keeping, goes_on_after_a_restart_in_flush_with_the_fish_it_had) {
    {
        Night night(meter_, samples_);
        EXPECT_EQ(night.ask(fish_in)["done"], true);
    }
    Night night(meter_, samples_);
    ASSERT_TRUE(night.soon([](const json& now) { return now["chambers"][0]["use"] == "fish"; }));
    EXPECT_EQ(night.now()["chambers"][0]["mass_kg"], 1.2);
    EXPECT_EQ(night.now()["chambers"][0]["phase"], "flush");
}

TEST_F(Keeping, seals_a_chamber_when_its_water_is_good_and_stops_when_it_ends) {
    watch::Plan plan = test::plan();
    plan.settings.interlock.clear_for_s = 0.5;
    plan.chambers[0].flow_l_per_min = 1'200.0; // the water once through in a second
    plan.settings.blank.flush_s = 1.0;
    Night night(meter_, samples_, plan);
    EXPECT_EQ(
        night.ask({{"chamber", "deck"}, {"by", "A. Keen"}, {"act", "put_in"}, {"role", "blank"}})["done"],
        true);
    EXPECT_TRUE(night.soon([&](const json& now) { return now["chambers"][0]["phase"] == "sealed"; }));
    const auto end = std::chrono::steady_clock::now() + 20s;
    while (meter_.last_heard("deck") != "seal deck" && std::chrono::steady_clock::now() < end) {
        std::this_thread::sleep_for(10ms);
    }
    EXPECT_EQ(meter_.last_heard("deck"), "seal deck");
    night.end();
    while (meter_.last_heard("deck") != "flush deck" && std::chrono::steady_clock::now() < end) {
        std::this_thread::sleep_for(10ms);
    }
    EXPECT_EQ(meter_.last_heard("deck"), "flush deck") << "pumps are left in flush";
}

TEST_F(Keeping, is_refused_where_station_and_study_do_not_fit_or_the_kept_state_is_damaged) {
    instruments::Loop loop;
    watch::Plan other = test::plan();
    other.chambers[1].name = "pier";
    EXPECT_THAT(
        Keeper::start(loop, test::station(meter_.port()), other, {.samples = samples_}).error().text(),
        HasSubstr("chamber pier has 0 oxygen channels"));
    std::filesystem::create_directories(samples_);
    std::ofstream(samples_ / kept_name) << "half a li";
    const auto damaged =
        Keeper::start(loop, test::station(meter_.port()), test::plan(), {.samples = samples_});
    ASSERT_FALSE(damaged);
    EXPECT_THAT(damaged.error().text(), HasSubstr("watch.state"));
    EXPECT_THAT(damaged.error().text(), HasSubstr("look at the chambers"));
}

} // namespace
} // namespace backeddy::live
