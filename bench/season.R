# Rscript season.R FILE.csv none|read|slopes|windows [THREADS]
#
# The season tasks with data.table, written as its manual advises (fread, sums by group that it optimises, running sums
# for the windows). Prints one line that has to agree with season_bench's: rows, spells, and the sum of the slopes.
arguments <- commandArgs(trailingOnly = TRUE)
task <- arguments[2]
suppressPackageStartupMessages(library(data.table))
setDTthreads(if (length(arguments) > 2) as.integer(arguments[3]) else 2L)
if (task == "none") quit()
window <- 120 # seconds, both ends read

d <- fread(arguments[1], showProgress = FALSE)
if (task == "read") {
    cat(sprintf("rows %d oxygen %.6f\n", nrow(d), sum(d$o2_mgL)))
    quit()
}
# A spell is a run of the pump's state in one chamber; its first minute is set aside.
d[, t := as.numeric(time)]
setkey(d, chamber, t)
d[, spell := rleid(chamber, pump)]
d <- d[pump == 0L]
d[, x := t - t[1L], by = spell]
d <- d[x >= 60]
if (task == "slopes") {
    d[, `:=`(xy = x * o2_mgL, xx = x * x)]
    r <- d[, .(n = .N, sx = sum(x), sy = sum(o2_mgL), sxy = sum(xy), sxx = sum(xx)), by = .(chamber, spell)]
    r <- r[n >= 3L]
    slope <- r[, (sxy - sx * sy / n) / (sxx - sx * sx / n)] * 3600
    cat(sprintf("rows %d spells %d slopes %.9f\n", r[, sum(n)], nrow(r), sum(slope)))
} else if (task == "windows") {
    # One reading a second: every window has the same times, so its slope is a difference of two running sums. Times are
    # those since the spell's start: with row numbers of a long season the sums would outgrow a double's digits.
    n <- window + 1L
    y <- cumsum(c(0, d$o2_mgL - 9))
    xy <- cumsum(c(0, d$x * (d$o2_mgL - 9)))
    a <- seq_len(nrow(d) - n + 1L)
    b <- a + n - 1L
    same <- d$spell[a] == d$spell[b]
    a <- a[same]
    b <- b[same]
    middle <- (d$x[a] + d$x[b]) / 2
    slope <- ((xy[b + 1L] - xy[a]) - middle * (y[b + 1L] - y[a])) / (n * (n * n - 1) / 12) * 3600
    r <- data.table(spell = d$spell[a], slope = slope)[, .(steepest = min(slope)), by = spell]
    cat(sprintf("spells %d steepest %.9f\n", nrow(r), sum(r$steepest)))
}
