"""Is every score possible: on its scale, not blank, given once?"""

from __future__ import annotations

import numpy as np

from panel.checks.codes import grouped, or_none
from panel.checks.finding import Finding
from panel.checks.places import counted, gathered, listed
from panel.checks.score_cells import ScoreCells, told_score


def outside_scale(cells: ScoreCells) -> list[Finding]:
    """Return scores below the lowest or above the highest possible one."""
    low, high = cells.lowest[cells.attribute.code], cells.highest[cells.attribute.code]
    rows = np.flatnonzero((cells.score < low) | (cells.score > high))
    findings = []
    for where, cases in gathered(cells.attribute.code[rows], lambda case: cells.place(rows[case])):
        advice = (
            "Look at the raw ballot. If it is a slip, write a correction with its reason; a score is left out only "
            "so, or by a rule recorded before unblinding."
        )
        message = _told_outside(cells, rows[cases])
        findings.append(Finding("warning", "score_outside_scale", where, message, advice))
    return findings


def _told_outside(cells: ScoreCells, rows: np.ndarray) -> str:
    attribute = cells.attribute.code[rows]
    scores, low, high = cells.score[rows], cells.lowest[attribute], cells.highest[attribute]
    slips = (scores / 10 >= low) & (scores / 10 <= high)
    scale = f"the scale {told_score(low[0])} to {told_score(high[0])}"
    if len(rows) == 1:
        message = f"{told_score(scores[0])} is outside {scale}."
        if slips[0]:
            message += f" {told_score(scores[0])} may be {scores[0] / 10:.1f}: a missing decimal point."
        return message
    if len(np.unique(low)) > 1 or len(np.unique(high)) > 1:
        scale = "their scales"
    message = (
        f"{len(rows):,} scores are outside {scale}, from {told_score(scores.min())} to {told_score(scores.max())}."
    )
    if slips.any():
        first = scores[slips][0]
        message += f" For {counted(int(slips.sum()), 'of them', 'of them')} a decimal point may be missing:"
        message += f" {told_score(first)} may be {first / 10:.1f}."
    return message


def blank(cells: ScoreCells, unread_lines: np.ndarray) -> list[Finding]:
    """Return rows without a score, save those that could not be read (already reported) or could not be judged."""
    empty = np.isnan(cells.score) & ~cells.settled & ~cells.unable
    rows = np.flatnonzero(empty & ~np.isin(cells.line, unread_lines))
    findings = []
    for where, cases in gathered(cells.assessor.code[rows], lambda case: cells.place(rows[case])):
        who = listed(_names(cells, rows[cases]))
        message = "The score is blank." if len(cases) == 1 else f"{len(cases):,} scores of {who} are blank."
        advice = (
            "If the ballot has it, write a correction. Otherwise leave it blank: the analysis uses the scores that "
            "are there and fills in nothing."
        )
        findings.append(Finding("warning", "score_blank", where, message, advice))
    return findings


def cannot_judge(cells: ScoreCells) -> list[Finding]:
    """Return what assessors said they cannot judge."""
    rows = np.flatnonzero(np.isnan(cells.score) & ~cells.settled & cells.unable)
    findings = []
    for where, cases in gathered(cells.assessor.code[rows], lambda case: cells.place(rows[case])):
        who = listed(_names(cells, rows[cases]))
        message = f"{who} could not judge {counted(len(cases), 'score')}."
        advice = (
            "Leave them blank: that is an answer, and nothing is filled in. Where it is often the same attribute, look "
            "at its definition with the panel."
        )
        findings.append(Finding("note", "score_cannot_judge", where, message, advice))
    return findings


def given_twice(cells: ScoreCells) -> list[Finding]:
    """Return scores for which assessor, prototype, attribute, session, replicate and position are an earlier row's.

    Rows with neither session nor replicate may be repeats that nobody numbered: they give one note.
    """
    numbered = ~(cells.sitting.blank & cells.replicate.blank)
    rows = np.flatnonzero(np.isfinite(cells.score) & numbered)
    keys = (cells.assessor, cells.prototype, cells.attribute, cells.sitting, cells.replicate)
    later, earlier = _repeats(rows, *(names.code[rows] for names in keys), or_none(cells.position[rows]))
    same = cells.score[later] == cells.score[earlier]
    rows = np.flatnonzero(np.isfinite(cells.score) & ~numbered)
    return [
        *_told_twice(cells, later[same], earlier[same], same=True),
        *_told_twice(cells, later[~same], earlier[~same], same=False),
        *_not_numbered(cells, _repeats(rows, *(names.code[rows] for names in keys[:3]))[0]),
    ]


def _repeats(rows: np.ndarray, *codes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the rows whose codes are those of an earlier row, and that earlier row."""
    group, first = grouped(*codes)
    again = np.flatnonzero(first[group] != np.arange(len(rows)))
    return rows[again], rows[first[group[again]]]


def _told_twice(cells: ScoreCells, later: np.ndarray, earlier: np.ndarray, *, same: bool) -> list[Finding]:
    findings = []
    for where, cases in gathered(cells.assessor.code[later], lambda case: cells.place(later[case])):
        before, after = earlier[cases[0]], later[cases[0]]
        if same and len(cases) == 1:
            message = f"The score {told_score(cells.score[after])} of row {cells.line[before]} stands here again."
        elif same:
            message = f"{len(cases):,} scores stand a second time with the same value; the first repeats row {{}}."
            message = message.format(cells.line[before])
        elif len(cases) == 1:
            message = (
                f"Two scores for the same sample: {told_score(cells.score[before])} in row {cells.line[before]}, "
                f"{told_score(cells.score[after])} here."
            )
        else:
            message = f"{len(cases):,} scores stand a second time with another value; the first contradicts row "
            message += f"{cells.line[before]}."
        kind = "score_given_twice" if same else "score_given_twice_differently"
        advice = (
            "Both count until one is set aside by a written correction. If the sample was tried twice, number the "
            "replicates."
        )
        findings.append(Finding("warning", kind, where, message, advice))
    return findings


def _not_numbered(cells: ScoreCells, rows: np.ndarray) -> list[Finding]:
    if not len(rows):
        return []
    return [
        Finding(
            "note",
            "repeats_not_numbered",
            f"scores, columns session and replicate: first at row {cells.line[rows[0]]}",
            f"{counted(len(rows), 'score')} repeat an earlier one and carry neither session nor replicate: they are "
            "taken as replicates.",
            "Number the replicates, so that a row entered twice can be told from a sample tried twice.",
        )
    ]


def _names(cells: ScoreCells, rows: np.ndarray) -> list[str]:
    return list(dict.fromkeys(cells.assessor.of[cells.assessor.code[rows]]))
