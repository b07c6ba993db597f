"""Is something wrong said where prototypes go along with a session, or batches differ? Lines of `benchmarks.promises`.

Simulated panels with known truth, each attribute a study of its own; 8 assessors (SD of level 6, of own view 5),
residual SD 8, scale 0 to 100.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.checks.confounds import find_confounds
from panel.claims.materials import PanelNumbers, _panel_numbers
from panel.models.emollients.swaps import trace_swaps
from panel.models.prototypes.differences import find_differences
from panel.models.prototypes.panel_design import fit_study
from panel.stats.comparing.multiplicity import below
from panel.stats.comparing.power import two_one_sided_tests
from panel.study.study import Study, empty_table

LEVEL_SD, VIEW_SD, RESIDUAL_SD = 6.0, 5.0, 8.0
MARGIN = 8.0

Flags = NDArray[np.bool_]
Wrong = Callable[[Study], Flags]  # whether it is said, for each attribute
Line = Callable[[np.random.Generator, int], Flags]  # whether it is said, for each of so many studies


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
    same_order: int = -1,
    drift: float = 0.0,
    places_sd: float = 0.0,
    facts: dict[str, object] | None = None,
    formulas: pd.DataFrame | None = None,
) -> Study:
    """Return `studies` studies as the attributes of one; `shift` is added to the second prototype.

    With `split` the first half of the prototypes is served in session 1 only, the others in session 2. Replicates are
    those of each batch. `same_order` people taste in one order, the others in orders by lot, each person in one; the
    score changes by `drift` a place. Where `places_sd` is above 0, half of the people sit at another place, and each
    place sees the prototypes apart by that.
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
    people = empty_table("assessors")
    if places_sd:
        south = np.arange(assessors) >= assessors // 2
        score += (places_sd * rng.normal(size=(studies, 2, prototypes)))[s, south[a].astype(int), p]
        names = [f"A{n + 1:02d}" for n in range(assessors)]
        people = pd.DataFrame({"assessor": names, "kind": "trained", "group": np.where(south, "south", "north")})
    place = np.zeros_like(p)
    if same_order >= 0:
        order = np.tile(np.arange(prototypes), (assessors, 1))
        order[same_order:] = rng.permuted(order[same_order:], axis=1)
        place = order[a, p]
        score += drift * place
    scores = empty_table("scores").reindex(range(len(s)))
    scores = scores.assign(
        assessor=pd.Series([f"A{n + 1:02d}" for n in a], dtype="str"),
        prototype=pd.Series([f"P{n + 1}" for n in p], dtype="str"),
        attribute=pd.Series([f"T{n:04d}" for n in s], dtype="str"),
        session=pd.Series([str(n + 1) if split else "" for n in session], dtype="str"),
        replicate=pd.Series([str(n + 1) for n in r], dtype="str"),
        batch=pd.Series([f"P{n + 1}-{m + 1}" for n, m in zip(p, b, strict=True)], dtype="str"),
        position=np.nan if same_order < 0 else place + 1.0,
        score=score,
        recorded_at="",
        source="",
    )
    tables = {"scores": scores, "assessors": people} | ({} if formulas is None else {"formulas": formulas})
    return Study(tables, {"benchmark": "P1", "scale_min": 0, "scale_max": 100} | (facts or {}))


def f_test(study: Study) -> Flags:
    """Return in which studies the F test is below 5 %, each for itself."""
    return np.asarray(below(find_differences(study).attributes["p_value"], 0.05))


def some_row(study: Study, frame: str = "versus") -> Flags:
    """Return in which studies some row has an interval without zero."""
    rows = getattr(find_differences(study), frame)
    apart = (rows["ci_low"] > 0) | (rows["ci_high"] < 0)
    return apart.groupby(rows["attribute"]).any().to_numpy()


def numbers_of(study: Study) -> PanelNumbers:
    """Return the panel's numbers, as claims use them."""
    return _panel_numbers(study, fit_study(study))


def swap_credited(study: Study) -> Flags:
    """Return in which studies the swap from P1 to P2 is said to raise."""
    swaps = trace_swaps(study).swaps
    return np.asarray(below(swaps["p_value"], 0.05) & (swaps["estimate"] > 0))


def superiority(study: Study, prototype: str = "P2", versus: str = "P1") -> Flags:
    """Return in which studies 'more than the benchmark' is supported by the rule of claims (two-sided 5 %)."""
    numbers, confounds = numbers_of(study), find_confounds(study)
    hits = []
    for attribute in study.attributes:
        if len(confounds.untold(attribute, prototype, versus)):
            hits.append(False)
            continue
        found = numbers.difference(attribute, prototype, versus)
        hits.append(bool(2 * found.p_above(0.0) <= 0.05))
    return np.array(hits)


def parity(study: Study) -> Flags:
    """Return in which studies 'alike within the margin' is supported by the rule of claims."""
    numbers = numbers_of(study)
    hits = []
    for attribute in study.attributes:
        found = numbers.difference(attribute, "P2", "P1")
        tests = two_one_sided_tests(found.estimate, found.std_error, found.df, -MARGIN, MARGIN, 0.05)
        hits.append(bool(max(float(side.p_value) for side in tests) <= 0.05))
    return np.array(hits)


def one_swap() -> pd.DataFrame:
    """Return the formulas of P1 and P2, which differ by one swap."""
    rows = [("P1", "Squalane"), ("P2", "Isohexadecane")]
    parts = [(name, oil, 20.0, "B", "emollient") for name, oil in rows]
    parts += [(name, "Aqua", 80.0, "A", "other") for name, _ in rows]
    return pd.DataFrame(parts, columns=["prototype", "ingredient", "percent", "phase", "kind"])


def _split(sd: float, wrong: Wrong) -> Line:
    """Return a line on prototypes of which half were served in another session; `sd` between sessions."""
    return lambda rng, studies: wrong(simulated(rng, studies, split=True, session_sd=sd))


def _batches(sd: float, wrong: Wrong, prototypes: int = 6, each: int = 2, **more: Any) -> Line:
    """Return a line on prototypes made in `each` batches, 10 assessors x 2 scores; `sd` between batches."""
    return lambda rng, studies: wrong(
        simulated(
            rng,
            studies,
            assessors=10,
            prototypes=prototypes,
            replicates=2,
            batches=each,
            batch_sd=sd,
            **more,
        )
    )


def _one_batch(sd: float, wrong: Wrong, **more: Any) -> Line:
    """Return a line on one batch of each prototype and an SD between batches that is stated."""
    known = {"batch_sd": sd} if sd else {}
    return lambda rng, studies: wrong(simulated(rng, studies, assessors=10, batch_sd=sd, facts=known, **more))


def _orders(same: int, drift: float, wrong: Wrong, **more: Any) -> Line:
    """Return a line on studies with orders of their own each, 4 prototypes x 2."""

    def line(rng: np.random.Generator, studies: int) -> Flags:
        study = partial(simulated, rng, 10, prototypes=4, replicates=2, same_order=same, drift=drift, **more)
        return np.concatenate([wrong(study()) for _ in range(studies // 10)])

    return line


def _two_places(unsaid: bool) -> Line:
    """Return a line on two places of four people each: is some pair told apart, and without a word on the places?"""

    def wrong(rng: np.random.Generator) -> bool:
        pairs = find_differences(simulated(rng, 1, prototypes=4, replicates=2, places_sd=4.0)).pairs
        told = pairs["verdict"] == "differs"
        return bool((told & ~(unsaid & pairs["said"].str.contains("not alike in all"))).any())

    return lambda rng, studies: np.array([wrong(rng) for _ in range(studies)])


def lines() -> dict[str, tuple[str, Line]]:
    """Return, for each kind of study and what may be said of it wrongly, the nominal chance and what tells it."""
    of_sessions: dict[str, tuple[str, Wrong]] = {
        "F test": ("5", f_test),
        "some row from the benchmark": ("5", some_row),
        "some pair": ("5", partial(some_row, frame="pairs")),
        "superiority across the sessions": ("2.5", partial(superiority, prototype="P4")),
        "superiority within a session": ("2.5", superiority),
    }
    of_batches = {name: of_sessions[name] for name in ("F test", "some pair")} | {"superiority": ("2.5", superiority)}
    of_one: dict[str, tuple[str, Wrong, dict[str, Any]]] = {
        "superiority": ("2.5", superiority, {}),
        "parity at the margin": ("5", parity, {"shift": MARGIN}),
        "swap credited (one side)": ("2.5", swap_credited, {"prototypes": 2, "formulas": one_swap()}),
    }
    found: dict[str, tuple[str, Line]] = {}
    for sd in (0.0, 4.0):
        for name, (nominal, wrong) in of_sessions.items():
            found[f"3 + 3 over two sessions, session SD {sd:g}: {name}"] = nominal, _split(sd, wrong)
    for sd in (0.0, 1.5, 3.0, 5.0):
        for name, (nominal, wrong) in of_batches.items():
            found[f"2 batches each, batch SD {sd:g}: {name}"] = nominal, _batches(sd, wrong)
    for prototypes, each in ((2, 2), (2, 3), (3, 2)):
        name = f"{prototypes} prototypes, {each} batches each, batch SD 3: superiority"
        found[name] = "2.5", _batches(3.0, superiority, prototypes, each)
    for sd in (0.0, 1.5, 3.0, 5.0):
        line = _batches(sd, swap_credited, 2, formulas=one_swap())
        found[f"2 prototypes, 2 batches each, batch SD {sd:g}: swap credited (one side)"] = "2.5", line
    for sd in (1.5, 3.0, 5.0):
        for name, (nominal, wrong, more) in of_one.items():
            found[f"one batch, SD {sd:g} stated: {name}"] = nominal, _one_batch(sd, wrong, **more)
    for same, how in ((6, "6 of 8 in one order"), (4, "4 of 8 in one order"), (0, "orders by lot")):
        found[f"{how}, 2.5 points a place: F test"] = "5", _orders(same, 2.5, f_test)
        found[f"{how}, 2.5 points a place: some pair"] = "5", _orders(same, 2.5, partial(some_row, frame="pairs"))
        found[f"{how}, 2.5 points a place: superiority"] = "2.5", _orders(same, 2.5, superiority)
    found["orders by lot, true difference of 12: F test"] = "–", _orders(0, 0.0, f_test, shift=12.0)
    found["two places, 4 + 4 people, place x prototype SD 4: some pair"] = "5", _two_places(unsaid=False)
    found["the same, without a word on the places"] = "5", _two_places(unsaid=True)
    true = {"prototypes": 8, "shift": 2 * RESIDUAL_SD}
    found["true difference of two residual SDs, 10 x 8 x 3: supported"] = (
        "at least 90",
        _one_batch(0.0, superiority, **true),
    )
    found["the same, batch SD 3 and stated: supported"] = "–", _one_batch(3.0, superiority, **true)
    found["the same, two batches of each, x 2: supported"] = (
        "–",
        _batches(3.0, superiority, 8, 2, shift=2 * RESIDUAL_SD),
    )
    return found
