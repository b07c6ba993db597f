"""What is in a study and how much of it to settle first, in plain sentences."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from datetime import datetime

import numpy as np
import pandas as pd

from panel.checks.finding import Finding, findings_table, read_dates
from panel.checks.moments_recorded import batches_tested
from panel.study.formulas import all_formulas
from panel.study.naming import Naming
from panel.study.people import Removed
from panel.study.study import Study, is_rehearsed
from panel.words import NOTHING, counted, format_change, format_list, format_number

REHEARSED = "Rehearsed data, drawn by a program: no evidence of anything"
_INVENTED = "Invented data, for trying things out: no evidence of anything"


def mark(study: Study) -> str:
    """Return the words that stand on every page of a study that is not real; empty for a real one."""
    return REHEARSED if is_rehearsed(study) else _INVENTED if study.facts.get("invented") else ""


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
        trained.append(counted(given, "score"))
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


# Findings, formulas, batches and changed scores of a study as tables a person reads.


_TOTAL, _EMOLLIENTS = "Total", "All emollients"
_PERCENT = "per cent by mass"


def finding_table(findings: Iterable[Finding]) -> pd.DataFrame:
    """Return one row per finding, the gravest first: how grave, where, what is wrong, what to do."""
    frame = findings_table(findings)
    grave = {"stop": "Stop: settle this first", "warning": "Warning", "note": "Good to know"}
    return pd.DataFrame(
        {
            "How grave": [grave[severity] for severity in frame["severity"]],
            "Where": list(frame["where"]),
            "What": list(frame["message"]),
            "What to do": list(frame["advice"]),
        },
        dtype="str",
    )


def formulas_table(study: Study) -> pd.DataFrame:
    """Return one row per ingredient and one column per prototype, per cent by mass; sums at the end."""
    formulas = all_formulas(study)
    percent = formulas.percent.T
    sums = pd.DataFrame(
        {
            _EMOLLIENTS: formulas.emollient_percent.sum(axis=1, skipna=False),
            _TOTAL: formulas.percent.sum(axis=1, skipna=False),
        }
    ).T
    kinds = ["emollient" if name in formulas.emollients else "" for name in percent.index]
    columns = {name: [*map(_amount, percent[name]), *map(_sum, sums[name])] for name in percent.columns}
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


def batches_table(study: Study) -> pd.DataFrame:
    """Return one row per batch: when it was made and tested (or first scored), its age, pH, viscosity, note."""
    batches = batches_tested(study)
    return pd.DataFrame(
        {
            "Batch": list(batches["batch"]),
            "Prototype": list(batches["prototype"]),
            "Made": _moments(batches["made_on"]),
            "Tested": _moments(batches["tested_on"]),
            "Age at test": _ages(batches),
            "pH": [format_number(value, 2) for value in batches["ph"]],
            "Viscosity (mPa s)": [format_number(value, 0) for value in batches["viscosity_mpa_s"]],
            "Note": list(batches["note"]),
        },
        dtype="str",
    )


def changed_scores_table(set_aside: pd.DataFrame, corrected: pd.DataFrame, names: Naming) -> pd.DataFrame:
    """Return one row per score that was set aside or corrected: where, the score as it came in, and why."""
    both = pd.concat([set_aside.assign(what="set aside"), corrected.assign(what="corrected")], ignore_index=True)
    return pd.DataFrame(
        {
            "Assessor": list(both["assessor"]),
            "Session": [text or NOTHING for text in both["session"]],
            "Prototype": list(both["prototype"]),
            "Attribute": [names.attribute(str(name)) for name in both["attribute"]],
            "Score as it came in": [format_number(value, names.digits) for value in both["score"]],
            "What happened": list(both["what"]),
            "Why": list(both["why"]),
        },
        dtype="str",
    )


def _amount(percent: float) -> str:
    """Return an amount as it was written; nothing where the ingredient is absent."""
    if np.isnan(percent):
        return "not given"
    return f"{percent:g}" if percent else NOTHING


def _sum(percent: float) -> str:
    return format_number(percent, 2)


def _moments(text: pd.Series) -> list[str]:
    return [cell.replace("T", " ").removesuffix(":00") if cell else NOTHING for cell in text]


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


# Who changed what, and when: the journal of a study folder in words.


def what_changed(rows: pd.DataFrame) -> str:
    """Return how many changes there are, and the last of them.

    Parameters
    ----------
    rows
        `change when who what table key before after`, one row for each row of the study that changed, the last first.
    """
    if rows.empty:
        return "Nothing was changed since the study was made."
    last = history_table(rows).iloc[0]
    when = f" on {last['When']}" if last["When"] != NOTHING else ""
    who = f" by {last['Who']}" if last["Who"] != NOTHING else ""
    return f"{counted(rows['change'].nunique(), 'change')}; the last{when}{who}: {last['What'].rstrip('.')}."


def history_table(rows: pd.DataFrame) -> pd.DataFrame:
    """Return one row for each change: its number, when, who, what, and how many rows of which tables."""
    shown = []
    for number, together in rows.groupby("change", sort=False):
        first = together.iloc[0]
        tables = together.loc[together["table"] != "", "table"].value_counts(sort=False)
        told = ", ".join(f"{table} {count}" for table, count in tables.items())
        when = _local(str(first["when"]))
        shown.append((f"{number}", when, first["who"] or NOTHING, first["what"] or NOTHING, told or NOTHING))
    return pd.DataFrame(shown, columns=["Change", "When", "Who", "What", "Rows"], dtype="str")


def changed_rows_table(rows: pd.DataFrame) -> pd.DataFrame:
    """Return what stood in each row before a change and after it."""
    listed = rows.loc[(rows["table"] != "") | (rows["key"] != "")]
    return pd.DataFrame(
        {
            "Change": [f"{number}" for number in listed["change"]],
            "Table": [text or NOTHING for text in listed["table"]],
            "Row": list(listed["key"]),
            "Before": [text or "nothing" for text in listed["before"]],
            "After": [text or "nothing" for text in listed["after"]],
        },
        dtype="str",
    )


def what_was_removed(removed: Removed) -> list[str]:
    """Return what was taken out of a study with one person, and what still holds something about that person."""
    rows = ", ".join(f"{name} {count}" for name, count in removed.rows.items())
    lines = [f"The data of one person were removed; rows taken out: {rows}. The journal begins anew."]
    if removed.files:
        lines.append(f"Taken out whole, because they name the person: {format_list(removed.files)}.")
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
