"""How often is something wrong said where prototypes go along with a session, or batches differ?

`python -m benchmarks.confounds 1000 20251128`: simulated panels with known truth, each attribute a study of its own;
8 assessors (SD of level 6, of own view 5), residual SD 8, scale 0 to 100. Prints one line per kind of study, per cent
with standard errors.
"""

from __future__ import annotations

import sys
from collections.abc import Callable

import numpy as np
import pandas as pd

from panel.checks.confounds import find_confounds
from panel.claims.materials import PanelNumbers, _panel_numbers
from panel.models.emollients.swaps import trace_swaps
from panel.models.prototypes.differences import Differences, find_differences
from panel.models.prototypes.panel_design import fit_study
from panel.stats.comparing.multiplicity import below
from panel.stats.comparing.power import two_one_sided_tests
from panel.study.study import Study, empty_table

LEVEL_SD, VIEW_SD, RESIDUAL_SD = 6.0, 5.0, 8.0
SPLIT, BATCHES, STATED = "3 + 3 over two sessions", "batches random", "batch SD stated"
MARGIN = 8.0


def simulated(
    rng: np.random.Generator,
    studies: int,
    *,
    assessors: int = 8,
    prototypes: int = 6,
    replicates: int = 3,
    batches: int = 1,
    session_sd: float = 0.0,
    batch_sd: float = 0.0,
    split: bool = False,
    shift: float = 0.0,
    facts: dict[str, object] | None = None,
    formulas: pd.DataFrame | None = None,
) -> Study:
    """Return `studies` studies as the attributes of one; `shift` is added to the second prototype.

    With `split` the first half of the prototypes is served in session 1 only, the others in session 2. Replicates are
    those of each batch.
    """
    shape = (studies, assessors, prototypes, batches, replicates)
    s, a, p, b, r = (grid.ravel() for grid in np.indices(shape))
    truth = np.zeros(prototypes)
    truth[1] = shift
    score = 50 + truth[p] + (LEVEL_SD * rng.normal(size=shape[:2]))[s, a]
    score += (VIEW_SD * rng.normal(size=shape[:3]))[s, a, p] + RESIDUAL_SD * rng.normal(size=s.size)
    score += (batch_sd * rng.normal(size=(studies, prototypes, batches)))[s, p, b]
    session = (p >= prototypes // 2).astype(int)
    if split:
        score += (session_sd * rng.normal(size=(studies, 2)))[s, session]
    scores = empty_table("scores").reindex(range(len(s)))
    scores = scores.assign(
        assessor=pd.Series([f"A{n + 1:02d}" for n in a], dtype="str"),
        prototype=pd.Series([f"P{n + 1}" for n in p], dtype="str"),
        attribute=pd.Series([f"T{n:04d}" for n in s], dtype="str"),
        session=pd.Series([str(n + 1) if split else "" for n in session], dtype="str"),
        replicate=pd.Series([str(n + 1) for n in r], dtype="str"),
        batch=pd.Series([f"P{n + 1}-{m + 1}" for n, m in zip(p, b, strict=True)], dtype="str"),
        score=score,
        recorded_at="",
        source="",
    )
    tables = {"scores": scores} | ({} if formulas is None else {"formulas": formulas})
    return Study(tables, {"benchmark": "P1", "scale_min": 0, "scale_max": 100} | (facts or {}))


def told(share: float, n: int) -> str:
    """Return a share in per cent with its standard error."""
    return f"{100 * share:.1f} ± {100 * np.sqrt(max(share * (1 - share), 1 / n) / n):.1f}"


def f_test(found: Differences) -> float:
    """Return how often the F test is below 5 %, each study for itself."""
    return float(below(found.attributes["p_value"], 0.05).mean())


def some_row(found: Differences, frame: str = "versus") -> float:
    """Return how often some row of a study has an interval without zero."""
    rows = getattr(found, frame)
    apart = (rows["ci_low"] > 0) | (rows["ci_high"] < 0)
    return float(apart.groupby(rows["attribute"]).any().mean())


def numbers_of(study: Study) -> PanelNumbers:
    """Return the panel's numbers, as claims use them."""
    return _panel_numbers(study, fit_study(study))


def superiority(study: Study, prototype: str = "P2", versus: str = "P1") -> float:
    """Return how often 'more than the benchmark' is supported by the rule of claims (two-sided 5 %)."""
    numbers, confounds = numbers_of(study), find_confounds(study)
    hits = []
    for attribute in study.attributes:
        if len(confounds.untold(attribute, prototype, versus)):
            hits.append(False)
            continue
        found = numbers.difference(attribute, prototype, versus)
        hits.append(bool(2 * found.p_above(0.0) <= 0.05))
    return float(np.mean(hits))


def parity(study: Study) -> float:
    """Return how often 'alike within the margin' is supported by the rule of claims."""
    numbers = numbers_of(study)
    hits = []
    for attribute in study.attributes:
        found = numbers.difference(attribute, "P2", "P1")
        tests = two_one_sided_tests(found.estimate, found.std_error, found.df, -MARGIN, MARGIN, 0.05)
        hits.append(bool(tests.p_value <= 0.05))
    return float(np.mean(hits))


def one_swap() -> pd.DataFrame:
    """Return the formulas of P1 and P2, which differ by one swap."""
    rows = [("P1", "Squalane"), ("P2", "Isohexadecane")]
    parts = [(name, oil, 20.0, "B", "emollient") for name, oil in rows]
    parts += [(name, "Aqua", 80.0, "A", "other") for name, _ in rows]
    return pd.DataFrame(parts, columns=["prototype", "ingredient", "percent", "phase", "kind"])


def lines(studies: int, seed: int) -> list[tuple[str, str, str, int]]:
    """Return `what, nominal, measured, studies` for every kind of study."""
    rng = np.random.default_rng(seed)
    rows: list[tuple[str, str, str, int]] = []

    def add(what: str, nominal: str, measure: Callable[[], float]) -> None:
        rows.append((what, nominal, told(measure(), studies), studies))

    for sd in (0.0, 4.0):
        study = simulated(rng, studies, split=True, session_sd=sd)
        found = find_differences(study)
        name = f"{SPLIT}, session SD {sd:g}"
        add(f"{name}: F test", "5", lambda found=found: f_test(found))
        add(f"{name}: some row from the benchmark", "5", lambda found=found: some_row(found))
        add(f"{name}: some pair", "5", lambda found=found: some_row(found, "pairs"))
        add(f"{name}: superiority across the sessions", "2.5", lambda study=study: superiority(study, "P4"))
        add(f"{name}: superiority within a session", "2.5", lambda study=study: superiority(study))
    for sd in (0.0, 1.5, 3.0, 5.0):
        study = simulated(rng, studies, batches=2, replicates=2, assessors=10, batch_sd=sd)
        found = find_differences(study)
        name = f"2 batches each, batch SD {sd:g}"
        add(f"{name}: F test", "5", lambda found=found: f_test(found))
        add(f"{name}: some pair", "5", lambda found=found: some_row(found, "pairs"))
        add(f"{name}: superiority", "2.5", lambda study=study: superiority(study))
    for prototypes, each in ((2, 2), (2, 3), (3, 2)):
        study = simulated(rng, studies, prototypes=prototypes, batches=each, replicates=2, assessors=10, batch_sd=3)
        name = f"{prototypes} prototypes, {each} batches each, batch SD 3: superiority"
        add(name, "2.5", lambda study=study: superiority(study))
    for sd in (1.5, 3.0, 5.0):
        known = {"batch_sd": sd}
        study = simulated(rng, studies, assessors=10, batch_sd=sd, facts=known)
        add(f"one batch, SD {sd:g} stated: superiority", "2.5", lambda study=study: superiority(study))
        border = simulated(rng, studies, assessors=10, batch_sd=sd, shift=MARGIN, facts=known)
        add(f"one batch, SD {sd:g} stated: parity at the margin", "5", lambda study=border: parity(study))
        swap = simulated(rng, studies, assessors=10, prototypes=2, batch_sd=sd, facts=known, formulas=one_swap())
        add(
            f"one batch, SD {sd:g} stated: swap credited (one side)",
            "2.5",
            lambda swap=swap: float(
                (below(trace_swaps(swap).swaps["p_value"], 0.05) & (trace_swaps(swap).swaps["estimate"] > 0)).mean()
            ),
        )
    truth = simulated(rng, studies, assessors=10, prototypes=8, shift=2 * RESIDUAL_SD)
    add("true difference of two residual SDs, 10 x 8 x 3: supported", "at least 90", lambda: superiority(truth))
    stated = simulated(
        rng, studies, assessors=10, prototypes=8, shift=2 * RESIDUAL_SD, batch_sd=3, facts={"batch_sd": 3}
    )
    add("the same, batch SD 3 and stated: supported", "–", lambda: superiority(stated))
    both = simulated(rng, studies, assessors=10, prototypes=8, batches=2, replicates=2, shift=16, batch_sd=3)
    add("the same, two batches of each, x 2: supported", "–", lambda: superiority(both))
    return rows


if __name__ == "__main__":
    wanted, start = (int(word) for word in (*sys.argv[1:], *("500", "20251128")[len(sys.argv) - 1 :]))
    print("| what | nominal | measured | studies |\n|---|---|---|---|")
    for what, nominal, measured, number in lines(wanted, start):
        print(f"| {what} | {nominal} | {measured} | {number:,} |")
