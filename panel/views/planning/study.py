"""What is in a study and how much of it to settle first, in plain sentences."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

import numpy as np
import pandas as pd

from panel.checks.finding import Finding, findings_table, read_dates
from panel.checks.moments_recorded import batches_tested
from panel.study.formulas import emollient_percents, formula_percents
from panel.study.naming import Naming
from panel.study.scores_used import scores_used
from panel.study.shown import ASSESSOR, ATTRIBUTE, PROTOTYPE, SCALE, Column, Table, each_row, number, shown, text
from panel.study.study import Study, is_rehearsed
from panel.words import NOTHING, counted, format_change, format_list, format_number, when_words

_REHEARSED = "Rehearsed data, drawn by a program: no evidence of anything"
_INVENTED = "Invented data, for trying things out: no evidence of anything"


def mark(study: Study) -> str:
    """Return the words that stand on every page of a study that is not real; empty for a real one."""
    return _REHEARSED if is_rehearsed(study) else _INVENTED if study.facts.get("invented") else ""


def what_is_in_the_study(study: Study) -> str:
    """Return the counts in one or two sentences; what is not there is left out."""
    scores, answers = study.scores, study.table("answers")
    trained = [counted(len(study.prototypes), "prototype")]
    if study.attributes:
        trained.append(counted(len(study.attributes), "attribute"))
    if scores["assessor"].any():
        trained.append(counted(scores["assessor"].nunique(), "assessor"))
    if sessions := len(set(scores["session"]) - {""}):
        trained.append(counted(sessions, "session"))
    if given := int(scores["score"].notna().sum()):
        aside = len(scores_used(study).set_aside)
        trained.append(counted(given, "score") + f" ({aside:,} of them set aside)" * bool(aside))
    sentences = [f"{format_list(trained)}."]
    if len(answers):
        people = counted(answers["assessor"].nunique(), "consumer")
        sentences.append(f"{people} gave {counted(len(answers), 'answer')}; they are kept apart from the scores.")
    if not given:
        sentences.append("There are no scores yet: import a table of scores.")
    return " ".join(sentences)


def what_the_findings_say(findings: Iterable[Finding]) -> str:
    """Return how many findings there are of each severity, and what that means for the results."""
    number = Counter(finding.severity for finding in findings)
    if not number:
        return "Nothing was found that could mislead the results."
    parts = []
    if number["stop"]:
        parts.append(f"{counted(number['stop'], 'problem')} must be settled before the results mean anything")
    if number["warning"]:
        parts.append(f"{counted(number['warning'], 'warning')} may mislead the results")
    if number["note"]:
        parts.append(f"{counted(number['note'], 'thing')} {'is' if number['note'] == 1 else 'are'} good to know")
    return f"{format_list(parts)}."


_TOTAL, _EMOLLIENTS = "Total", "All emollients"
_PERCENT = "per cent by mass"


FINDINGS = Table(
    "findings",
    "Findings",
    findings_table,
    (
        text(
            "How grave", "severity", {"stop": "Stop: settle this first", "warning": "Warning", "note": "Good to know"}
        ),
        *(text("Where", "where"), text("What", "message"), text("What to do", "advice")),
    ),
)


def formulas_table(study: Study) -> pd.DataFrame:
    """Return one row per ingredient and one column per prototype, per cent by mass; sums at the end."""
    emollients, percent = emollient_percents(study), formula_percents(study).T
    sums = pd.DataFrame({_EMOLLIENTS: emollients.sum(axis=1, skipna=False), _TOTAL: percent.sum(skipna=False)}).T
    kinds = ["emollient" if name in emollients else "" for name in percent.index]
    columns = {
        name: [*map(_amount, percent[name]), *(format_number(total, 2) for total in sums[name])]
        for name in percent.columns
    }
    names = [*percent.index, _EMOLLIENTS, _TOTAL]
    return pd.DataFrame({f"Ingredient ({_PERCENT})": names, "Kind": [*kinds, "", ""], **columns}, dtype="str")


def formula_difference_table(difference: pd.DataFrame, prototype: str, versus: str) -> pd.DataFrame:
    """Return one row per ingredient whose amount differs: both amounts and the change, per cent by mass."""
    return pd.DataFrame(
        {
            f"Ingredient ({_PERCENT})": list(difference["ingredient"]),
            versus: [_amount(value) for value in difference["percent_versus"]],
            prototype: [_amount(value) for value in difference["percent"]],
            "Change": [format_change(value, 2) for value in difference["change"]],
        },
        dtype="str",
    )


_FULL_MINUTE = re.compile(r"(\d\d:\d\d):00$")


def _moment(heading: str, name: str) -> Column:
    """Describe a column of moments as people write them, without the seconds of a full minute."""
    return each_row(heading, lambda row, _: _FULL_MINUTE.sub(r"\1", when_words(row[name])) or NOTHING, name)


BATCHES = Table(
    "batches",
    "Batches",
    lambda study: batches_tested(study).pipe(lambda rows: rows.assign(age=_ages(rows))),
    (
        *(text("Batch", "batch"), PROTOTYPE, _moment("Made", "made_on"), _moment("Tested", "tested_on")),
        *(text("Age at test", "age"), number("pH", "ph", 2), number("Viscosity (mPa s)", "viscosity_mpa_s", 0)),
        each_row("Note", lambda row, _: row["note"], "note"),
    ),
    key=("batch",),
)
"""Batches of a study: made, tested (or first scored), age, pH, viscosity."""
CHANGED_SCORES = Table(
    "changed_scores",
    "Scores set aside or corrected, and why",
    lambda used: pd.concat(
        [used.set_aside.assign(what="set aside"), used.corrected.assign(what="corrected")], ignore_index=True
    ),
    (
        *(ASSESSOR, text("Session", "session"), PROTOTYPE, ATTRIBUTE, number("Score as it came in", "score", SCALE)),
        *(text("What happened", "what"), text("Why", "why")),
    ),
)


def _amount(percent: float) -> str:
    """Return an amount as it was written; nothing where the ingredient is absent."""
    if np.isnan(percent):
        return "not given"
    return f"{percent:g}" if percent else NOTHING


def _ages(batches: pd.DataFrame) -> list[str]:
    """Return ages in hours up to three days, else in days; in whole days where a time of day is missing."""
    made, tested = read_dates(batches["made_on"]), read_dates(batches["tested_on"])
    by_the_clock = made.has_time & tested.has_time
    hours = np.where(by_the_clock, tested.values - made.values, tested.days - made.days) / np.timedelta64(1, "h")
    return [_age(float(age), bool(clock)) for age, clock in zip(hours, by_the_clock, strict=True)]


def _age(hours: float, by_the_clock: bool) -> str:
    if np.isnan(hours):
        return "not known"
    if by_the_clock and abs(hours) <= 72:
        return f"{format_number(hours, 0)} h"
    return counted(round(hours / 24), "day")


def what_changed(rows: pd.DataFrame) -> str:
    """Return how many changes there are, and the last of them.

    A row is a row of the study that changed, the last first: `change when who what table key before after`.
    """
    if rows.empty:
        return "Nothing was changed since the study was made."
    last = shown(HISTORY, rows, Naming()).iloc[0]
    when = f" on {last['When']}" if last["When"] != NOTHING else ""
    who = f" by {last['Who']}" if last["Who"] != NOTHING else ""
    return f"{counted(rows['change'].nunique(), 'change')}; the last{when}{who}: {last['What'].rstrip('.')}."


def _changes(rows: pd.DataFrame) -> pd.DataFrame:
    """Return one row for each change: the first of its rows, and how many rows of which tables."""
    grouped = rows.groupby("change", sort=False)
    tables = [
        ", ".join(f"{name} {count}" for name, count in own.loc[own != ""].value_counts(sort=False).items())
        for _, own in grouped["table"]
    ]
    return grouped.head(1).assign(rows=tables)


def _cells(row: str) -> str:
    """Return cells of a row as people call them: `made on: 2025-03-10` where it says `made_on=2025-03-10`."""
    return re.sub(r"(?:(?<=; )|^)(\w+)=", lambda found: f"{found[1].replace('_', ' ')}: ", row)


_CHANGE = each_row("Change", lambda row, _: str(row["change"]), "change")
HISTORY = Table(
    "history",
    "Changes of this study, the last first",
    _changes,
    (
        *(_CHANGE, each_row("When", lambda row, _: _local(str(row["when"])), "when"), text("Who", "who")),
        *(text("What", "what"), text("Rows", "rows")),
    ),
)
CHANGED_ROWS = Table(
    "history_rows",
    "Rows before and after each change",
    lambda rows: rows.loc[(rows["table"] != "") | (rows["key"] != "")],
    (
        *(_CHANGE, text("Table", "table"), each_row("Row", lambda row, _: _cells(row["key"]), "key")),
        each_row("Before", lambda row, _: _cells(row["before"]) or "nothing"),
        each_row("After", lambda row, _: _cells(row["after"]) or "nothing"),
    ),
)


def what_was_removed(taken_out: Mapping[str, int], files: Sequence[str]) -> list[str]:
    """Return what was taken out of a study with one person, and what still holds something about that person."""
    rows = ", ".join(f"{name} {count}" for name, count in taken_out.items())
    lines = [f"The data of one person were removed; rows taken out: {rows}. The journal begins anew."]
    if files:
        lines.append(f"Taken out whole, because they name the person: {format_list(files)}.")
    return [
        *lines,
        "The record of ballots (ballots.sqlite) is never changed: delete it once all sessions are locked.",
        "Copies, archives and evidence files made before still hold the data. Look for them too.",
    ]


def _local(moment: str) -> str:
    """Return a moment of the journal as the clock on the wall shows it; what is no moment as it stands."""
    try:
        return f"{datetime.fromisoformat(moment).astimezone():%Y-%m-%d %H:%M}"
    except ValueError:
        return moment or NOTHING
