# Makes the files beside this one. Run: Rscript make_reference.R  (R with the package pls)
# gasoline: octane numbers and near-infrared spectra of 60 gasolines (Kalivas 1997, Chemometrics and Intelligent
# Laboratory Systems 37, 255-259), as distributed with pls. The example is that of Mevik and Wehrens (2007),
# Journal of Statistical Software 18(2): the first 50 to train, leave-one-out, centred and not scaled.
library(pls)
data(gasoline)
train <- gasoline[1:50, ]
spectra <- unclass(train$NIR); dim(spectra) <- c(50, 401)
write.table(format(cbind(train$octane, spectra), digits = 8, trim = TRUE), "gasoline.csv", sep = ",",
            quote = FALSE, row.names = FALSE, col.names = c("octane", colnames(train$NIR)))
fit <- plsr(octane ~ NIR, ncomp = 10, data = train, validation = "LOO")
rmsep <- RMSEP(fit, estimate = "CV")$val[1, 1, ]
write.csv(data.frame(components = 0:10, rmsep = rmsep), "rmsep.csv", row.names = FALSE)
capture.output(cat(R.version.string, "\npls", as.character(packageVersion("pls")), "\n"), file = "versions.txt")
