"""Can the times of the scores be true: nothing scored before it was made, sessions in their order?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from panel.checks.codes import grouped
from panel.checks.dates import WIDEST_OFFSET, Dates, read_dates, told_date
from panel.checks.finding import Finding
from panel.checks.places import counted, gathered, listed
from panel.checks.score_cells import ScoreCells
from panel.study.study import Study


def score_times(study: Study, cells: ScoreCells) -> list[Finding]:
    """Return scores whose time of entry cannot be true; none where no times were recorded."""
    recorded = read_dates(cells.recorded_at)
    if np.isnat(recorded.values).all():
        return []
    return [*_before_making(study, cells, recorded), *_sessions_out_of_order(cells, recorded)]


def _before_making(study: Study, cells: ScoreCells, recorded: Dates) -> list[Finding]:
    """Return the batches that have scores from before they were made."""
    batches = study.table("batches").drop_duplicates("batch")
    made = read_dates(batches["made_on"])
    batch = batch_rows(batches, cells)
    rows = np.flatnonzero((batch >= 0) & ~np.isnat(recorded.values))
    of = batch[rows]
    # A time written with its distance from UTC and one without may come from clocks that differ.
    slack = np.where(recorded.has_offset[rows] != made.has_offset[of], WIDEST_OFFSET, np.timedelta64(0, "s"))
    earliest = np.where(recorded.has_time[rows], recorded.values[rows], recorded.values[rows] + np.timedelta64(1, "D"))
    early = rows[earliest + slack < made.values[of]]
    code, names = batch[early], batches["batch"].tolist()
    found = code[np.sort(np.unique(code, return_index=True)[1])]
    findings = []
    for where, cases in gathered(np.arange(len(found)), lambda case: f"scores, batch {names[found[case]]}"):
        concerned = early[np.isin(code, found[cases])]
        row = concerned[np.argmin(recorded.values[concerned])]
        score_time = told_date(recorded.values[row], with_time=bool(recorded.has_time[row]))
        making = told_date(made.values[batch[row]], with_time=bool(made.has_time[batch[row]]))
        message = (
            f"{counted(len(concerned), 'score')} recorded before the batch was made: the first on {score_time} "
            f"(row {cells.line[row]}), made on {making}."
        )
        advice = "Correct made_on, the batch of the scores, or the clock of the device that recorded them."
        findings.append(Finding("warning", "scored_before_made", where, message, advice))
    return findings


def batch_rows(batches: pd.DataFrame, cells: ScoreCells) -> np.ndarray:
    """Return for each score the row of its batch; -1 where it names none and its prototype has not just one."""
    named = pd.Index(batches["batch"]).get_indexer(pd.Index(cells.batch))
    single = batches.reset_index(drop=True).drop_duplicates("prototype", keep=False)["prototype"]
    by_prototype = np.full(len(cells.prototype), -1)
    at = cells.prototype.of.get_indexer(pd.Index(single))
    by_prototype[at[at >= 0]] = single.index.to_numpy()[at >= 0]
    return np.where((cells.batch == "").to_numpy(dtype=bool), by_prototype[cells.prototype.code], named)


def _sessions_out_of_order(cells: ScoreCells, recorded: Dates) -> list[Finding]:
    """Return who has a session begun before the end of one with a lower number; only numbered sessions can tell."""
    number = pd.to_numeric(pd.Series(cells.sitting.of), errors="coerce").to_numpy(dtype=float)[cells.sitting.code]
    rows = np.flatnonzero(np.isfinite(number) & ~np.isnat(recorded.values))
    if not len(rows):
        return []
    group, first = grouped(cells.assessor.code[rows], cells.sitting.code[rows])
    order = np.argsort(group, kind="stable")
    starts = np.searchsorted(group[order], np.arange(len(first)))
    moments = recorded.values[rows][order].astype(np.int64)
    moments -= moments.min()
    turn = rows[first]
    in_order = np.lexsort((number[turn], cells.assessor.code[turn]))
    turn, assessor = turn[in_order], cells.assessor.code[turn][in_order]
    # every assessor's times lie after those of the one before, so that one running maximum serves all of them
    shift = assessor * (moments.max() + 1)
    begun = np.minimum.reduceat(moments, starts)[in_order] + shift
    ended = np.maximum.accumulate(np.maximum.reduceat(moments, starts)[in_order] + shift)
    same_person = assessor[1:] == assessor[:-1]
    found = turn[1:][same_person & (begun[1:] < ended[:-1])]
    findings = []
    for where, cases in gathered(cells.assessor.code[found], lambda case: f"scores: {cells.turn(found[case])}"):
        who = listed(list(dict.fromkeys(cells.assessor.of[cells.assessor.code[found[cases]]])))
        message = f"By the recorded times this session of {who} began before an earlier one had ended."
        if len(cases) > 1:
            message = f"By the recorded times {len(cases):,} sessions began before an earlier one had ended ({who})."
        advice = "Check the session numbers of these scores, or the clock of the device that recorded them."
        findings.append(Finding("warning", "sessions_out_of_order", where, message, advice))
    return findings
