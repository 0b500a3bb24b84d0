// refused: nodiscard
#include "base/file.hpp"

using namespace backeddy;

bool save() {
#ifdef MUST_NOT_COMPILE
    write_file_whole("a.csv", "fish");
    return true;
#else
    return write_file_whole("a.csv", "fish").has_value();
#endif
}
