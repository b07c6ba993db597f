"""Did an assessor's scores of two prototypes change places in a session?"""

from __future__ import annotations

import numpy as np

from panel.checks.finding import Finding
from panel.checks.places import listed
from panel.checks.score_cells import ScoreCells
from panel.stats.assessors.profile_exchange import profile_exchange

CHANCE_PER_STUDY = 0.05
"""A pair is told when fewer than one honest study in twenty would hold one."""

SMALLEST_GAIN = 0.5
"""Share of the disagreement that must go away when the two profiles are exchanged."""

FEWEST_ATTRIBUTES = 3
FEWEST_PROTOTYPES = 4
"""The pair in question says nothing about the noise; at least two more prototypes must."""

MOST_PROTOTYPES = 30
"""Beyond that there are so many pairs that none would stand out."""

LARGEST_FILL = 20
"""Largest number of cells of the full plan (everybody, everything) per score that is still worth laying out."""


def exchanged_profiles(cells: ScoreCells) -> list[Finding]:
    """Return pairs of prototypes whose profiles seem to have changed places, one note for each pair and assessor.

    For each assessor and session the difference between two prototypes over all attributes is held against the
    same difference in that assessor's other sessions. Both point the same way when nothing went wrong, whatever
    the prototypes are. The rule: they point opposite ways by more than chance allows in one study out of twenty,
    and exchanging the two removes more than half of the disagreement (`panel.stats.assessors.profile_exchange`).
    """
    scores = _laid_out(cells)
    if scores is None:
        return []
    exchange = profile_exchange(scores)
    looked_at = np.isfinite(exchange.chance)
    unlikely = np.where(looked_at, exchange.chance, 1.0) * looked_at.sum() < CHANCE_PER_STUDY
    assessor, sitting, pair = np.nonzero(unlikely & (exchange.gain > SMALLEST_GAIN))
    return _told_pairs(cells, np.stack([assessor, sitting, exchange.first[pair], exchange.second[pair]], axis=1))


def _told_pairs(cells: ScoreCells, found: np.ndarray) -> list[Finding]:
    """Return one note for each assessor and pair, naming the sessions in question."""
    pairs: dict[tuple[int, int, int], list[str]] = {}
    for assessor, sitting, first, second in found.tolist():
        pairs.setdefault((assessor, first, second), []).append(str(cells.sitting.of[sitting]))
    findings = []
    for (assessor, first, second), sittings in pairs.items():
        names = f"{cells.prototype.of[first]} and {cells.prototype.of[second]}"
        turn = f"{cells.sitting_word} {' or '.join(sittings[:2])}" if len(sittings) < 3 else listed(sittings)
        message = (
            f"The profiles of {names} look exchanged: over all attributes they differ the opposite way to this "
            f"assessor's other {cells.sitting_word}s, more than chance would give in one study out of twenty."
        )
        advice = "It may be chance. Compare codes and ballots of the two samples before you think of a correction."
        where = f"scores: {cells.assessor.of[assessor]}, {turn}, {names}"
        findings.append(Finding("note", "profiles_exchanged", where, message, advice))
    return findings


def _laid_out(cells: ScoreCells) -> np.ndarray | None:
    """Return mean scores [assessor, session, prototype, attribute], NaN where there is none.

    None if there are too few of anything, or if the scores fill too little of the plan to compare sessions.
    """
    shape = tuple(len(names) for names in (cells.assessor, cells.sitting, cells.prototype, cells.attribute))
    size = float(np.prod(shape, dtype=float))
    if shape[1] < 2 or not FEWEST_PROTOTYPES <= shape[2] <= MOST_PROTOTYPES or shape[3] < FEWEST_ATTRIBUTES:
        return None
    if size > LARGEST_FILL * len(cells.line):
        return None
    rows = np.flatnonzero(np.isfinite(cells.score))
    codes = (cells.assessor.code, cells.sitting.code, cells.prototype.code, cells.attribute.code)
    flat = np.ravel_multi_index(tuple(code[rows] for code in codes), shape)
    count = np.bincount(flat, minlength=int(size))
    total = np.bincount(flat, weights=cells.score[rows], minlength=int(size))
    return np.divide(total, count, out=np.full(int(size), np.nan), where=count > 0).reshape(shape)
