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

std::string_view word_of(findings::EffectScale scale) {
    using findings::EffectScale;
    switch (scale) {
    case EffectScale::ratio:
        return "ratio";
    case EffectScale::odds_ratio:
        return "odds_ratio";
    case EffectScale::hazard_ratio:
        return "hazard_ratio";
    case EffectScale::difference:
        break;
    }
    return "difference";
}

std::string_view word_of(findings::FoundCheck::Verdict verdict) {
    using findings::FoundCheck;
    switch (verdict) {
    case FoundCheck::Verdict::look:
        return "look";
    case FoundCheck::Verdict::doubtful:
        return "doubtful";
    case FoundCheck::Verdict::fine:
        break;
    }
    return "fine";
}

std::string_view word_of(findings::Declared declared) {
    using findings::Declared;
    switch (declared) {
    case Declared::before_any_fish:
        return "before_any_fish";
    case Declared::before_results:
        return "before_results";
    case Declared::after_results:
        return "after_results";
    case Declared::changed_since:
        return "changed_since";
    case Declared::never:
        break;
    }
    return "never";
}

} // namespace backeddy::report
