# Mixed models by lme4 and nlme, to hold our own against.
#
# Run:       Rscript reml_lme4.R > reml_lme4.csv
# Made with: r-cran-lme4 1.1.31, r-cran-nlme 3.1.162, R 4.2.2 (Debian packages).
#            Other versions may move the last digits.
#
# Every figure is written out, the generated ones too, so the CSV needs no R to
# be used. Sets:
#   dyestuff   lme4's Dyestuff: yield of five preparations of each of six batches (Davies and Goldsmith 1972)
#   dyestuff2  lme4's Dyestuff2: the same with no variance between batches to find (Box and Tiao 1973)
#   rail       nlme's Rail: travel time of ultrasound in six rails, three times each (Devore 2000)
#   orthodont  nlme's Orthodont: a distance in the skull of 27 children, four times each; sex as revision,
#              child as chain (Potthoff and Roy 1964)
#   two        generated: two revisions, 4 and 6 chains, 3 to 40 joints
#   three      generated: three revisions, 3, 5 and 8 chains, 1 to 30 joints, little between chains
#   far        "two" with 100 added and the scatter a thousandth: digits to lose
#
# The model is value ~ revision, with a random intercept for each chain, by
# restricted maximum likelihood.
#
# Columns: kind, set, a, b, value
#   point       a = revision, b = chain
#   lme4        a = chain_variance, residual_variance, criterion (-2 log restricted likelihood)
#   difference  a and b the revisions; value = mean of b less mean of a (lme4)
#   error       the same; its standard error (lme4)
#   freedom, p  the same; degrees of freedom and p of nlme's t test

suppressMessages({library(lme4); library(nlme)})
options(digits = 15, warn = 2)

emit <- function(kind, set, a, b, value)
  cat(sprintf("%s,%s,%s,%s,%.15g\n", kind, set, a, b, value), sep = "")

fit <- function(set, d) {
  d$revision <- factor(d$revision)
  d$chain <- factor(paste(d$revision, d$chain))
  for (i in seq_len(nrow(d)))
    emit("point", set, d$revision[i], gsub(" ", "_", d$chain[i]), d$value[i])
  control <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-13, maxfun = 1e5), calc.derivs = FALSE,
                         check.conv.singular = "ignore")
  levels <- levels(d$revision)
  formula <- if (length(levels) > 1) value ~ revision + (1 | chain) else value ~ 1 + (1 | chain)
  m <- lmer(formula, d, REML = TRUE, control = control)
  v <- as.data.frame(VarCorr(m))
  emit("lme4", set, "chain_variance", "", v$vcov[v$grp == "chain"])
  emit("lme4", set, "residual_variance", "", v$vcov[v$grp == "Residual"])
  emit("lme4", set, "criterion", "", REMLcrit(m))
  if (length(levels) < 2) return(invisible())
  for (i in seq_len(length(levels) - 1)) {
    d$revision <- relevel(d$revision, levels[i])
    m <- lmer(formula, d, REML = TRUE, control = control)
    s <- summary(m)$coefficients
    n <- NULL
    if (v$vcov[v$grp == "chain"] > 0)
      n <- summary(lme(value ~ revision, d, random = ~ 1 | chain, method = "REML",
                       control = lmeControl(tolerance = 1e-12, msTol = 1e-14, msMaxIter = 500, opt = "optim")))$tTable
    for (j in (i + 1):length(levels)) {
      row <- paste0("revision", levels[j])
      emit("difference", set, levels[i], levels[j], s[row, "Estimate"])
      emit("error", set, levels[i], levels[j], s[row, "Std. Error"])
      if (!is.null(n)) {
        emit("freedom", set, levels[i], levels[j], n[row, "DF"])
        emit("p", set, levels[i], levels[j], n[row, "p-value"])
      }
    }
  }
}

generated <- function(seed, chains, least, most, sdchain, sdjoint) {
  set.seed(seed)
  d <- NULL
  for (r in seq_along(chains)) for (c in seq_len(chains[r])) {
    n <- sample(least:most, 1)
    d <- rbind(d, data.frame(revision = LETTERS[r], chain = c,
      value = round(0.05 + 0.01 * r + rnorm(1, 0, sdchain) + rnorm(n, 0, sdjoint), 6)))
  }
  d
}

cat(sprintf("# Made by reml_lme4.R, which explains the columns. lme4 %s, nlme %s, R %s.%s\n",
  packageVersion("lme4"), packageVersion("nlme"), R.version$major, R.version$minor))
cat("kind,set,a,b,value\n")
fit("dyestuff", data.frame(revision = "A", chain = Dyestuff$Batch, value = Dyestuff$Yield))
fit("dyestuff2", data.frame(revision = "A", chain = Dyestuff2$Batch, value = Dyestuff2$Yield))
fit("rail", data.frame(revision = "A", chain = Rail$Rail, value = Rail$travel))
fit("orthodont", data.frame(revision = Orthodont$Sex, chain = Orthodont$Subject, value = Orthodont$distance))
two <- generated(20261125, c(4, 6), 3, 40, 0.008, 0.012)
fit("two", two)
fit("three", generated(7, c(3, 5, 8), 1, 30, 0.003, 0.012))
fit("far", transform(two, value = 100 + value / 1000))
