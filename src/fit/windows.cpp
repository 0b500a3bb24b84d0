#include "fit/windows.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace backeddy::fit {

namespace {

/// Sums of readings about a common anchor.
struct Sums {
    double x = 0.0;
    double y = 0.0;
    double xx = 0.0;
    double xy = 0.0;
    double yy = 0.0;

    void add(double dx, double dy) {
        x += dx;
        y += dy;
        xx += dx * dx;
        xy += dx * dy;
        yy += dy * dy;
    }
};

Expected<void> check(std::span<const double> x, std::span<const double> y, const WindowOptions& options) {
    if (x.size() != y.size() || !(options.length > 0.0)) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("{} values of x, {} of y, windows of {}", x.size(), y.size(),
                                          options.length),
                     .expected = "equal numbers and a length above 0"});
    }
    for (std::size_t i = 0; i < x.size(); ++i) {
        if (!std::isfinite(x[i]) || !std::isfinite(y[i]) || (i > 0 && x[i] < x[i - 1])) {
            return fail({.code = ErrorCode::out_of_range,
                         .found = fmt::format("x = {}, y = {} at reading {}", x[i], y[i], i + 1),
                         .expected = "finite values, x ascending"});
        }
    }
    return {};
}

/// Of the readings of a window, about its own means (x and y about the anchor).
struct Moments {
    double n = 0.0;
    double x_mean = 0.0;
    double y_mean = 0.0;
    double xx = 0.0;
    double xy = 0.0;

    [[nodiscard]] double slope() const { return xy / xx; }
};

/// Walks all windows and hands each to `take` as its first reading and the one after its last, of which it
/// then knows slope and line. Readings before `split` are kept as suffix sums, those from
/// `split` on as one running sum, both about the reading at `split`; when the window has passed `split`, the
/// split moves to the window's end and the suffix sums are made anew. Each reading is thus added twice in
/// all.
class Walk {
  public:
    Walk(std::span<const double> x, std::span<const double> y, const WindowOptions& options)
        : x_(x), y_(y), options_(options) {}

    template <typename Take>
    std::size_t run(const Take& take) {
        std::size_t taken = 0;
        std::size_t end = 0;
        const double reach = options_.length * (1.0 + 1e-9);
        const std::size_t least = std::max<std::size_t>(options_.least_readings, 2);
        for (std::size_t first = 0; first < x_.size() && x_[first] + options_.length <= last_allowed();
             ++first) {
            const std::size_t was = end;
            while (end < x_.size() && x_[end] - x_[first] <= reach) {
                ++end;
            }
            extend(was, end);
            if (first >= split_) {
                split_at(first, end);
            }
            if (end - first >= least && x_[end - 1] > x_[first]) {
                take(first, end);
                ++taken;
            }
        }
        return taken;
    }

    /// Of the window just handed out: its slope alone, for those that only look for one; all of its line.
    [[nodiscard]] double slope(std::size_t first, std::size_t end) const {
        return moments(first, end).slope();
    }
    [[nodiscard]] WindowLine line(std::size_t first, std::size_t end) const {
        const auto [n, x_mean, y_mean, xx, xy] = moments(first, end);
        const double yy = tails_[first - tail_from_].yy + head_.yy - (n * y_mean * y_mean);
        WindowLine out{.first = first, .end = end, .slope = xy / xx};
        out.x_mean = anchor_x_ + x_mean;
        out.level = anchor_y_ + y_mean;
        const double residual = std::max(0.0, yy - (out.slope * xy));
        out.slope_se = n > 2.0 ? std::sqrt(residual / ((n - 2.0) * xx)) : 0.0;
        out.r_squared = yy > 0.0 ? std::clamp(1.0 - (residual / yy), 0.0, 1.0) : 0.0;
        return out;
    }

  private:
    [[nodiscard]] double last_allowed() const { return x_.back() + (options_.length * 1e-9); }

    void extend(std::size_t from, std::size_t to) {
        for (std::size_t i = from; i < to; ++i) {
            head_.add(x_[i] - anchor_x_, y_[i] - anchor_y_);
        }
    }

    /// A new split at the window's end: everything in [first, end) becomes a tail.
    void split_at(std::size_t first, std::size_t end) {
        split_ = end;
        tail_from_ = first;
        anchor_x_ = x_[end - 1];
        anchor_y_ = y_[end - 1];
        head_ = {};
        tails_.resize(end - first);
        Sums sums;
        for (std::size_t i = end; i-- > first;) {
            sums.add(x_[i] - anchor_x_, y_[i] - anchor_y_);
            tails_[i - first] = sums;
        }
    }

    [[nodiscard]] Moments moments(std::size_t first, std::size_t end) const {
        const Sums& tail = tails_[first - tail_from_];
        const auto n = static_cast<double>(end - first);
        const double x_mean = (tail.x + head_.x) / n;
        const double y_mean = (tail.y + head_.y) / n;
        return {.n = n,
                .x_mean = x_mean,
                .y_mean = y_mean,
                .xx = tail.xx + head_.xx - (n * x_mean * x_mean),
                .xy = tail.xy + head_.xy - (n * x_mean * y_mean)};
    }

    std::span<const double> x_;
    std::span<const double> y_;
    WindowOptions options_;
    std::size_t split_ = 0;
    std::size_t tail_from_ = 0;
    double anchor_x_ = 0.0;
    double anchor_y_ = 0.0;
    Sums head_;
    std::vector<Sums> tails_;
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
    std::vector<WindowLine> out;
    out.reserve(x.size());
    Walk walk(x, y, options);
    walk.run([&](std::size_t first, std::size_t end) { out.push_back(walk.line(first, end)); });
    if (out.empty()) {
        return fail(no_window(x, options));
    }
    return out;
}

Expected<WindowLine> steepest_window(std::span<const double> x, std::span<const double> y,
                                     const WindowOptions& options, Steepest direction) {
    if (auto fine = check(x, y, options); !fine) {
        return fail(std::move(fine).error());
    }
    WindowLine best;
    bool is_first = true;
    Walk walk(x, y, options);
    walk.run([&](std::size_t first, std::size_t end) {
        const double slope = walk.slope(first, end);
        const bool is_steeper = direction == Steepest::falling ? slope < best.slope : slope > best.slope;
        if (is_first || is_steeper) {
            best = walk.line(first, end);
            is_first = false;
        }
    });
    if (is_first) {
        return fail(no_window(x, options));
    }
    return best;
}

} // namespace backeddy::fit
