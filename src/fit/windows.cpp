#include "fit/windows.hpp"

#include <algorithm>
#include <cmath>
#include <cstring>
#include <limits>
#include <utility>

#include <fmt/format.h>

#include "base/lanes.hpp"

namespace backeddy::fit {

namespace {

/// Sums of readings (x, y) about an anchor: of (x, y), and of (x x, x y).
struct Sums {
    Lanes plain{};
    Lanes by_x{};

    void add(Lanes reading) {
        plain += reading;
        by_x += both_lanes(reading[0]) * reading;
    }
    void add(const Sums& other) {
        plain += other.plain;
        by_x += other.by_x;
    }
    /// n n times the variance of x, and n n times the covariance of x and y.
    [[nodiscard]] Lanes spread(double n) const {
        return (both_lanes(n) * by_x) - (both_lanes(plain[0]) * plain);
    }
};

/// And of y y, for those that want more of a line than its slope.
struct SumsForLine : Sums {
    double yy = 0.0;

    void add(Lanes reading) {
        Sums::add(reading);
        yy += reading[1] * reading[1];
    }
    void add(const SumsForLine& other) {
        Sums::add(other);
        yy += other.yy;
    }
};

template <typename Kind>
struct Window {
    std::size_t first = 0;
    std::size_t count = 0;
    Lanes anchor{};
    Kind sums;
};

WindowLine line_of(const Window<SumsForLine>& window) {
    const auto n = static_cast<double>(window.count);
    const auto& sums = window.sums;
    const Lanes spread = sums.spread(n);
    const double yy = (n * sums.yy) - (sums.plain[1] * sums.plain[1]);
    WindowLine out{.first = window.first, .end = window.first + window.count, .slope = spread[1] / spread[0]};
    out.x_mean = window.anchor[0] + (sums.plain[0] / n);
    out.level = window.anchor[1] + (sums.plain[1] / n);
    const double residual = std::max(0.0, yy - (out.slope * spread[1]));
    out.slope_se = n > 2.0 ? std::sqrt(residual / ((n - 2.0) * spread[0])) : 0.0;
    out.r_squared = yy > 0.0 ? std::clamp(1.0 - (residual / yy), 0.0, 1.0) : 0.0;
    return out;
}

Lanes lanes_at(const double* from) {
    Lanes out;
    std::memcpy(&out, from, sizeof out);
    return out;
}

Lanes lesser_of(Lanes a, Lanes b) {
    return a < b ? a : b;
}

/// Whether x is ascending and all values are finite. Lengths equal.
bool is_in_order(std::span<const double> x, std::span<const double> y) {
    const std::size_t n = x.size();
    Lanes not_finite{}; // what is finite leaves it 0
    Lanes step{};
    std::size_t i = 0;
    for (; i + 2 < n; i += 2) {
        const Lanes xs = lanes_at(&x[i]);
        const Lanes ys = lanes_at(&y[i]);
        not_finite += 0.0 * xs + 0.0 * ys;
        step = lesser_of(step, lanes_at(&x[i + 1]) - xs);
    }
    bool is_fine = sum_of_lanes(not_finite) == 0.0 && step[0] >= 0.0 && step[1] >= 0.0;
    for (; i < n; ++i) {
        is_fine = is_fine && std::isfinite(x[i]) && std::isfinite(y[i]) && (i + 1 == n || x[i] <= x[i + 1]);
    }
    return is_fine;
}

Expected<void> check(std::span<const double> x, std::span<const double> y, const WindowOptions& options) {
    if (x.size() != y.size() || !(options.length > 0.0)) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("{} values of x, {} of y, windows of {}", x.size(), y.size(),
                                          options.length),
                     .expected = "equal numbers and a length above 0"});
    }
    if (is_in_order(x, y)) {
        return {};
    }
    std::size_t i = 0;
    while (std::isfinite(x[i]) && std::isfinite(y[i]) && (i == 0 || x[i] >= x[i - 1])) {
        ++i;
    }
    return fail({.code = ErrorCode::out_of_range,
                 .found = fmt::format("x = {}, y = {} at reading {}", x[i], y[i], i + 1),
                 .expected = "finite values, x ascending"});
}

/// Walks all windows and hands each to `take`, a phase at a time. The end of a phase's first window splits
/// the readings: what a window holds before the split are suffix sums, what it holds from there on is one
/// running sum, both about the reading before the split. The next phase begins at the split. Each reading is
/// thus added twice in all. x and y have passed `check`.
template <typename Kind>
class Walk {
  public:
    Walk(std::span<const double> x, std::span<const double> y, const WindowOptions& options)
        : x_(x), y_(y), reach_(options.length * (1.0 + 1e-9)),
          least_(std::max<std::size_t>(options.least_readings, 2)), begins_(x.size()) {
        const double last = x.empty() ? 0.0 : x.back() + (options.length * 1e-9);
        while (begins_ > 0 && x[begins_ - 1] + options.length > last) {
            --begins_;
        }
    }

    template <typename Take>
    void run(Take& take) {
        std::size_t end = 0;
        for (std::size_t first = 0; first < begins_;) {
            const std::size_t split = end_of(first, end);
            const std::size_t next = std::min(split, begins_);
            add_before(first, split);
            if (is_steady(first, split - first, next)) {
                end = take_steadily(first, split, next, take);
            } else {
                end = take_each(first, split, next, take);
            }
            first = next;
        }
    }

  private:
    [[nodiscard]] Lanes reading(std::size_t i) const { return Lanes{x_[i], y_[i]}; }

    /// One after the last reading of the window that begins at `first`; `end` or later.
    [[nodiscard]] std::size_t end_of(std::size_t first, std::size_t end) const {
        while (end < x_.size() && x_[end] - x_[first] <= reach_) {
            ++end;
        }
        return end;
    }

    void add_before(std::size_t first, std::size_t split) {
        tails_.resize(std::max(tails_.size(), split - first));
        const Lanes anchor = reading(split - 1);
        anchor_ = anchor;
        Kind sums;
        for (std::size_t i = split; i-- > first;) {
            sums.add(reading(i) - anchor);
            tails_[i - first] = sums;
        }
    }

    /// Whether the windows that begin in [first, next) all hold `count` readings and all are to be taken: the
    /// usual case, which needs no look at each.
    [[nodiscard]] bool is_steady(std::size_t first, std::size_t count, std::size_t next) const {
        const std::size_t windows = next - first;
        if (count < least_ || next + count - 1 > x_.size()) {
            return false;
        }
        const double* from = x_.data() + first;
        const double* to = from + (count - 1);
        Lanes least = both_lanes(to[0] - from[0]);
        Lanes most = least;
        Lanes beyond = both_lanes(std::numeric_limits<double>::infinity());
        std::size_t k = 0;
        for (; k + 2 < windows; k += 2) {
            const Lanes begin = lanes_at(from + k);
            const Lanes span = lanes_at(to + k) - begin;
            least = lesser_of(least, span);
            most = greater_of(most, span);
            beyond = lesser_of(beyond, lanes_at(to + k + 1) - begin);
        }
        bool steady = least[0] > 0.0 && least[1] > 0.0 && most[0] <= reach_ && most[1] <= reach_ &&
                      beyond[0] > reach_ && beyond[1] > reach_;
        for (; k < windows; ++k) {
            const double span = to[k] - from[k];
            const bool is_last = first + k + count == x_.size();
            steady = steady && span > 0.0 && span <= reach_ && (is_last || to[k + 1] - from[k] > reach_);
        }
        return steady;
    }

    template <typename Take>
    std::size_t take_steadily(std::size_t first, std::size_t split, std::size_t next, Take& to) {
        Take take = std::move(to); // what it has found so far stays in registers
        Window<Kind> window{.first = first, .count = split - first, .anchor = anchor_};
        Kind head;
        while (true) {
            window.sums = tails_[window.first - first];
            window.sums.add(head);
            take(window);
            if (++window.first == next) {
                break;
            }
            head.add(reading(window.first + window.count - 1) - window.anchor);
        }
        to = std::move(take);
        return next - 1 + window.count;
    }

    template <typename Take>
    std::size_t take_each(std::size_t first, std::size_t split, std::size_t next, Take& take) {
        Window<Kind> window{.first = first, .anchor = anchor_};
        Kind head;
        std::size_t end = split;
        for (; window.first < next; ++window.first) {
            for (const std::size_t to = end_of(window.first, end); end < to; ++end) {
                head.add(reading(end) - window.anchor);
            }
            window.count = end - window.first;
            window.sums = tails_[window.first - first];
            window.sums.add(head);
            if (window.count >= least_ && x_[end - 1] > x_[window.first]) {
                take(window);
            }
        }
        return end;
    }

    std::span<const double> x_;
    std::span<const double> y_;
    double reach_;
    std::size_t least_;
    std::size_t begins_; ///< windows begin at the readings before this one
    Lanes anchor_{};
    std::vector<Kind> tails_;
};

/// Keeps the steepest window of those it is given, the first of equals. Slopes are quotients of the two parts
/// of a spread; compared without dividing.
class Search {
  public:
    explicit Search(Steepest direction) : sign_(direction == Steepest::rising ? 1.0 : -1.0) {}

    void operator()(const Window<Sums>& window) {
        const Lanes spread = window.sums.spread(static_cast<double>(window.count));
        if (sum_of_lanes(spread * across_) > 0.0) {
            across_ = Lanes{-sign_ * spread[1], sign_ * spread[0]};
            first_ = window.first;
            count_ = window.count;
        }
    }
    [[nodiscard]] std::size_t first() const { return first_; }
    [[nodiscard]] std::size_t count() const { return count_; } ///< 0: it was given none

  private:
    double sign_;
    /// The steepest one's spread turned by a right angle, towards what is steeper; at first what lets all
    /// pass.
    Lanes across_{1.0, 0.0};
    std::size_t first_ = 0;
    std::size_t count_ = 0;
};

/// The lines of all windows it is given.
struct Lines {
    std::vector<WindowLine> all;
    void operator()(const Window<SumsForLine>& window) { all.push_back(line_of(window)); }
};

Error no_window(std::span<const double> x, const WindowOptions& options) {
    return {.code = ErrorCode::too_few,
            .found = x.empty() ? "no readings"
                               : fmt::format("{} readings over {}", x.size(), x.back() - x.front()),
            .expected = fmt::format("a window of {} with at least {} readings", options.length,
                                    options.least_readings),
            .remedy = "choose a shorter window"};
}

} // namespace

Expected<std::vector<WindowLine>> sliding_lines(std::span<const double> x, std::span<const double> y,
                                                const WindowOptions& options) {
    if (auto fine = check(x, y, options); !fine) {
        return fail(std::move(fine).error());
    }
    Lines lines;
    lines.all.reserve(x.size());
    Walk<SumsForLine>(x, y, options).run(lines);
    if (lines.all.empty()) {
        return fail(no_window(x, options));
    }
    return std::move(lines.all);
}

Expected<WindowLine> steepest_window(std::span<const double> x, std::span<const double> y,
                                     const WindowOptions& options, Steepest direction) {
    if (auto fine = check(x, y, options); !fine) {
        return fail(std::move(fine).error());
    }
    Search search(direction);
    Walk<Sums>(x, y, options).run(search);
    if (search.count() == 0) {
        return fail(no_window(x, options));
    }
    Window<SumsForLine> found{.first = search.first(), .count = search.count()};
    const std::size_t middle = found.first + (found.count / 2);
    found.anchor = Lanes{x[middle], y[middle]};
    for (std::size_t i = found.first; i < found.first + found.count; ++i) {
        found.sums.add(Lanes{x[i], y[i]} - found.anchor);
    }
    return line_of(found);
}

} // namespace backeddy::fit
