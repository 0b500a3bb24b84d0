#pragma once
// A cell of a column that a table does not know: the study's own treatments and covariates.

#include <string>

namespace backeddy::study {

struct FreeCell {
    std::string column; ///< as its header is written
    std::string value;

    friend bool operator==(const FreeCell&, const FreeCell&) = default;
};

} // namespace backeddy::study
