#pragma once
// Reading the sheets of a fish's condition, as tables.hpp reads the other tables. A fault is a warning and
// its row is left out, but in fates.csv, where it stops a run.

#include <string>
#include <string_view>

#include "intake/tables.hpp"

namespace backeddy::intake {

[[nodiscard]] TableRead<study::BloodRow> read_blood(std::string_view text, const std::string& file,
                                                    const TableContext& context);
[[nodiscard]] TableRead<study::SampleRow> read_samples(std::string_view text, const std::string& file,
                                                       const TableContext& context);
[[nodiscard]] TableRead<study::PlateRow> read_plates(std::string_view text, const std::string& file,
                                                     const TableContext& context);
[[nodiscard]] TableRead<study::WellRow> read_wells(std::string_view text, const std::string& file,
                                                   const TableContext& context);
[[nodiscard]] TableRead<study::FinRow> read_fins(std::string_view text, const std::string& file,
                                                 const TableContext& context);
[[nodiscard]] TableRead<study::BodyRow> read_body(std::string_view text, const std::string& file,
                                                  const TableContext& context);
[[nodiscard]] TableRead<study::ReflexRow> read_reflexes(std::string_view text, const std::string& file,
                                                        const TableContext& context);
[[nodiscard]] TableRead<study::FateRow> read_fates(std::string_view text, const std::string& file,
                                                   const TableContext& context);

} // namespace backeddy::intake
