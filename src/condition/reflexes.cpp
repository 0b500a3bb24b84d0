#include "condition/reflexes.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace backeddy::condition {

namespace {

Expected<void> check_names(std::span<const std::string> named, std::span<const ReflexTest> tests) {
    std::vector<std::string> names(named.begin(), named.end());
    std::sort(names.begin(), names.end());
    if (names.empty() || std::adjacent_find(names.begin(), names.end()) != names.end()) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = fmt::format("reflex tests \"{}\"", fmt::join(named, "\", \"")),
                     .expected = "one test or more, no two of one name"});
    }
    for (const auto& test : tests) {
        if (!std::binary_search(names.begin(), names.end(), test.name)) {
            const auto near = nearest_name(test.name, names);
            return fail(
                {.code = ErrorCode::unknown_name,
                 .found = fmt::format("a reflex test \"{}\"", test.name),
                 .expected = fmt::format("one of {}", fmt::join(named, ", ")),
                 .remedy = near ? fmt::format("write {}?", *near) : "name it among the study's tests"});
        }
        if (std::count_if(tests.begin(), tests.end(),
                          [&](const ReflexTest& other) { return other.name == test.name; }) > 1) {
            return fail({.code = ErrorCode::duplicate,
                         .found = fmt::format("two results of \"{}\"", test.name),
                         .expected = "one of each test at one moment"});
        }
    }
    return {};
}

} // namespace

Expected<ReflexImpairment> reflex_impairment(std::span<const std::string> named,
                                             std::span<const ReflexTest> tests) {
    if (auto fine = check_names(named, tests); !fine) {
        return fail(std::move(fine).error());
    }
    ReflexImpairment out;
    for (const auto& name : named) {
        const auto test =
            std::find_if(tests.begin(), tests.end(), [&](const ReflexTest& one) { return one.name == name; });
        if (test == tests.end() || !test->is_impaired) {
            out.missing.push_back(name);
            continue;
        }
        ++out.tested;
        out.impaired += *test->is_impaired ? 1 : 0;
    }
    const auto impaired = static_cast<double>(out.impaired);
    const auto all = static_cast<double>(named.size());
    if (out.tested > 0) {
        out.share = impaired / static_cast<double>(out.tested);
    }
    out.can_be = {impaired / all, (impaired + static_cast<double>(out.missing.size())) / all};
    return out;
}

std::optional<std::string> endpoint_reminder(const WelfareSigns& signs) {
    std::vector<std::string> seen;
    if (signs.is_righting_lost.value_or(false)) {
        seen.emplace_back("righting lost");
    }
    if (signs.is_gill_beat_lost.value_or(false)) {
        seen.emplace_back("gill beat lost");
    }
    const bool is_deep_hook = signs.hook && is_deep(*signs.hook);
    if (signs.bleeding == Bleeding::heavy) {
        seen.emplace_back("heavy bleeding");
    } else if (signs.bleeding == Bleeding::moderate && is_deep_hook) {
        seen.emplace_back("bleeding where the hook sat deep");
    }
    if (seen.empty()) {
        return std::nullopt;
    }
    return fmt::format(
        "{}: stop what is being done to this fish and look up the permit's humane endpoints now. "
        "Whether it recovers in flowing water, leaves the study or is killed humanely, the "
        "permit's holder decides; write down what was seen and done, with the time.",
        fmt::join(seen, ", "));
}

} // namespace backeddy::condition
