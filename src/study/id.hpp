#pragma once
// Names as people write them in the tables, each of its own type: a stay's name is no fish's name.

#include <compare>
#include <functional>
#include <string>
#include <utility>

namespace backeddy::study {

/// The text of a key, as it stands in its table (case counts). Empty: no such thing is named.
template <typename Tag>
class Id {
  public:
    Id() = default;
    explicit Id(std::string text) : text_(std::move(text)) {}
    [[nodiscard]] const std::string& text() const { return text_; }
    [[nodiscard]] bool is_empty() const { return text_.empty(); }
    friend bool operator==(const Id&, const Id&) = default;
    friend auto operator<=>(const Id&, const Id&) = default;

  private:
    std::string text_;
};

using FishId = Id<struct FishTag>;
using EncounterId = Id<struct EncounterTag>;
using StayId = Id<struct StayTag>;
using AssemblyId = Id<struct AssemblyTag>;
using SensorId = Id<struct SensorTag>;
using ClockId = Id<struct ClockTag>;
using SampleId = Id<struct SampleTag>;
using PlateId = Id<struct PlateTag>;

} // namespace backeddy::study

template <typename Tag>
struct std::hash<backeddy::study::Id<Tag>> {
    std::size_t operator()(const backeddy::study::Id<Tag>& id) const noexcept {
        return std::hash<std::string>{}(id.text());
    }
};
