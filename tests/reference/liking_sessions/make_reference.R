# Values for liking where two sessions share one prototype only, on drawn answers (answers.csv, drawn once; some people
# answer for P1 in both sessions). Run here: Rscript make_reference.R
suppressMessages({library(lme4); library(lmerTest); library(emmeans)})
d <- read.csv("answers.csv", colClasses = c("factor", "factor", "factor", "numeric"))
contrasts(d$session) <- contr.sum(2)
control <- lmerControl(optimizer = "bobyqa", calc.derivs = FALSE, check.conv.singular = "ignore",
                       optCtrl = list(rhoend = 1e-12, rhobeg = 0.02, maxfun = 1e5))
m <- lmer(answer ~ prototype + session + (1|assessor) + (1|assessor:prototype), d, control = control)
a <- anova(m, type = 3)["prototype", ]
e <- emmeans(m, "prototype", lmer.df = "satterthwaite")
p <- as.data.frame(summary(pairs(e, reverse = TRUE), infer = TRUE, adjust = "tukey"))
pairs_ <- data.frame(prototype = sub(" - .*", "", p$contrast), versus = sub(".* - ", "", p$contrast),
                     estimate = p$estimate, std_error = p$SE, df = p$df, p_adjusted = p$p.value, ci_low = p$lower.CL,
                     ci_high = p$upper.CL)
tests <- data.frame(statistic = a$`F value`, df = a$NumDF, df_error = a$DenDF, p_value = a$`Pr(>F)`)
save_as <- function(x, name) write.csv(format(x, digits = 12, trim = TRUE), name, row.names = FALSE, quote = FALSE)
save_as(tests, "tests.csv"); save_as(pairs_, "pairs.csv")
print(VarCorr(m)); print(tests); print(pairs_)
writeLines(c(R.version.string, paste(c("lme4", "lmerTest", "emmeans"), sapply(c("lme4", "lmerTest", "emmeans"), function(x) as.character(packageVersion(x))))), "versions.txt")
