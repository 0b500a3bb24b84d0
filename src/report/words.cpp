#include "report/words.hpp"

namespace backeddy::report {

std::string_view word_of(uptake::Mark mark) {
    switch (mark) {
    case uptake::Mark::good:
        return "good";
    case uptake::Mark::doubtful:
        return "doubtful";
    case uptake::Mark::unusable:
        break;
    }
    return "unusable";
}

std::string_view word_of(uptake::ChamberState state) {
    switch (state) {
    case uptake::ChamberState::flush:
        return "flush";
    case uptake::ChamberState::settle:
        return "settle";
    case uptake::ChamberState::sealed:
        return "sealed";
    case uptake::ChamberState::unknown:
        break;
    }
    return "unknown";
}

std::string_view word_of(ExcludedBy by) {
    return by == ExcludedBy::human ? "human" : "automatic";
}

} // namespace backeddy::report
