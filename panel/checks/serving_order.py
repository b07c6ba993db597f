"""Do the scores agree with the servings: the right prototype, in the right session, at the right position?"""

from __future__ import annotations

import numpy as np

from panel.checks.codes import among, distinct, grouped, or_none
from panel.checks.finding import Finding
from panel.checks.places import counted, gathered, told
from panel.checks.score_cells import ScoreCells
from panel.study.study import Study


def serving_order(study: Study, cells: ScoreCells) -> list[Finding]:
    """Return samples that were scored but not served, or served at another position; none without servings."""
    if "servings" not in study.tables or cells.sitting_word != "session":
        return []
    servings = study.table("servings")
    served = tuple(
        names.codes_of(servings[column])
        for names, column in ((cells.assessor, "assessor"), (cells.sitting, "session"), (cells.prototype, "prototype"))
    )
    known = np.logical_and.reduce([code >= 0 for code in served])
    position = servings["position"].to_numpy(dtype=float)
    turns = distinct(*(code[(served[0] >= 0) & (served[1] >= 0)] for code in served[:2]))
    served, position = tuple(code[known] for code in served), position[known]
    scored, rows = _samples(cells)
    planned, right = among(scored[:2], turns), among(scored, served)
    both = or_none(np.concatenate([position, cells.position[rows]]))
    in_place = among((*scored, both[len(position) :]), (*served, both[: len(position)]))
    elsewhere = right & ~in_place & np.isfinite(cells.position[rows])
    return [
        *_session_not_planned(cells, rows[_once(~planned & ~cells.sitting.blank[rows], scored[:2])]),
        *_not_served(cells, rows[_once(planned & ~right, scored)]),
        *_other_position(cells, rows[elsewhere], tuple(code[elsewhere] for code in scored), served, position),
    ]


def _samples(cells: ScoreCells) -> tuple[tuple[np.ndarray, ...], np.ndarray]:
    """Return assessor, session and prototype of every sample and position, and the first score of each."""
    codes = (cells.assessor.code, cells.sitting.code, cells.prototype.code)
    _, first = grouped(*codes, or_none(cells.position))
    return tuple(code[first] for code in codes), first


def _once(chosen: np.ndarray, codes: tuple[np.ndarray, ...]) -> np.ndarray:
    """Return the chosen rows, but only the first of those that are equal in the codes."""
    rows = np.flatnonzero(chosen)
    _, first = grouped(*(code[rows] for code in codes))
    return rows[first]


def _session_not_planned(cells: ScoreCells, rows: np.ndarray) -> list[Finding]:
    findings = []
    for where, cases in gathered(cells.assessor.code[rows], lambda case: f"scores: {cells.turn(rows[case])}"):
        message = f"{counted(len(cases), 'sitting')} with scores but without servings."
        advice = "Correct the session or the assessor, or add the servings, so that order and codes can be checked."
        findings.append(Finding("warning", "session_not_served", where, message, advice))
    return findings


def _not_served(cells: ScoreCells, rows: np.ndarray) -> list[Finding]:
    findings = []
    for where, cases in gathered(cells.assessor.code[rows], lambda case: f"scores: {cells.sample(rows[case])}"):
        message = f"{counted(len(cases), 'sample')} with scores that the servings do not hold."
        advice = "Check the code on the ballot against the servings: the scores may belong to another prototype."
        findings.append(Finding("warning", "sample_not_served", where, message, advice))
    return findings


def _other_position(
    cells: ScoreCells,
    rows: np.ndarray,
    samples: tuple[np.ndarray, ...],
    served: tuple[np.ndarray, ...],
    position: np.ndarray,
) -> list[Finding]:
    findings = []
    for where, cases in gathered(cells.assessor.code[rows], lambda case: f"scores: {cells.sample(rows[case])}"):
        first = int(cases[0])
        same = np.logical_and.reduce([code == sample[first] for code, sample in zip(served, samples, strict=True)])
        given, planned = told(float(cells.position[rows[first]])), told(float(position[same][0]))
        message = f"Scored at position {given}, served at position {planned}."
        if len(cases) > 1:
            message = f"{counted(len(cases), 'sample')} at another position than served. The first: {message.lower()}"
        advice = "Check the ballots: samples may have been exchanged, or the order was changed and not written down."
        findings.append(Finding("warning", "position_differs_from_serving", where, message, advice))
    return findings
