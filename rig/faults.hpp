#pragma once
// What the rig is asked to do wrong, and when: lines of a script, or typed while it runs. Pure.
//
//   at 600 dead_pump c3             from 600 s of the rig's time on
//   at 600 for 120 noise c3 0.5     for two minutes, 0.5 mg/L
//   drift all 0.3                   now, every chamber
//   end dead_pump c3

#include <cstdint>
#include <limits>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"

namespace backeddy::rig {

enum class FaultKind : std::uint8_t {
    // water
    dead_pump,
    stuck_pump,
    stuck_valve,
    weak_flush,
    leak,
    bubble,
    fish_out,
    fish_dies,
    restless,
    poor_inflow,
    // sensor
    dropout,
    frozen,
    drift,
    offset,
    noise,
    implausible,
    // wire, always the whole rig's
    clock,
    garbage,
    half_lines,
    disconnect,
};

struct FaultMeaning {
    FaultKind kind;
    std::string_view word;
    std::string_view what;  ///< what it does
    std::string_view unit;  ///< of its amount; "" when it has none
    double amount = 0.0;    ///< when none is given
    bool whole_rig = false; ///< names no chamber
};
[[nodiscard]] const std::vector<FaultMeaning>& fault_meanings();

/// Chambers are counted from 1; 0 is all.
struct Fault {
    FaultKind kind = FaultKind::dead_pump;
    std::size_t chamber = 0;
    double amount = 0.0;
    double from_s = 0.0;
    double to_s = std::numeric_limits<double>::infinity();
};

/// One line understood.
struct Order {
    enum class What : std::uint8_t { nothing, begin, end, quit };
    What what = What::nothing;
    Fault fault; ///< of end: kind and chamber alone
};

/// Reads a line; `now_s` is its moment when it names none. Empty lines and what follows '#' are nothing.
/// Fails with bad_setting or unknown_name, saying what would be right.
[[nodiscard]] Expected<Order> parse_order(std::string_view line, double now_s, std::size_t chambers);

class FaultPlan {
  public:
    void add(const Fault& fault) { faults_.push_back(fault); }
    /// Ends what is going on or is to come.
    void end(FaultKind kind, std::size_t chamber, double now_s);
    /// The amount of the fault in this chamber at this moment, the one given last; nothing when there is
    /// none.
    [[nodiscard]] std::optional<double> active(FaultKind kind, std::size_t chamber, double at_s) const;
    /// When it began; only where it is active.
    [[nodiscard]] double since_s(FaultKind kind, std::size_t chamber, double at_s) const;

  private:
    [[nodiscard]] const Fault* find(FaultKind kind, std::size_t chamber, double at_s) const;
    std::vector<Fault> faults_;
};

} // namespace backeddy::rig
