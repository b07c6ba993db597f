"""Can an emollient swap be told from the day on which the prototypes were made?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from panel.checks.dates import read_dates
from panel.checks.finding import Finding
from panel.checks.places import counted, gathered
from panel.study.study import Study
from panel.study.swaps import matched_pairs


def making_day(study: Study, batches: pd.DataFrame) -> list[Finding]:
    """Return the swaps whose matched pairs were all made on different days, the day changing the same way in each."""
    day = _days(batches)
    if len(set(day.values())) < 2 or study.table("formulas").empty:
        return []
    told = [(swap, steps) for swap, steps in _steps(study, day).items() if set(steps) in ({-1}, {1})]
    findings = []
    for where, cases in gathered(np.arange(len(told)), lambda case: f"batches and formulas, swap {told[case][0]}"):
        swap, steps = told[cases[0]]
        pairs = "the only matched pair" if len(steps) == 1 else f"all {counted(len(steps), 'matched pair')}"
        message = (
            f"Making day and the swap {swap} cannot be told apart: in {pairs} the prototype with the swap was made "
            f"{'later' if steps[0] > 0 else 'earlier'}."
        )
        if len(cases) > 1:
            message = f"{len(cases):,} swaps cannot be told apart from the making day. The first: {message}"
        advice = "What looks like the swap may be the day. Make one of the pairs again on one day, and test it."
        findings.append(Finding("warning", "making_day_and_swap", where, message, advice))
    return findings


def _steps(study: Study, day: dict[str, int]) -> dict[str, list[int]]:
    """Return for each swap, pair by pair, whether the day goes up (1) or down (-1); 0 if it stays or is not known."""
    pairs = matched_pairs(study)
    steps: dict[str, list[int]] = {}
    columns = [pairs[name].tolist() for name in ("removed", "added", "prototype", "versus")]
    for removed, added, prototype, versus in zip(*columns, strict=True):
        known = prototype in day and versus in day
        later = known and day[prototype] > day[versus]
        earlier = known and day[prototype] < day[versus]
        steps.setdefault(f"{removed} -> {added}", []).append(int(later) - int(earlier))
    return steps


def _days(batches: pd.DataFrame) -> dict[str, int]:
    """Return the making day of each prototype whose batches were all made on one known day, as a day number."""
    days = read_dates(batches["made_on"]).days
    of_prototype: dict[str, set[int]] = {}
    unknown = set()
    for prototype, day in zip(batches["prototype"].tolist(), days, strict=True):
        if np.isnat(day):
            unknown.add(prototype)
        else:
            of_prototype.setdefault(prototype, set()).add(int(day.astype(np.int64)))
    return {name: min(made) for name, made in of_prototype.items() if len(made) == 1 and name not in unknown}
