# Rscript mixed.R FILE.csv TIMES
#
# The model of mixed_bench with lme4 and its defaults, from a data frame in memory to estimates; the median seconds of
# one fit and the answer. Its checks of derivatives are left out of a second median: they are no part of the fit.
arguments <- commandArgs(trailingOnly = TRUE)
suppressPackageStartupMessages(library(lme4))
d <- read.csv(arguments[1], stringsAsFactors = TRUE)
times <- as.integer(arguments[2])
took <- function(control) {
    median(sapply(seq_len(times), function(i) {
        begin <- proc.time()[["elapsed"]]
        fit <<- lmer(y ~ treatment + x + (1 | fish) + (1 | day) + (1 | boat), d, control = control)
        proc.time()[["elapsed"]] - begin
    }))
}
plain <- took(lmerControl())
bare <- took(lmerControl(calc.derivs = FALSE))
sds <- sapply(VarCorr(fit)[c("fish", "day", "boat")], function(v) sqrt(v[1]))
cat(sprintf("%.6f\t%.7f", plain, as.numeric(logLik(fit))), sprintf(" %.5f", fixef(fit)), sprintf(" %.4f", sds),
    sprintf(" %.5f\t%.6f\n", sigma(fit), bare), sep = "")
