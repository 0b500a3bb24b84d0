#pragma once
// The brief's handheld meters, fitted: which correction a value of blood.csv gets.
//
//   const Meters meters(brief);
//   condition::determined(assayed, meters.find(assayed));

#include <map>
#include <string>
#include <utility>
#include <vector>

#include "condition/blood.hpp"
#include "condition/meter.hpp"
#include "study/brief.hpp"
#include "study/complaint.hpp"

namespace backeddy::study {

class Meters {
  public:
    /// A [[meter]] that cannot be fitted corrects nothing and is told, as are two of one device and analyte,
    /// of which none corrects. Case and blanks at the ends of a device's name do not matter.
    explicit Meters(const Brief& brief);

    /// Of its device and analyte, with pairs in the usual unit; nullptr: read as it stands. Valid as long as
    /// this is.
    [[nodiscard]] const condition::MeterCorrection* find(const condition::Assayed& assayed) const;

    [[nodiscard]] const std::vector<Complaint>& complaints() const { return complaints_; }

  private:
    using Key = std::pair<std::string, condition::Analyte>;
    std::map<Key, condition::MeterCorrection> fitted_;
    std::vector<Complaint> complaints_;
};

} // namespace backeddy::study
