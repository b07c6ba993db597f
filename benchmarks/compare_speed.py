"""How quick are the differences, against what a user would write with statsmodels and, where R is there, with R?

Run: python -m benchmarks.compare_speed [--quick]. The full answer is timed: F tests, estimated means, all pairs
with Tukey p-values and simultaneous intervals, for all attributes. One thread each. statsmodels gives no
small-sample test and no Tukey on a mixed model: its time is that of the fits alone, and it is left out where terms run
across the assessors. On the large panels the others are
timed on some attributes and the rest is extrapolated; that is said in the table.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from itertools import combinations
from pathlib import Path

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np

from benchmarks.panels import NESTED, Panel, all_panels
from panel.models.prototypes.differences import find_differences
from panel.stats.comparing.group_means import ASSESSOR, INTERACTION, relative_variances
from panel.stats.comparing.multiplicity import _studentized_range, tukey_critical, tukey_p_value
from panel.stats.mixed.inference import estimate_contrasts, test_contrasts
from panel.stats.mixed.reml import fit_mixed_model
from panel.study.open_study import open_study

R_SCRIPT = """
suppressMessages({library(lme4); library(lmerTest); library(emmeans)})
emm_options(lmerTest.limit = 1e6, pbkrtest.limit = 1)
d <- read.csv(commandArgs(TRUE)[1]); d$a <- factor(d$a); d$p <- factor(d$p); d$r <- factor(d$r)
right <- commandArgs(TRUE)[2]
started <- proc.time()[["elapsed"]]
for (y in grep("^y", names(d), value = TRUE)) {
  m <- suppressMessages(lmer(as.formula(paste(y, right)), d)); anova(m)
  summary(pairs(emmeans(m, "p", lmer.df = "satterthwaite")), infer = TRUE)
}
cat(proc.time()[["elapsed"]] - started)
"""


def ours(panel: Panel) -> None:
    """Everything the differences need, from arrays."""
    p, columns = int(panel.prototype.max()) + 1, panel.fixed.shape[1]
    start = None
    if panel.name == "balanced":
        cube = panel.scores.reshape(12, 8, 1, 3, -1)
        start = relative_variances(cube, (ASSESSOR, INTERACTION))
    fit = fit_mixed_model(panel.scores, panel.fixed, panel.groups, start)
    test_contrasts(fit, np.hstack([-np.ones((p - 1, 1)), np.eye(p - 1, columns - 1)]))
    estimate_contrasts(fit, np.eye(p, columns)).interval(0.95)
    pairs = list(combinations(range(p), 2))
    contrasts = np.zeros((len(pairs), columns))
    contrasts[np.arange(len(pairs)), [j for _, j in pairs]] = 1
    contrasts[np.arange(len(pairs)), [i for i, _ in pairs]] = -1
    found = estimate_contrasts(fit, contrasts)
    tukey_p_value(found.statistic, p, found.df)
    tukey_critical(p, found.df, 0.95)


def with_statsmodels(panel: Panel, attributes: int) -> None:
    """Fit the same model attribute by attribute, as a user would."""
    import pandas as pd
    import statsmodels.formula.api as smf

    for column in range(attributes):
        frame = pd.DataFrame({"y": panel.scores[:, column], "a": panel.assessor, "p": panel.prototype})
        components = {"p": "0 + C(p)"} if "a:p" in panel.terms else None
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            smf.mixedlm("y ~ C(p)", frame, groups="a", vc_formula=components).fit()


def with_r(panel: Panel, attributes: int) -> float:
    """Return the seconds R takes for lmer, anova and emmeans, without its start."""
    with tempfile.TemporaryDirectory() as folder:
        table = Path(folder) / "scores.csv"
        head = ",".join(["a", "p", "r", *(f"y{k}" for k in range(attributes))])
        rows = np.column_stack([panel.assessor, panel.prototype, panel.repetition, panel.scores[:, :attributes]])
        np.savetxt(table, rows, delimiter=",", header=head, comments="", fmt="%.10g")
        script = Path(folder) / "time.R"
        script.write_text(R_SCRIPT)
        command = ["Rscript", str(script), str(table), panel.formula]
        return float(subprocess.run(command, capture_output=True, text=True, check=True).stdout)


def seconds(work: Callable[[], object], times: int) -> float:
    """Return the median of several runs after one to warm up."""
    work()
    taken = []
    for _ in range(times):
        begin = time.perf_counter()
        work()
        taken.append(time.perf_counter() - begin)
    return float(np.median(taken))


def main() -> None:
    """Print the table."""
    quick = "--quick" in sys.argv
    begin = time.perf_counter()
    _studentized_range(8)
    print(f"Table of the studentized range of 8 means, once: {1000 * (time.perf_counter() - begin):.0f} ms")
    study = open_study(Path(__file__).parents[1] / "data_demo" / "reading_room")
    demo = seconds(lambda: find_differences(study), 10)
    print(f"Differences of the demo study, everything with Tukey and Dunnett: {1000 * demo:.0f} ms\n")
    print(f"{'panel':<28}{'rows x attributes':>18}{'ours':>10}{'statsmodels':>14}{'ratio':>8}{'R':>10}{'ratio':>8}")
    for panel in all_panels():
        n, q = panel.scores.shape
        own = seconds(lambda panel=panel: ours(panel), 20)
        few = q if n < 1000 else (5 if n < 5000 else 1)
        few = min(few, 2) if quick else few
        theirs = float("nan")
        if panel.terms in (NESTED, NESTED[:1]):
            begin = time.perf_counter()
            with_statsmodels(panel, few)
            theirs = (time.perf_counter() - begin) * q / few
        r = with_r(panel, few) * q / few if shutil.which("Rscript") else float("nan")
        told = "" if few == q else f"  (others timed on {few} attributes, times {q / few:g})"
        print(
            f"{panel.name:<28}{f'{n} x {q}':>18}{1000 * own:>8.1f}ms{theirs:>13.2f}s{theirs / own:>8.0f}"
            f"{r:>9.2f}s{r / own:>8.0f}{told}"
        )


if __name__ == "__main__":
    main()
