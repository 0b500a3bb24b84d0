#include "condition/plate_noise.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>
#include <set>
#include <vector>

#include <Eigen/Dense>
#include <fmt/format.h>

namespace backeddy::condition {

namespace {

constexpr std::array powers{0.0, 1.0, 2.0};

double freedom_of(const Replicates& group) {
    return static_cast<double>(group.freedom);
}

Error degenerate(std::string found) {
    return {.code = ErrorCode::degenerate,
            .found = std::move(found),
            .expected = "replicates that scatter, at different responses",
            .remedy = "state the variance power instead"};
}

Expected<void> check(std::span<const Replicates> groups) {
    std::set<double> means;
    bool scatters = false;
    for (const auto& group : groups) {
        if (!(group.mean > 0.0) || !std::isfinite(group.mean) || !(group.variance >= 0.0) ||
            !std::isfinite(group.variance) || group.freedom == 0) {
            return fail({.code = ErrorCode::out_of_range,
                         .found = fmt::format("replicates of mean {} and variance {}, {} degrees of freedom",
                                              group.mean, group.variance, group.freedom),
                         .expected = "a mean above 0, a variance of 0 or more, at least two wells",
                         .remedy = "leave them out"});
        }
        means.insert(group.mean);
        scatters = scatters || group.variance > 0.0;
    }
    if (groups.size() < powers.size()) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("{} groups of replicates", groups.size()),
                     .expected = "at least three",
                     .remedy = "state the variance power instead"});
    }
    if (means.size() < powers.size()) {
        return fail(degenerate("replicates of fewer than three different means"));
    }
    return scatters ? Expected<void>() : fail(degenerate("replicates that do not scatter"));
}

/// Each part as large as it would have to be alone, over their number: all above 0.
ResponseVariance start(std::span<const Replicates> groups) {
    ResponseVariance out{.parts = {}, .covariance = {}};
    for (const double power : powers) {
        double variances = 0.0;
        double sizes = 0.0;
        for (const auto& group : groups) {
            variances += freedom_of(group) * group.variance;
            sizes += freedom_of(group) * std::pow(group.mean, power);
        }
        out.parts.push_back(
            {.coefficient = variances / sizes / static_cast<double>(powers.size()), .power = power});
    }
    return out;
}

/// A group with the powers of its mean: the climb asks for them again and again.
struct Prepared {
    double freedom = 0.0;
    double variance = 0.0;
    std::array<double, powers.size()> sizes{};

    [[nodiscard]] double at(const std::array<double, powers.size()>& parts) const {
        return std::inner_product(parts.begin(), parts.end(), sizes.begin(), 0.0);
    }
};

/// Each part times sqrt(sum of f s^2 x / v^2 over sum of f x / v), which is 1 where the likelihood has no
/// slope, until the variances of the groups stand still: of parts on their way to 0 only these matter.
void climb(ResponseVariance& variance, std::span<const Replicates> groups) {
    std::vector<Prepared> prepared;
    for (const auto& group : groups) {
        auto& one = prepared.emplace_back(
            Prepared{.freedom = freedom_of(group), .variance = group.variance, .sizes = {}});
        std::ranges::transform(powers, one.sizes.begin(), [&](double p) { return std::pow(group.mean, p); });
    }
    std::array<double, powers.size()> parts{};
    std::ranges::transform(variance.parts, parts.begin(), &VariancePart::coefficient);
    constexpr int most_rounds = 5000;
    double change = 1.0;
    for (int round = 0; round < most_rounds && change > 1e-10; ++round) {
        std::array<double, powers.size()> above{};
        std::array<double, powers.size()> below{};
        for (const auto& group : prepared) {
            const double per_v = group.freedom / group.at(parts);
            const double ratio = group.variance / group.at(parts);
            for (std::size_t k = 0; k < parts.size(); ++k) {
                above[k] += per_v * ratio * group.sizes[k];
                below[k] += per_v * group.sizes[k];
            }
        }
        auto next = parts;
        for (std::size_t k = 0; k < parts.size(); ++k) {
            next[k] *= std::sqrt(above[k] / below[k]);
        }
        change = 0.0;
        for (const auto& group : prepared) {
            change = std::fmax(change, std::abs((group.at(next) / group.at(parts)) - 1.0));
        }
        parts = next;
    }
    for (std::size_t k = 0; k < parts.size(); ++k) {
        variance.parts[k].coefficient = parts[k];
    }
}

/// The floor, and those that are a hundredth of the variance (choice) somewhere. The others stand at their
/// bound of 0, where an error by the information has no meaning; but no reader is without a floor, and one
/// that was not seen in few replicates may be there all the same.
std::vector<Eigen::Index> parts_of_note(const ResponseVariance& variance,
                                        std::span<const Replicates> groups) {
    constexpr double of_note = 0.01;
    std::vector<Eigen::Index> out;
    for (std::size_t k = 0; k < variance.parts.size(); ++k) {
        const bool counts = std::ranges::any_of(groups, [&](const Replicates& group) {
            return variance.parts[k].coefficient * variance.log_gradient(group.mean)[k] > of_note;
        });
        if (counts || variance.parts[k].power == 0.0) {
            out.push_back(static_cast<Eigen::Index>(k));
        }
    }
    return out;
}

/// Inverse of sum f/2 d d', d the derivatives of ln v: a chi-squared's logarithm has the variance 2 / f.
std::vector<double> covariance_of(const ResponseVariance& variance, std::span<const Replicates> groups) {
    const auto count = static_cast<Eigen::Index>(variance.parts.size());
    Eigen::MatrixXd information = Eigen::MatrixXd::Zero(count, count);
    for (const auto& group : groups) {
        const auto by = variance.log_gradient(group.mean);
        const Eigen::Map<const Eigen::VectorXd> d(by.data(), count);
        information += 0.5 * freedom_of(group) * d * d.transpose();
    }
    const auto kept = parts_of_note(variance, groups);
    const Eigen::MatrixXd of_kept = information(kept, kept);
    // The parts differ by orders of magnitude: inverted at one size.
    const Eigen::VectorXd size = of_kept.diagonal().cwiseSqrt().cwiseInverse();
    const Eigen::MatrixXd even = size.asDiagonal() * of_kept * size.asDiagonal();
    const Eigen::MatrixXd inverse =
        size.asDiagonal() * even.completeOrthogonalDecomposition().pseudoInverse() * size.asDiagonal();
    std::vector<double> out(variance.parts.size() * variance.parts.size(), 0.0);
    for (std::size_t i = 0; i < kept.size(); ++i) {
        for (std::size_t j = 0; j < kept.size(); ++j) {
            out[static_cast<std::size_t>((kept[i] * count) + kept[j])] =
                inverse(static_cast<Eigen::Index>(i), static_cast<Eigen::Index>(j));
        }
    }
    return out;
}

} // namespace

Expected<ResponseNoise> fit_response_noise(std::span<const Replicates> groups) {
    if (const auto fine = check(groups); !fine) {
        return fail(fine.error());
    }
    ResponseNoise out{.variance = start(groups)};
    climb(out.variance, groups);
    out.variance.covariance = covariance_of(out.variance, groups);
    for (const auto& group : groups) {
        out.freedom += group.freedom;
    }
    return out;
}

} // namespace backeddy::condition
