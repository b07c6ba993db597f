"""May anybody apply a batch yet? The gate opens when named persons have signed every item; nothing here signs."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from panel.errors import StudyError
from panel.plan.moments import moment, same_day_or_before
from panel.plan.reactions import unsettled_reactions
from panel.study.knowledge import cautions
from panel.study.plan_knowledge import safety_items
from panel.study.study import Study

SIGN_OFF_COLUMNS = ("item", "batch", "outcome", "who", "role", "date", "document", "valid_until", "note")
OUTCOMES = ("signed", "not needed", "withdrawn")
RED, AMBER, GREEN = "red", "amber", "green"

_Entry = Mapping[Hashable, Any]

_METHOD = (
    "Every item of the checklist needs a named person, a date and a document; the last entry of an item counts, one "
    "for a batch before one for the study. Red: something that is always needed is missing, withdrawn or out of date, "
    "or a reaction is not settled. Amber: what is always needed is there, but an item that a named person may declare "
    "not needed is still open. The gate is open only on green. It records sign-offs and gives none."
)


@dataclass(frozen=True, eq=False, slots=True)
class SafetyGate:
    """Which batches may be applied, and what is missing for the others.

    Parameters
    ----------
    batches
        `batch prototype state open missing frozen`: state red, amber or green; open True on green only; how many items
        are missing; the reaction that freezes the batch, empty if none does.
    items
        `batch item words scope needed outcome who role date document reason`: one row for each batch and item;
        `reason` says why an item does not count yet, empty if it does.
    notes
        What must be read beside it; the first says what this record cannot replace.
    """

    batches: pd.DataFrame
    items: pd.DataFrame
    method: str
    notes: tuple[str, ...]

    def is_open(self, batch: str) -> bool:
        """Return True if the gate is open for a batch; False also for a batch that is not known."""
        rows = self.batches.loc[self.batches["batch"] == batch, "open"]
        return bool(len(rows) and rows.iloc[0])


def no_sign_offs() -> pd.DataFrame:
    """Return the table of sign-offs before there is one."""
    return pd.DataFrame({name: pd.Series(dtype="str") for name in SIGN_OFF_COLUMNS})


def sign_offs(study: Study) -> pd.DataFrame:
    """Return the sign-offs of a study, with all their columns."""
    found = study.tables.get("safety")
    return no_sign_offs() if found is None else found.reindex(columns=list(SIGN_OFF_COLUMNS), fill_value="")


def record_sign_off(
    signed: pd.DataFrame,
    item: str,
    *,
    who: str,
    role: str,
    date: str,
    document: str,
    batch: str = "",
    outcome: str = "signed",
    valid_until: str = "",
    note: str = "",
) -> pd.DataFrame:
    """Return the sign-offs with one more; those before stay, the last one of an item counts.

    Parameters
    ----------
    signed
        The sign-offs so far.
    item
        One of the checklist.
    who, role
        The person who signed, and what qualifies her for it.
    date
        When it was signed.
    document
        Where the signed document is found. For `not needed` and `withdrawn` the `note` with the reason is enough.
    batch
        The batch it is about; empty for all batches of the study.
    outcome
        `signed`, `not needed` or `withdrawn`.

    Raises
    ------
    StudyError
        If the item is unknown, person, date, document or reason is missing, or the item cannot be declared unneeded.
    """
    items = safety_items().set_index("item")
    if item not in items.index:
        raise StudyError(f"The checklist has no item {item!r}. Items are: {', '.join(items.index)}.")
    if outcome not in OUTCOMES:
        raise StudyError(f"The outcome {outcome!r} is not known. Write one of: {', '.join(OUTCOMES)}.")
    if not (who.strip() and role.strip() and date.strip()):
        raise StudyError(f"{item}: a sign-off needs a named person, her role and a date. Give all three.")
    moment(date, f"The date of {item}")
    if valid_until:
        moment(valid_until, f"The end of validity of {item}")
    if outcome == "signed" and not document.strip():
        raise StudyError(f"{item}: a sign-off needs a reference to the signed document. Say where it is found.")
    if outcome != "signed" and not note.strip():
        raise StudyError(f"{item}: {outcome!r} needs a reason. Write it into the note.")
    if outcome == "not needed" and items.loc[item, "needed"] == "always":
        raise StudyError(f"{item} is always needed and cannot be declared unneeded. It has to be signed.")
    if items.loc[item, "scope"] == "batch" and not batch.strip():
        raise StudyError(f"{item} is signed batch by batch. Name the batch.")
    row = (item, batch, outcome, who, role, date, document, valid_until, note)
    added = pd.DataFrame([row], columns=list(SIGN_OFF_COLUMNS), dtype="str")
    return pd.concat([signed[list(SIGN_OFF_COLUMNS)], added], ignore_index=True)


def safety_gate(study: Study, on: str) -> SafetyGate:
    """Return for which batches the gate is open.

    Parameters
    ----------
    on
        The day, or moment, that counts: what is signed later or valid no longer does not.

    Raises
    ------
    StudyError
        If that day cannot be read; a sign-off whose date cannot be read does not count.
    """
    moment(on, "The day of the test")
    batches = study.table("batches").drop_duplicates("batch")
    batches = batches.loc[batches["batch"] != "", ["batch", "prototype"]]
    checklist, signed = safety_items(), sign_offs(study)
    frozen = unsettled_reactions(study)
    entries = signed.to_dict("records")
    rows = [
        {"batch": batch, **item, **_last(entries, item, batch, on)}
        for batch in batches["batch"]
        for item in checklist[["item", "words", "scope", "needed"]].to_dict("records")
    ]
    columns = ["batch", "item", "words", "scope", "needed", "outcome", "who", "role", "date", "document", "reason"]
    items = pd.DataFrame(rows, columns=columns, dtype="str")
    states = [_state(items.loc[items["batch"] == batch], frozen, batch) for batch in batches["batch"]]
    return SafetyGate(
        batches=batches.reset_index(drop=True).assign(
            state=pd.Series(states, dtype="str"),
            open=[state == GREEN for state in states],
            missing=[int((items.loc[items["batch"] == batch, "reason"] != "").sum()) for batch in batches["batch"]],
            frozen=pd.Series([_frozen_by(frozen, batch) for batch in batches["batch"]], dtype="str"),
        ),
        items=items,
        method=_METHOD,
        notes=(*_cautions(), *_notes(batches["batch"].tolist(), signed, checklist)),
    )


def _last(entries: Sequence[_Entry], item: _Entry, batch: str, on: str) -> dict[str, str]:
    """Return the entry that counts for an item and a batch, and why it does not count if so."""
    meant = (batch,) if item["scope"] == "batch" else ("", batch)
    about = [entry for entry in entries if entry["item"] == item["item"] and entry["batch"] in meant]
    known = [entry for entry in about if _counts(entry, on)]
    blank = dict.fromkeys(("outcome", "who", "role", "date", "document"), "")
    if not known:
        return blank | {"reason": "signed only later, or on a date that cannot be read" if about else "not signed"}
    row, of_batch = known[-1], [entry for entry in known if entry["batch"] == batch]
    # what was said of the batch holds, unless everything was withdrawn after it
    if of_batch and row["outcome"] != "withdrawn":
        row = of_batch[-1]
    return {name: str(row[name]) for name in blank} | {"reason": _reason(row, item, on)}


def _counts(entry: _Entry, on: str) -> bool:
    """Return True if an entry was made by then; a withdrawal counts also on a date that cannot be read."""
    try:
        return same_day_or_before(entry["date"], on, "A sign-off")
    except StudyError:
        return bool(entry["outcome"] == "withdrawn")


def _holds(limit: str, on: str) -> bool:
    try:
        return same_day_or_before(on, limit, "The end of validity")
    except StudyError:
        return False


def _reason(row: _Entry, item: _Entry, on: str) -> str:
    """Return why an entry does not count, empty if it does; a table written by hand is not trusted blindly."""
    if row["outcome"] == "withdrawn":
        return "withdrawn"
    if row["outcome"] == "not needed":
        return "" if item["needed"] != "always" and row["note"] else "cannot be declared unneeded"
    if row["outcome"] != "signed":
        return "outcome not understood"
    if not (row["who"] and row["document"]):
        return "no person or no document"
    if row["valid_until"] and not _holds(row["valid_until"], on):
        return "out of date"
    return ""


def _state(items: pd.DataFrame, frozen: pd.DataFrame, batch: str) -> str:
    missing = items.loc[items["reason"] != "", "needed"]
    if (missing == "always").any() or batch in set(frozen["batch"]):
        return RED
    return AMBER if len(missing) else GREEN


def _frozen_by(frozen: pd.DataFrame, batch: str) -> str:
    rows = frozen.loc[frozen["batch"] == batch].to_dict("records")
    return "; ".join(f"the reaction of {row['assessor'] or 'somebody'} on {row['when']} is not settled" for row in rows)


def _cautions() -> list[str]:
    """Return the usual cautions before anybody applies a sample; what the record cannot replace comes first."""
    known = cautions()
    shown = known["applies"].isin(["always", "before anybody applies a sample"])
    words = known.loc[shown].set_index("caution")["words"]
    return [str(words["record_only"]), *(str(text) for name, text in words.items() if name != "record_only")]


def _notes(batches: Sequence[str], signed: pd.DataFrame, checklist: pd.DataFrame) -> list[str]:
    notes = []
    strange = sorted(set(signed["item"]) - set(checklist["item"]))
    if strange:
        notes.append(f"Sign-offs for items that the checklist does not have do not count: {', '.join(strange)}.")
    elsewhere = sorted(set(signed["batch"]) - set(batches) - {""})
    if elsewhere:
        notes.append(f"Sign-offs name batches that are not in the table of batches: {', '.join(elsewhere)}.")
    if not batches:
        notes.append("No batches are recorded, so the gate is open for none. Fill in the table of batches.")
    return notes
