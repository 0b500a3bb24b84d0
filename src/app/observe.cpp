#include "app/observe.hpp"

#include <algorithm>

#include "app/detail/observed_rows.hpp"

namespace backeddy::app {

std::vector<findings::Observations> observe(const Study& study, const std::vector<FishAnswer>& fish,
                                            const ConditionAnswers& condition) {
    std::vector<findings::Observations> out;
    out.push_back(detail::fish_rows(study, fish, condition));
    out.push_back(detail::after_rows(study, fish, condition));
    out.push_back(detail::spell_rows(study, fish, condition));
    out.push_back(detail::strike_rows(study));
    out.push_back(detail::fishing_rows(study));
    for (auto& rows : out) {
        detail::describe_columns(study.brief, rows);
    }
    return out;
}

const findings::Observations& rows_for(const study::Question& question,
                                       const std::vector<findings::Observations>& all) {
    std::vector<std::string> wanted{question.compare};
    if (!question.within.empty()) {
        wanted.push_back(question.within);
    }
    const findings::Observations* best = nullptr;
    std::size_t most = 0;
    for (const auto& rows : all) {
        if (rows.column(question.outcome) == nullptr) {
            continue;
        }
        const auto has = [&](const std::string& name) { return rows.column(name) != nullptr; };
        const auto count = 1 + static_cast<std::size_t>(std::count_if(wanted.begin(), wanted.end(), has));
        if (count > most) {
            best = &rows;
            most = count;
        }
    }
    return best == nullptr ? all.front() : *best;
}

} // namespace backeddy::app
