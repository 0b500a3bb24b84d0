// Any bytes as a batch of carried entries and as a queue file: nothing is a bug of ours; an entry that is
// read may stand in a journal, and comes back byte for byte from what is written of it.

#include "fuzz/fuzz.hpp"
#include "store/carried.hpp"

using namespace backeddy;
using namespace backeddy::store;

namespace {

void hold(const std::vector<Entry>& entries) {
    for (const auto& entry : entries) {
        fuzz::require(check(entry).has_value(), "an entry that is read may stand in a journal");
        const auto back = read_carried(R"({"entries":[)" + carried_text(entry) + "]}");
        fuzz::require(back.has_value() && back->size() == 1 && back->front() == entry,
                      "an entry comes back whole");
    }
}

void hold(const Error& error) {
    fuzz::require(error.code != ErrorCode::our_bug, "what came from outside is no bug of ours");
    fuzz::require(!error.found.empty() && !error.expected.empty(),
                  "a refusal says what is there and what should be");
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const auto text = fuzz::text_of(data, size);
    const auto carried = read_carried(text);
    const auto queue = read_queue_file(text);
    carried ? hold(*carried) : hold(carried.error());
    queue ? hold(queue->entries) : hold(queue.error());
    return 0;
}
