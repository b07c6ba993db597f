"""Were the scores given with care and room: no straight lines, no handful of steps, no pile at an end of the scale?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import gammaln

from panel.checks.codes import grouped
from panel.checks.finding import Finding
from panel.checks.places import gathered, listed
from panel.checks.score_cells import ScoreCells, told_score

FEWEST_ALIKE = 3
"""Two equal scores say nothing; lines of three and more are looked at."""

CHANCE_PER_STUDY = 0.05
"""A line of equal scores is told when fewer than one study in twenty would hold one by chance."""

FEW_VALUES = 5
"""A scale used in no more steps than this is told."""

ENOUGH_FOR_STEPS = 20
"""Number of scores from which on few different values are no accident."""

STEPS_IN_SCALE = 20
"""Scales with fewer whole units than this (9-point, 0 to 10) are made of steps: nothing to tell."""

PILED_SHARE = 0.20
"""Share of scores at one end of the scale above which differences there can no longer be seen."""

ENOUGH_FOR_PILE = 10
"""Number of scores below which a share says nothing."""


def straight_lines(cells: ScoreCells) -> list[Finding]:
    """Return who gave one and the same score to all attributes of a sample, or to all prototypes of an attribute.

    Equal scores come by chance too, the more the coarser the scale is used. So the chance is reckoned from how
    often each score was given, by the other assessors and by this one elsewhere, and a line is told when the
    number of lines looked at, times the chance of one, is below 0.05. A whole session with one score is told once,
    not once for each line in it.
    """
    rows = np.flatnonzero(np.isfinite(cells.score))
    a, p, k, s, r = (
        names.code[rows] for names in (cells.assessor, cells.prototype, cells.attribute, cells.sitting, cells.replicate)
    )
    score, whole = cells.score[rows], np.zeros(len(rows), dtype=np.int64)
    turns = _lines(score, (a, s), a, whole, at_least=2 * FEWEST_ALIKE)
    in_turn = np.isin(turns.group, turns.told)
    samples = _lines(score, (a, s, r, p), a, whole, at_least=FEWEST_ALIKE, leave_out=in_turn)
    series = _lines(score, (a, s, r, k), a, k, at_least=FEWEST_ALIKE, leave_out=in_turn)
    return [
        *_told_lines(cells, rows[turns.first[turns.told]], turns, "same_score_throughout"),
        *_told_lines(cells, rows[samples.first[samples.told]], samples, "same_score_all_attributes"),
        *_told_lines(cells, rows[series.first[series.told]], series, "same_score_all_prototypes"),
    ]


@dataclass(frozen=True, eq=False, slots=True)
class _Lines:
    """Groups of scores: the group of each row, the first row and size of each group, and the groups to tell."""

    group: np.ndarray
    first: np.ndarray
    size: np.ndarray
    told: np.ndarray


def _lines(
    score: np.ndarray,
    keys: tuple[np.ndarray, ...],
    assessor: np.ndarray,
    pool: np.ndarray,
    *,
    at_least: int,
    leave_out: np.ndarray | None = None,
) -> _Lines:
    """Look for groups of equal scores among the groups of `keys`; chance is reckoned within each `pool`."""
    group, first = grouped(*keys)
    size = np.bincount(group)
    equal = np.bincount(group, weights=score != score[first[group]]) == 0
    if leave_out is not None:
        equal &= ~leave_out[first]
    looked_at = size >= at_least
    candidates = np.flatnonzero(equal & looked_at)
    in_line = np.zeros(len(size), dtype=bool)
    in_line[candidates] = True
    chance = _chance_of_line(score, assessor, pool, in_line[group], first[candidates], size[candidates])
    return _Lines(group, first, size, candidates[chance * looked_at.sum() < CHANCE_PER_STUDY])


def _chance_of_line(
    score: np.ndarray,
    assessor: np.ndarray,
    pool: np.ndarray,
    in_line: np.ndarray,
    rows: np.ndarray,
    size: np.ndarray,
) -> np.ndarray:
    """Return for each line the chance that so many scores are equal: by the others' scores or by one's own, the larger.

    The others: sum over the values of share ** size, with the shares of their scores in the same pool. One's own:
    the chance that so many of the scores outside lines, drawn without putting back, are equal. 1 without either.

    Parameters
    ----------
    score, assessor, pool, in_line
        For each score: its value, who gave it, among which scores chance is reckoned, whether it is in a line.
    rows, size
        For each line: one of its rows, and its number of scores.
    """
    chance = np.ones(len(rows))
    value = pd.factorize(score)[0].astype(np.int64)
    kinds, first = grouped(pool[rows], assessor[rows], size)
    for in_pool in np.unique(pool[rows]):
        of_pool = pool == in_pool
        of_all = np.bincount(value[of_pool], minlength=int(value.max()) + 1)
        for kind in np.flatnonzero(pool[rows[first]] == in_pool):
            row, length = rows[first[kind]], int(size[first[kind]])
            mine = assessor == assessor[row]
            others = of_all - np.bincount(value[of_pool & mine], minlength=len(of_all))
            own = np.bincount(value[mine & ~in_line], minlength=len(of_all))
            chances = [((others / others.sum()) ** length).sum()] if others.any() else []
            chances += [_equal_draws(own, length)] if own.any() else []
            chance[kinds == kind] = max(chances, default=1.0)
    return chance


def _equal_draws(counts: np.ndarray, number: int) -> float:
    """Return the chance that so many draws without putting back are equal; of as many as there are, if fewer."""
    of_all = int(counts.sum())
    number = min(number, of_all)
    enough = counts[counts >= number]
    ways = gammaln(enough + 1) - gammaln(enough - number + 1) - gammaln(of_all + 1) + gammaln(of_all - number + 1)
    return float(np.exp(ways).sum())


_LINE_WORDS = {
    "same_score_throughout": "every sample and attribute of the {}",
    "same_score_all_attributes": "all attributes of the sample",
    "same_score_all_prototypes": "all prototypes of the attribute",
}


def _told_lines(cells: ScoreCells, rows: np.ndarray, lines: _Lines, kind: str) -> list[Finding]:
    size = lines.size[lines.told]

    def where(case: int) -> str:
        row = int(rows[case])
        if kind == "same_score_all_attributes":
            return f"scores: {cells.sample(row)}"
        turn = f"scores: {cells.turn(row)}"
        return turn if kind == "same_score_throughout" else f"{turn}, {_attribute(cells, row)}"

    findings = []
    for place, cases in gathered(cells.assessor.code[rows], where):
        alike = told_score(cells.score[rows[cases[0]]])
        alike_in = _LINE_WORDS[kind].format(cells.sitting_word)
        message = f"The same score, {alike}, for {alike_in} ({size[cases[0]]} scores)."
        if len(cases) > 1:
            message = f"{len(cases):,} times the same score for {alike_in}; the first time {alike}."
        advice = (
            "Ask the assessor, and look at the raw ballot. Leave the scores out only by a rule recorded before "
            "unblinding, and show both results."
        )
        findings.append(Finding("warning", kind, place, message, advice))
    return findings


def few_steps(cells: ScoreCells) -> list[Finding]:
    """Return attributes, and assessors, whose scores use a wide scale in five steps or fewer.

    An attribute whose scores all lie at one end is `piled_at_end`; an assessor who only ever gives one score is one
    of the `straight_lines`.
    """
    wide = (cells.highest - cells.lowest >= STEPS_IN_SCALE)[cells.attribute.code]
    rows = np.flatnonzero(np.isfinite(cells.score) & wide)
    attribute, score = cells.attribute.code[rows], cells.score[rows]
    inside = (score != cells.lowest[attribute]) & (score != cells.highest[attribute])
    steps = _steps(attribute, score, len(cells.attribute))
    some_inside = np.bincount(attribute[inside], minlength=len(cells.attribute)) > 0
    in_steps = ((steps > 1) | ((steps == 1) & some_inside)) & (steps <= FEW_VALUES)
    elsewhere = rows[~in_steps[attribute]]
    assessor = cells.assessor.code[elsewhere]
    steps_of = _steps(assessor, cells.score[elsewhere], len(cells.assessor))
    return [
        *_told_steps(cells, rows[in_steps[attribute]], "attribute"),
        *_told_steps(cells, elsewhere[((steps_of > 1) & (steps_of <= FEW_VALUES))[assessor]], "assessor"),
    ]


def _steps(code: np.ndarray, score: np.ndarray, number: int) -> np.ndarray:
    """Return the number of different scores of each code, 0 where there are too few scores to tell."""
    _, first = grouped(code, pd.factorize(score)[0].astype(np.int64))
    different = np.bincount(code[first], minlength=number)
    return np.where(np.bincount(code, minlength=number) >= ENOUGH_FOR_STEPS, different, 0)


def _told_steps(cells: ScoreCells, rows: np.ndarray, noun: str) -> list[Finding]:
    names = cells.attribute if noun == "attribute" else cells.assessor
    code = names.code[rows]
    found = code[np.sort(np.unique(code, return_index=True)[1])]
    findings = []
    for where, cases in gathered(np.arange(len(found)), lambda case: f"scores, {noun} {names.of[found[case]]}"):
        values = np.unique(cells.score[rows[np.isin(code, found[cases])]])
        shown = listed([told_score(value) for value in values], FEW_VALUES)
        message = f"Only {len(values)} different scores are used: {shown}."
        if len(values) == 1:
            message = f"Every score is the same: {shown}."
        advice = "The scale was used in steps; small differences cannot show. Remind the assessors of the whole line."
        findings.append(Finding("note", "scale_used_in_steps", where, message, advice))
    return findings


def piled_at_end(cells: ScoreCells) -> list[Finding]:
    """Return attributes with more than a fifth of the scores at the lowest, or at the highest, possible score."""
    rows = np.flatnonzero(np.isfinite(cells.score))
    code, number = cells.attribute.code[rows], len(cells.attribute)
    total = np.bincount(code, minlength=number)
    findings = []
    for end, limits in (("lowest", cells.lowest), ("highest", cells.highest)):
        at_end = np.bincount(code, weights=cells.score[rows] == limits[code], minlength=number).astype(int)
        found = np.flatnonzero((total >= ENOUGH_FOR_PILE) & (at_end > PILED_SHARE * total))

        def place(case: int, found: np.ndarray = found) -> str:
            return f"scores, attribute {cells.attribute.of[found[case]]}"

        for where, cases in gathered(np.arange(len(found)), place):
            piled, of_all = int(at_end[found[cases]].sum()), int(total[found[cases]].sum())
            message = f"{piled:,} of {of_all:,} scores are the {end} possible score."
            advice = (
                "Prototypes beyond that end look alike, and differences come out too small. Look at the scores "
                "themselves, not only at means."
            )
            findings.append(Finding("note", f"scores_at_{end}_end", where, message, advice))
    return findings


def _attribute(cells: ScoreCells, row: int) -> str:
    return str(cells.attribute.of[cells.attribute.code[row]])
