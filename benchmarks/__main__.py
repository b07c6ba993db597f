"""Is what a user waits for as quick as it was? Every row a ratio within this run, so that no machine is favoured.

    python -m benchmarks [--quick]

prints the call that a page makes against what a user would write with general libraries, and with R where R is there;
growth as the ratio of two sizes. It fails where a ratio is lost by more than a third. One thread, seconds of the
processor (of R the wall); `--quick` leaves out what takes longer than ten seconds. The others are timed on a part,
and the rest is extrapolated.
"""

from __future__ import annotations

import os
import sys

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import shutil
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from benchmarks.compare_speed import with_r, with_statsmodels
from benchmarks.panels import NESTED, SESSIONS, Panel, consumers, trained, with_sessions
from panel.models.assessors.performance import check_panel
from panel.models.consumers.liking import weigh_liking
from panel.models.prototypes.differences import find_differences
from panel.models.prototypes.map import find_map
from panel.models.prototypes.panel_design import fit_study
from panel.study.folder import write_study
from panel.study.open_study import open_study
from panel.study.study import Study
from tests.consumer_studies import answers_study

LOST = 2 / 3  # of a ratio that was kept: below it the run fails
DRAWS = 1_000


@dataclass(frozen=True, slots=True)
class Row:
    """A task, seconds of ours and of the other, the ratio that is kept, and R's seconds (NaN without R)."""

    task: str
    other: str
    ours: float
    theirs: float
    kept: float
    r: float = float("nan")

    @property
    def ratio(self) -> float:
        """How many times the other takes."""
        return self.theirs / self.ours


def seconds(work: Callable[[], object], times: int = 5) -> float:
    """Return the least processor time of several runs after one to warm up."""
    work()
    taken = []
    for _ in range(times):
        begin = time.process_time()
        work()
        taken.append(time.process_time() - begin)
    return min(taken)


def study_of(panel: Panel) -> Study:
    """Return a panel as the study that a user would have."""
    n, q = panel.scores.shape
    named = {"assessor": ("A", panel.assessor), "prototype": ("P", panel.prototype)}
    columns = {name: np.repeat([f"{letter}{k}" for k in codes], q) for name, (letter, codes) in named.items()}
    times = "session" if panel.terms == SESSIONS else "replicate"
    columns |= {"attribute": np.tile([f"T{k}" for k in range(q)], n), times: np.repeat(panel.repetition.astype(str), q)}
    return Study(
        {"scores": pd.DataFrame(columns | {"score": panel.scores.ravel()})}, {"scale_min": 0, "scale_max": 100}
    )


def differences(task: str, panel: Panel, kept: float, part: int = 4, times: int = 5) -> Row:
    """Time everything about the differences against the fits alone of statsmodels, on a `part` of the attributes.

    The first question of a study: it keeps what it was asked, so that each time it is one that nobody has asked.
    """
    study, q = study_of(panel), panel.scores.shape[1]
    ours = seconds(lambda: find_differences(Study(study.tables, study.facts)), times)
    nested = panel if panel.terms in (NESTED, NESTED[:1]) else trained(6, 0.10)  # it has no term across another
    theirs = seconds(lambda: with_statsmodels(nested, part), 1) * q / part
    r = with_r(panel, part) * q / part if shutil.which("Rscript") else float("nan")
    return Row(task, "statsmodels, fits alone", ours, theirs, kept, r)


def drawn_maps(kept: float) -> Row:
    """Time maps of resampled assessors against pandas and scikit-learn, on a part of the draws."""
    from sklearn.decomposition import PCA

    study, part, rng = study_of(trained(1, 0.0)), 50, np.random.default_rng(1)
    fit_study(study)  # kept with the study
    scores = study.scores
    own: dict[str, pd.DataFrame] = {str(name): rows for name, rows in scores.groupby("assessor")}

    def theirs() -> None:
        for _ in range(part):
            drawn = pd.concat([own[name] for name in rng.choice(np.array(list(own)), len(own))])
            means = drawn.pivot_table(index="prototype", columns="attribute", values="score")
            PCA(2).fit_transform(means.to_numpy())

    ours = seconds(lambda: find_map(study, draws=DRAWS, rng=np.random.default_rng(1)))
    return Row(f"{DRAWS} maps with regions", "pandas + sklearn", ours, seconds(theirs, 2) * DRAWS / part, kept)


def panel_check(kept: float) -> Row:
    """Time the panel check of few people against that of eight times as many: eight is linear."""
    few, many = (study_of(consumers(1, people, 8, 8, 20, 0.1)) for people in (12, 96))
    taken = seconds(lambda: check_panel(few), 3), seconds(lambda: check_panel(many), 2)
    return Row("panel check of 96 people", "8 x that of 12", taken[1], 8 * taken[0], kept)


def reading(rows: int, kept: float) -> Row:
    """Time the opening of a study against reading its scores with pandas."""
    rng = np.random.default_rng(1)
    names = {"assessor": "A", "prototype": "P", "attribute": "T"}
    columns = {name: [f"{letter}{k}" for k in rng.integers(0, 40, rows)] for name, letter in names.items()}
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made) / "study"
        write_study(Study({"scores": pd.DataFrame(columns | {"score": rng.integers(0, 100, rows) * 1.0})}, {}), folder)
        theirs = seconds(lambda: pd.read_csv(folder / "scores.csv", dtype=str), 3)
        return Row(f"{rows:,} scores read", "pandas, texts", seconds(lambda: open_study(folder), 2), theirs, kept)


def growth(kept: float) -> Row:
    """Time liking of 1,000 against that of 30 times as many consumers: 1 is linear, more is better."""
    rng = np.random.default_rng(1)
    few, many = (answers_study(rng.integers(1, 10, (people, 8))) for people in (1_000, 30_000))
    taken = seconds(lambda: weigh_liking(few), 3), seconds(lambda: weigh_liking(many), 1)
    return Row("liking of 30,000 consumers", "30 x that of 1,000", taken[1], 30 * taken[0], kept)


def rows_of(*, quick: bool) -> list[Callable[[], Row]]:
    """Return what is timed, with the ratios that are kept."""
    every: list[Callable[[], Row]] = [
        lambda: differences("12 x 8 x 3 x 20, balanced", trained(1, 0.0), 45),
        lambda: differences("the same, 10 % missing", trained(2, 0.10), 28),
        lambda: differences("sessions, 10 % missing", with_sessions(6, 0.10, SESSIONS), 17),
        lambda: differences("200 consumers x 30, incomplete", consumers(3, 200, 6, 4, 30, 0.0), 200),
        lambda: drawn_maps(175),
        lambda: panel_check(2.4),
        lambda: reading(100_000, 1.2),
        lambda: growth(2.8),
    ]
    if not quick:
        every.append(lambda: differences("5,000 x 8 x 40", consumers(4, 5000, 8, 6, 40, 0.03), 1_100, part=1))
    return every


def main() -> int:
    """Print the table; return how many ratios are lost."""
    lost = 0
    print(f"{'task':<38}{'ours':>10}  {'other':<26}{'its time':>10}{'ratio':>8}{'kept':>7}{'R':>9}{'ratio':>7}")
    for timed in rows_of(quick="--quick" in sys.argv):
        row = timed()
        bad = row.ratio < LOST * row.kept
        lost += bad
        against = f"{row.r:>8.2f}s{row.r / row.ours:>7.0f}" if row.r == row.r else f"{'-':>9}{'-':>7}"
        print(
            f"{row.task:<38}{1000 * row.ours:>8.1f}ms  {row.other:<26}{row.theirs:>9.2f}s{row.ratio:>8.3g}"
            f"{row.kept:>7g}{against}{'  LOST' if bad else ''}",
            flush=True,
        )
    return lost


if __name__ == "__main__":
    sys.exit(main() > 0)
