"""Were the batches old enough, and of like age, when they were tested?

An emulsion goes on building its structure after it was made. Resting overnight is common practice (no source);
a classic study of emollients in emulsions aged every one at least 48 hours and compared emulsions of about the
same age (Goldemberg & de la Rosa 1971, J Soc Cosmet Chem 22:635).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from panel.checks.dates import read_dates
from panel.checks.finding import Finding
from panel.checks.places import counted, gathered, listed

YOUNGEST_HOURS = 24.0
"""Overnight rest; common practice, no source."""

SETTLED_HOURS = 48.0
"""Goldemberg & de la Rosa 1971, J Soc Cosmet Chem 22:635: every emulsion was aged at least this long."""

LARGEST_SPREAD_HOURS = 24.0
"""Batches of a test within a day of equal age; common practice, no source."""


@dataclass(frozen=True, eq=False, slots=True)
class _Ages:
    """Batches and their ages in hours at test, NaN where unknown; `by_the_clock`: both moments carry a time."""

    batch: list[str]
    prototype: list[str]
    hours: np.ndarray
    by_the_clock: np.ndarray


_BEFORE_MADE = ("{who} tested {ages} before it was made.", "Correct made_on or tested_on.")

_YOUNG = (
    "{who} tested at an age of {ages}, under 24 h.",
    "The structure was still changing. Test again after 48 h, or keep this prototype out of the comparison by a rule "
    "recorded before unblinding.",
)

_NOT_SETTLED = (
    "{who} tested at an age of {ages}, under 48 h.",
    "Overnight rest is common practice; 48 h is safer, and butters, fatty alcohols and waxes keep moving for weeks. "
    "Test all prototypes at the same age.",
)


def batch_age(used: pd.DataFrame) -> list[Finding]:
    """Return batches tested too young, before they were made, at unlike ages, or at an unknown age."""
    ages = _ages(used)
    rested = ages.hours >= YOUNGEST_HOURS
    return [
        *_unknown(ages),
        *_told(ages, ages.hours < 0, "warning", "tested_before_made", *_BEFORE_MADE),
        *_told(ages, (ages.hours >= 0) & ~rested, "warning", "batch_too_young", *_YOUNG),
        *_told(ages, rested & (ages.hours < SETTLED_HOURS), "note", "batch_not_settled", *_NOT_SETTLED),
        *_spread(ages),
    ]


def _ages(used: pd.DataFrame) -> _Ages:
    """Return the ages; where a time is missing they are counted in whole days."""
    made, tested = read_dates(used["made_on"]), read_dates(used["tested_on"])
    by_the_clock = made.has_time & tested.has_time
    elapsed = np.where(by_the_clock, tested.values - made.values, tested.days - made.days)
    return _Ages(used["batch"].tolist(), used["prototype"].tolist(), elapsed / np.timedelta64(1, "h"), by_the_clock)


def _age(ages: _Ages, row: int) -> str:
    hours = abs(float(ages.hours[row]))
    if ages.by_the_clock[row]:
        return f"{hours:.0f} h" if hours >= 1 else f"{60 * hours:.0f} min"
    return counted(round(hours / 24), "day") if hours else "less than a day"


def _told(ages: _Ages, chosen: np.ndarray, severity: str, kind: str, words: str, advice: str) -> list[Finding]:
    """Return findings about the chosen batches; `words` takes the batches and their ages."""
    rows = np.flatnonzero(chosen)

    def place(case: int) -> str:
        return f"batches, batch {ages.batch[rows[case]]} of {ages.prototype[rows[case]]}"

    findings = []
    for where, cases in gathered(np.zeros(len(rows)), place):
        told = listed([_age(ages, row) for row in rows[cases]])
        message = words.format(who=counted(len(cases), "batch", "batches"), ages=told)
        findings.append(Finding(severity, kind, where, message, advice))
    return findings


def _unknown(ages: _Ages) -> list[Finding]:
    names = [ages.batch[row] for row in np.flatnonzero(np.isnan(ages.hours))]
    if not names:
        return []
    message = f"The age at test is unknown for {counted(len(names), 'batch', 'batches')}: {listed(names)}."
    advice = "Fill in made_on and tested_on, with the time if the batch is younger than two days."
    return [Finding("note", "age_unknown", "batches, made_on and tested_on", message, advice)]


def _spread(ages: _Ages) -> list[Finding]:
    """Return whether ages differ by more than a day; batches under 24 h are told apart from that."""
    rows = np.flatnonzero(ages.hours >= YOUNGEST_HOURS)
    if not len(rows) or np.ptp(ages.hours[rows]) <= LARGEST_SPREAD_HOURS:
        return []
    ends = (rows[ages.hours[rows].argmin()], rows[ages.hours[rows].argmax()])
    first, last = (f"{_age(ages, row)} ({ages.batch[row]})" for row in ends)
    message = f"The batches were tested at ages that differ by more than a day: from {first} to {last}."
    advice = "Age changes thickness and rub-out. Test all prototypes within a day of equal age."
    return [Finding("warning", "ages_differ", "batches, made_on and tested_on", message, advice)]
