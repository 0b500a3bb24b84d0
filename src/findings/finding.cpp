#include "findings/finding.hpp"

namespace backeddy::findings {

double no_difference(EffectScale scale) {
    return scale == EffectScale::difference ? 0.0 : 1.0;
}

} // namespace backeddy::findings
