"""Which scores are not there: sessions missed, samples not scored, attributes left out, prototypes tried less often?

What one would expect is what the servings say, and without them what more than half of the assessors did.
"""

from __future__ import annotations

import numpy as np

from panel.checks.codes import among, common, distinct, grouped, matched, or_none
from panel.checks.finding import Finding
from panel.checks.places import counted, gathered, listed
from panel.checks.score_cells import ScoreCells, told_turn
from panel.study.study import Study

_KEPT = "The analysis uses the scores that are there; nobody is left out and nothing is filled in."
_MOST_LISTED = 12

_Codes = tuple[np.ndarray, ...]
"""Rows as columns of codes."""


def score_gaps(study: Study, cells: ScoreCells) -> list[Finding]:
    """Return what is missing among the scores: rows that are not there (blank ones are `score_blank`)."""
    turns = distinct(cells.assessor.code, cells.sitting.code)
    samples = distinct(cells.assessor.code, cells.sitting.code, cells.prototype.code)
    planned = _planned(study, cells)
    absent = _samples_absent(turns, samples, planned)
    return [
        *_replicate_left_out(cells),
        *_sessions_missed(cells, turns),
        *_samples_not_scored(cells, absent),
        *_attributes_left_out(cells, samples),
        *_never_scored(study, cells),
        *_pairs_never_scored(cells),
        *_unequal_samples(cells, samples, absent, planned),
    ]


def _planned(study: Study, cells: ScoreCells) -> _Codes:
    """Return the samples of the servings, as far as assessor, session and prototype occur among the scores."""
    if "servings" not in study.tables:
        return (np.empty(0, dtype=np.int64),) * 3
    servings = study.table("servings")
    rows = (
        cells.assessor.codes_of(servings["assessor"]),
        cells.sitting.codes_of(servings["session"]),
        cells.prototype.codes_of(servings["prototype"]),
    )
    known = np.logical_and.reduce([code >= 0 for code in rows])
    return tuple(code[known] for code in rows)


def _join(*parts: _Codes) -> _Codes:
    return tuple(np.concatenate(columns) for columns in zip(*parts, strict=True))


def _without(rows: _Codes, others: _Codes) -> _Codes:
    """Return the different ones of the rows that are not among the others, in sorted order."""
    new = distinct(*(code[~among(rows, others)] for code in rows))
    order = np.lexsort(new[::-1])
    return tuple(code[order] for code in new)


def _replicate_left_out(cells: ScoreCells) -> list[Finding]:
    """Return rows without a replicate where others have one, in a study that tells sittings by replicates."""
    rows = np.flatnonzero(cells.sitting.blank)
    if len(cells.sitting) == 1:
        return []
    findings = []
    for where, cases in gathered(cells.assessor.code[rows], lambda case: cells.place(rows[case])):
        message = f"{counted(len(cases), 'score')} without a replicate, where others have one."
        advice = "Fill in the replicate. Until then these scores count as one more replicate."
        findings.append(Finding("warning", "replicate_left_out", where, message, advice))
    return findings


def _sessions_missed(cells: ScoreCells, turns: _Codes) -> list[Finding]:
    """Return the sessions that more than half of the assessors attended and somebody did not."""
    attended = np.bincount(turns[1], minlength=len(cells.sitting))
    usual = np.flatnonzero(2 * attended > len(cells.assessor))
    everybody = np.arange(len(cells.assessor))
    assessor, sitting = _without((np.repeat(everybody, len(usual)), np.tile(usual, len(everybody))), turns)
    findings = []
    for where, cases in gathered(assessor, lambda case: f"scores: {told_turn(cells, assessor[case], sitting[case])}"):
        who, which = listed(cells.assessor.told(assessor[cases])), listed(cells.sitting.told(sitting[cases]))
        message = f"{who} gave no scores in {cells.sitting_word} {which}, in which most of the others did."
        findings.append(Finding("note", f"{cells.sitting_word}_missed", where, message, _KEPT))
    return findings


def _samples_absent(turns: _Codes, samples: _Codes, planned: _Codes) -> _Codes:
    """Return the samples one would expect in the sittings that took place, and that have no row."""
    by_plan = tuple(code[among(planned[:2], turns)] for code in planned)
    assessor, sitting = _without(turns, planned[:2])
    usual_sitting, usual_prototype = common((samples[1],), samples[2], (turns[1],))
    of_turn, of_usual = matched(sitting, usual_sitting)
    by_custom = (assessor[of_turn], sitting[of_turn], usual_prototype[of_usual])
    return _without(_join(by_plan, by_custom), samples)


def _samples_not_scored(cells: ScoreCells, absent: _Codes) -> list[Finding]:
    assessor, sitting, prototype = absent

    def place(case: int) -> str:
        return f"scores: {told_turn(cells, assessor[case], sitting[case])}, {cells.prototype.of[prototype[case]]}"

    findings = []
    for where, cases in gathered(assessor, place):
        what = listed(cells.prototype.told(prototype[cases]))
        message = f"{counted(len(cases), 'sample')} of {what} should have been scored and have no scores at all."
        findings.append(Finding("note", "sample_not_scored", where, message, f"Look for the ballot. {_KEPT}"))
    return findings


def _attributes_left_out(cells: ScoreCells, samples: _Codes) -> list[Finding]:
    """Return attributes without a row in a sample, where most others who scored that sample have one."""
    entries = distinct(cells.assessor.code, cells.sitting.code, cells.prototype.code, cells.attribute.code)
    *usual_sample, usual_attribute = common(entries[1:3], entries[3], samples[1:])
    number = len(usual_attribute)
    kind, _ = grouped(*_join(tuple(usual_sample), samples[1:]))
    of_sample, of_usual = matched(kind[number:], kind[:number])
    expected = (*(code[of_sample] for code in samples), usual_attribute[of_usual])
    assessor, sitting, prototype, attribute = _without(expected, entries)

    def place(case: int) -> str:
        turn = told_turn(cells, assessor[case], sitting[case])
        return f"scores: {turn}, {cells.prototype.of[prototype[case]]}, {cells.attribute.of[attribute[case]]}"

    findings = []
    for where, cases in gathered(assessor, place):
        what = listed(cells.attribute.told(attribute[cases]))
        message = f"{counted(len(cases), 'score')} of {what} missing from samples that were otherwise scored."
        findings.append(Finding("note", "attribute_left_out", where, message, f"Look at the ballot. {_KEPT}"))
    return findings


def _never_scored(study: Study, cells: ScoreCells) -> list[Finding]:
    """Return prototypes and attributes that are listed but have no score at all."""
    scored = np.isfinite(cells.score)
    findings = []
    for table, names in (("prototypes", cells.prototype), ("attributes", cells.attribute)):
        noun = table[:-1]
        with_score = {"", *names.told(np.unique(names.code[scored]))}
        known = study.table(table)[noun].unique().tolist() if table in study.tables else []
        without = [name for name in known if name not in with_score]
        if without:
            message = f"No scores for {counted(len(without), noun)} of the study: {listed(without, _MOST_LISTED)}."
            advice = (
                f"Nothing can be said about it. Score it, or take it out of {table} if it is not part of the study."
            )
            findings.append(Finding("note", f"{noun}_not_scored", table, message, advice))
    return findings


def _pairs_never_scored(cells: ScoreCells) -> list[Finding]:
    """Return attributes on which some prototype has no score, although it has scores elsewhere."""
    rows = np.flatnonzero(np.isfinite(cells.score))
    prototype, attribute = cells.prototype.code[rows], cells.attribute.code[rows]
    _, first = grouped(prototype, attribute)
    scored = np.unique(prototype)
    having = np.bincount(attribute[first], minlength=len(cells.attribute))
    short = np.flatnonzero((having > 0) & (having < len(scored)))
    findings = []
    for where, cases in gathered(short, lambda case: f"scores, attribute {cells.attribute.of[short[case]]}"):
        attributes = short[cases]
        have = prototype[first][attribute[first] == attributes[0]]
        lacking = listed(list(cells.prototype.of[np.setdiff1d(scored, have)]), _MOST_LISTED)
        message = f"No score at all for {lacking}."
        if len(cases) > 1:
            message = (
                f"{len(cases):,} attributes lack some prototypes; {cells.attribute.of[attributes[0]]} lacks {lacking}."
            )
        advice = "On this attribute the prototype cannot be compared, and the map leaves one of the two out."
        findings.append(Finding("warning", "prototype_never_scored", where, message, advice))
    return findings


def _unequal_samples(cells: ScoreCells, samples: _Codes, absent: _Codes, planned: _Codes) -> list[Finding]:
    """Return whether the prototypes were meant to be tried equally often; single losses are told elsewhere."""
    keys = (cells.assessor, cells.sitting, cells.replicate, cells.prototype)
    rows = np.flatnonzero(~cells.sitting.blank) if len(cells.sitting) > 1 else np.arange(len(cells.line))
    *_, tried, _ = distinct(*(names.code[rows] for names in keys), or_none(cells.position[rows]))
    not_tried = _join(absent, _without(planned, _join(samples, absent)))[2]
    counts = np.bincount(np.concatenate([tried, not_tried]), minlength=len(cells.prototype))
    if counts.min() == counts.max():
        return []
    order = np.argsort(counts, kind="stable")
    shown = listed([f"{cells.prototype.of[code]} {counts[code]}" for code in order], _MOST_LISTED)
    message = f"The prototypes were not tried equally often; samples: {shown}."
    advice = "Those tried more often are known better. Every interval says how well; compare intervals, not only means."
    return [Finding("note", "unequal_replicates", "scores", message, advice)]
