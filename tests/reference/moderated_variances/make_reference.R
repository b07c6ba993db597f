# Values of limma's squeezeVar (Smyth 2004) for tests/stats/test_moderated_variances.py. Run: Rscript make_reference.R
suppressMessages(library(limma))
set.seed(20250311)
rows <- list()
for (case in c("alike", "scattered", "unequal")) {
  df <- if (case == "unequal") rep(c(4, 10, 20), length.out = 12) else rep(10, 12)
  scale <- if (case == "alike") rep(30, 12) else 30 * 3 / rchisq(12, 3)
  variance <- scale * rchisq(12, df) / df
  out <- squeezeVar(variance, df)
  rows[[case]] <- data.frame(case = case, variance = variance, df = df, posterior = out$var.post,
                             prior = out$var.prior, prior_df = out$df.prior)
}
write.csv(format(do.call(rbind, rows), digits = 15), "squeezed.csv", row.names = FALSE, quote = FALSE)
writeLines(c(R.version.string, paste("limma", packageVersion("limma"))), "versions.txt")
