# Values for the model of an attribute at several times, on drawn scores with gaps: six people, three prototypes, three
# times, two sessions (scores.csv, drawn once from normal effects). Run here: Rscript make_reference.R
suppressMessages({library(lme4); library(lmerTest); library(emmeans)})
d <- read.csv("scores.csv", colClasses = c("factor", "factor", "factor", "factor", "numeric"))
for (name in c("prototype", "minutes", "session")) contrasts(d[[name]]) <- contr.sum(nlevels(d[[name]]))
control <- lmerControl(optimizer = "bobyqa", calc.derivs = FALSE, check.conv.singular = "ignore",
                       optCtrl = list(rhoend = 1e-12, rhobeg = 0.02, maxfun = 1e5))
m <- lmer(score ~ prototype * minutes + session + (1|assessor) + (1|assessor:prototype) + (1|assessor:minutes) +
            (1|assessor:session) + (1|assessor:prototype:session) + (1|assessor:prototype:minutes), d, control = control)
a <- anova(m, type = 3)[c("prototype", "minutes", "prototype:minutes"), ]
tests <- data.frame(term = c("prototype", "time", "prototype_time"), statistic = a$`F value`, df = a$NumDF,
                    df_error = a$DenDF, p_value = a$`Pr(>F)`)
e <- emmeans(m, ~ prototype | minutes, lmer.df = "satterthwaite")
w <- as.data.frame(summary(contrast(e, "trt.vs.ctrl", ref = 1), adjust = "none"))
versus <- data.frame(minutes = w$minutes, prototype = sub(" - .*", "", w$contrast), estimate = w$estimate,
                     std_error = w$SE, df = w$df, p_value = w$p.value)
save_as <- function(x, name) write.csv(format(x, digits = 12, trim = TRUE), name, row.names = FALSE, quote = FALSE)
save_as(tests, "tests.csv"); save_as(versus, "versus.csv")
print(VarCorr(m))
writeLines(c(R.version.string, paste(c("lme4", "lmerTest", "emmeans"), sapply(c("lme4", "lmerTest", "emmeans"), function(x) as.character(packageVersion(x))))), "versions.txt")
