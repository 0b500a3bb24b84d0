// Devices that were offline meet: same entries, whatever the order, the batches and the repetitions.

#include <algorithm>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/random.hpp"
#include "store/invented.hpp"
#include "store/journal.hpp"

namespace backeddy::store {
namespace {

using test::entries_of;
using test::entry;
using test::Folder;
using test::value_of;
using testing::IsEmpty;

template <typename T>
void shuffle(std::vector<T>& items, Random& random) {
    for (std::size_t i = items.size(); i > 1; --i) {
        std::swap(items[i - 1], items[random.below(i)]);
    }
}

/// Appends them in batches of random sizes.
Appended append_in_batches(Journal& journal, const std::vector<Entry>& entries, Random& random) {
    Appended out;
    std::span<const Entry> rest(entries);
    while (!rest.empty()) {
        const auto size = std::min<std::size_t>(rest.size(), 1 + random.below(60));
        auto added = value_of(journal.append(rest.first(size)));
        out.added += added.added;
        out.duplicates += added.duplicates;
        std::move(added.conflicts.begin(), added.conflicts.end(), std::back_inserter(out.conflicts));
        rest = rest.subspan(size);
    }
    return out;
}

/// Ordered by the rule of docs/journal.md, told anew.
std::vector<Entry> ordered(std::vector<Entry> entries) {
    std::sort(entries.begin(), entries.end(), [](const Entry& a, const Entry& b) {
        if (a.time.wall_us != b.time.wall_us) {
            return a.time.wall_us < b.time.wall_us;
        }
        if (a.time.count != b.time.count) {
            return a.time.count < b.time.count;
        }
        if (a.id.device != b.id.device) {
            return a.id.device.text() < b.id.device.text();
        }
        return a.id.sequence < b.id.sequence;
    });
    return entries;
}

TEST(Arrival, in_any_order_and_any_split_with_duplicates_gives_the_same_entries_in_the_same_order) {
    for (std::uint64_t seed = 1; seed <= 40; ++seed) {
        Random random(seed);
        std::vector<Entry> all;
        for (unsigned device = 1; device <= 1 + random.below(4); ++device) {
            const auto some = entries_of(device, 1, 1 + random.below(40));
            all.insert(all.end(), some.begin(), some.end());
        }
        const auto expected = ordered(all);
        for (int order = 0; order < 3; ++order) {
            std::vector<Entry> sent = all;
            for (std::size_t again = random.below(all.size()); again > 0; --again) {
                sent.push_back(all[random.below(all.size())]);
            }
            shuffle(sent, random);
            const Folder folder;
            auto journal = value_of(Journal::open(folder.journal()));
            const auto added = append_in_batches(journal, sent, random);
            ASSERT_EQ(value_of(journal.entries()), expected) << "seed " << seed;
            ASSERT_EQ(added.added, all.size()) << "seed " << seed;
            ASSERT_EQ(added.duplicates, sent.size() - all.size()) << "seed " << seed;
            ASSERT_THAT(added.conflicts, IsEmpty()) << "seed " << seed;
        }
    }
}

TEST(Arrival, three_devices_with_five_hundred_entries_each_agree_after_they_have_met) {
    Random random(3);
    std::vector<Entry> all;
    std::vector<Folder> folders(3);
    std::vector<Journal> journals;
    for (unsigned device = 0; device < 3; ++device) {
        auto own = entries_of(device + 1, 1, 500);
        all.insert(all.end(), own.begin(), own.end());
        journals.push_back(value_of(Journal::open(folders[device].journal())));
        append_in_batches(journals.back(), own, random);
    }
    // Each passes on what it has, to the next and then the other way round, in the order in which it has it.
    for (const auto& [from, to] :
         std::vector<std::pair<int, int>>{{0, 1}, {1, 2}, {2, 0}, {0, 1}, {2, 1}, {1, 0}}) {
        auto received = value_of(journals[from].received_since(Position{0}, 10'000));
        std::vector<Entry> sent;
        for (auto& one : received) {
            sent.push_back(std::move(one.entry));
        }
        append_in_batches(journals[to], sent, random);
    }
    const auto expected = ordered(all);
    for (const auto& journal : journals) {
        EXPECT_EQ(value_of(journal.entries()), expected);
        for (const auto& device : value_of(journal.devices())) {
            EXPECT_EQ(device.last_sequence, 500U);
            EXPECT_THAT(device.lacking, IsEmpty());
        }
        EXPECT_THAT(value_of(journal.readable()).damage, IsEmpty());
    }
}

// Which of two entries under one id stands is a matter of which came first; that both are there is not.
TEST(Arrival, of_entries_that_share_an_id_keeps_all_whatever_the_order) {
    for (std::uint64_t seed = 1; seed <= 20; ++seed) {
        Random random(seed);
        std::vector<Entry> sent;
        for (std::uint64_t sequence = 1; sequence <= 10; ++sequence) {
            for (std::uint64_t variant = 0; variant <= random.below(3); ++variant) {
                sent.push_back(entry(1, sequence));
                sent.back().content = "{\"variant\":" + std::to_string(variant) + "}";
            }
        }
        shuffle(sent, random);
        const Folder folder;
        auto journal = value_of(Journal::open(folder.journal()));
        append_in_batches(journal, sent, random);
        append_in_batches(journal, sent, random);
        auto kept = value_of(journal.entries());
        EXPECT_EQ(kept.size(), 10U);
        for (const auto& aside : value_of(journal.kept_aside())) {
            kept.push_back(aside.received.entry);
        }
        EXPECT_THAT(kept, testing::UnorderedElementsAreArray(sent)) << "seed " << seed;
    }
}

} // namespace
} // namespace backeddy::store
