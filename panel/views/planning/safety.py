"""What is missing before the ballots may open, who must sign it, and how far the ballots have come."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from panel.plan.safety import GREEN, SafetyGate
from panel.study.knowledge import shared_table
from panel.study.naming import Naming
from panel.study.shown import (
    ASSESSOR,
    PROTOTYPE,
    Shown,
    Table,
    count,
    each_row,
    literal,
    number,
    of_those,
    text,
    yes_no,
)
from panel.views.planning.plan import tray_figure
from panel.views.told import Picture, Told, drawer
from panel.words import NOTHING, all_of, counted, first_few, format_list, format_number

_NAMED = 6
_DAY, _IN_DAYS = 24, 96  # hours
_STATES = {"red": "closed", "amber": "closed: something is open", "green": "open"}


def _missing(gate: SafetyGate) -> pd.DataFrame:
    """Return one row per item that is missing somewhere: `words signed_by reasons batches`."""
    rows = gate.items.loc[gate.items["reason"] != ""]
    signed_by = dict(shared_table("safety_gate")[["item", "signed_by"]].itertuples(index=False, name=None))
    found = [
        (
            part["words"].iloc[0],
            signed_by.get(str(item), ""),
            format_list(sorted(set(part["reason"]))),
            _batches(list(dict.fromkeys(part["batch"])), len(gate.batches)),
        )
        for item, part in rows.groupby("item", sort=False)
    ]
    return pd.DataFrame(found, columns=["words", "signed_by", "reasons", "batches"], dtype="str")


MISSING = Table(
    name="missing",
    title="What is missing, and who must sign it",
    rows=_missing,
    columns=(
        *(text("Item", "words"), text("Who must sign", "signed_by"), text("Why it does not count yet", "reasons")),
        text("For", "batches"),
    ),
    none="Nothing is missing.",
)
GATE = Table(
    name="gate",
    title="The safety gate of each batch",
    rows="batches",
    columns=(
        *(text("Batch", "batch"), PROTOTYPE, text("Safety gate", "state", _STATES), count("Items missing", "missing")),
        text("Frozen because", "frozen"),
    ),
    key=("batch",),
)
_READY = Table(
    name="ready",
    title="Ready: old enough, measured, and cleared",
    rows=lambda batches: batches,
    columns=(
        *(PROTOTYPE, text("Batch", "batch")),
        each_row("Age at least", lambda row, _: _age(row["age_hours"]), "age_hours", figure=True),
        *(number("pH", "ph", 2), number("Viscosity (mPa s)", "viscosity_mpa_s", 0), yes_no("Ready", "ready")),
        text("What is missing", "missing"),
    ),
)
REACTIONS = Table(
    name="reactions",
    title="Adverse reactions on record",
    rows=lambda entries: entries,
    columns=(
        *(text("Reaction", "reaction"), text("When", "when"), text("Assessor", "assessor")),
        each_row("Batch; prototype", lambda row, _: _both(row["batch"], row["prototype"])),
        *(text("Signs", "signs"), text("How grave", "severity"), text("What was done", "action")),
        each_row("Seen by; written by", lambda row, _: _both(row["seen_by"], row["who"])),
        text("Settled", "settled"),
    ),
)
PROTOCOL = Table(
    name="protocol",
    title="How every sample was applied",
    rows="items",
    columns=(
        text("Item", "words"),
        each_row("Here", lambda row, _: str(row["value"]) or "not stated", "value"),
        each_row("Usual for a cream on forearm or hand", lambda row, _: "" if row["value"] else _usual(row), "usual"),
    ),
)


def _usual(row: Mapping[str, Any]) -> str:
    return f"{row['usual']} ({'; '.join(filter(None, (row['basis'], row['source'])))})"


def checklist(batch: str) -> Table:
    """Return the table of what is signed for a batch: who, when, in which document, or what is missing."""
    return Table(
        name=f"checklist_{batch}",
        title=f"What is signed for batch {literal(batch)}",
        rows=lambda gate: gate.items.loc[gate.items["batch"] == batch].reset_index(drop=True),
        columns=(
            text("Item", "words"),
            each_row("For", lambda row, _: f"batch {batch}" if row["scope"] == "batch" else "all batches"),
            each_row("State", lambda row, _: str(row["reason"] or row["outcome"])),
            each_row("By", _signed_by, "who", "role"),
            *(text("On", "date"), text("Document", "document")),
        ),
    )


def _signed_by(row: Mapping[str, Any], _: Shown) -> str:
    return f"{row['who']}, {row['role']}" if row["who"] and row["role"] else str(row["who"] or NOTHING)


def _age(hours: float) -> str:
    """Return an age in hours, from a few days on in whole days, rounded down."""
    if hours >= _IN_DAYS:
        return counted(int(hours // _DAY), "day")
    told = format_number(hours, 0)
    return told if told == NOTHING else f"{told} h"


def _both(one: str, other: str) -> str:
    return f"{one or NOTHING}; {other or NOTHING}"


def tell_gate(gate: SafetyGate, names: Naming, ready: pd.DataFrame | None = None, on: str = "") -> Told:
    """Tell whether the ballots may open, and what is missing and who must sign it where they may not.

    `ready` says which batches are old enough and measured on the day `on`.
    """
    frozen = gate.batches.loc[gate.batches["frozen"] != ""]
    own = replace(_READY, title=f"Ready on {literal(on)}: old enough, measured, and cleared")
    return Told(
        gate,
        names,
        _headline(gate),
        picture=_items_picture(gate),
        mind=tuple(f"{row['batch']} is frozen: {row['frozen']}." for row in frozen.to_dict("records")),
        table=MISSING,
        drawers=(
            drawer("What is missing, and who must sign it", *([MISSING] if len(_missing(gate)) else [])),
            drawer("Batch by batch", GATE),
            drawer("Ready to be served?", *([Shown(own, ready, names)] if ready is not None else [])),
        ),
        cannot=(),
    )


def _headline(gate: SafetyGate) -> str:
    batches = gate.batches
    if batches.empty:
        return "The ballots stay closed: no batches are written down. Fill in the table of batches first."
    shut = list(batches.loc[batches["state"] != GREEN, "batch"])
    if not shut:
        every = _batches(list(batches["batch"]), len(batches))
        return f"The ballots may open for {every}: a named person signed every item."
    missing = _missing(gate)
    who = list(dict.fromkeys(name.split(" or ")[0] for name in missing["signed_by"] if name))
    signatures = counted(len(missing), "item is not signed", "items are not signed")
    asked = f" (to be signed by: {first_few(who)})" if who else ""
    frozen = "; a reaction is not settled" if (batches["frozen"] != "").any() else ""
    reason = f"{signatures}{asked}" if len(missing) else ""
    return f"The ballots stay closed for {_batches(shut, len(batches))}: {reason}{frozen if reason else frozen[2:]}."


def _batches(names: list[str], number: int) -> str:
    if len(names) == number > 1:
        return all_of(number, "batch", "batches")
    return f"batch {names[0]}" if len(names) == 1 else f"batches {first_few(names, _NAMED)}"


def _items_picture(gate: SafetyGate) -> Picture | None:
    """Return which item is signed for which batch: a dish with a tick; empty where something is missing."""
    if not (gate.items["reason"] != "").any():
        return None
    signed = gate.items.assign(signed=gate.items["reason"] == "").pivot_table(
        index="words", columns="batch", values="signed", aggfunc="all", sort=False
    )
    cells = np.where(signed.to_numpy(dtype=bool), "signed", "").astype(object)
    rows, columns = [str(name) for name in signed.index], [str(name) for name in signed.columns]
    told = [
        f"{item}: {int(line.sum())} of {len(columns)}" for item, line in zip(rows, signed.to_numpy(bool), strict=True)
    ]
    alt = f"Which item is signed for how many batches. {'; '.join(told)}."
    return Picture("safety", "Which item is signed for which batch", alt, partial(tray_figure, rows, columns, cells))


# How far the ballots have come, as tables and plain sentences; they count marks and never show one.


_MARKS = each_row(
    "Marks", lambda row, _: f"{row['answered'] + row['cannot_judge']} of {row['asked']}", "asked", figure=True
)
_LAST_SENT = each_row("Last sent", lambda row, _: row["last_at"][11:] if row["last_at"] else NOTHING, "last_at")
PROGRESS = Table(
    "board",
    "How far each assessor has come",
    lambda board: board,
    (
        *(ASSESSOR, each_row("State", lambda row, _: _state(row) + _on_phones(row), "stopped")),
        *(of_those("Samples done", "finished", "servings"), _MARKS, count("Cannot judge", "cannot_judge")),
        *(count("Too early", "early"), count("Comments", "comments"), _LAST_SENT),
    ),
)
SAMPLES = Table(
    "board_samples",
    "How far each sample has come",
    lambda board: board,
    (
        *(ASSESSOR, each_row("Sample", lambda row, _: f"{row['position']}: {row['code']}", "code")),
        *(text("Site", "site"), _MARKS, count("Too early", "early")),
        *(yes_no("Opened", "opened", "yes", "not yet"), _LAST_SENT),
    ),
)


def who_has_answered(board: pd.DataFrame) -> str:
    """Return in one or two sentences how many assessors have finished, and who has not begun or has stopped."""
    if board.empty:
        return "Nobody is served in this session."
    states = [_state(row) for row in board.to_dict("records")]
    done = states.count("finished")
    parts = [f"{done} of {len(board)} assessors have finished."]
    for state, words in (("not begun", "Not begun"), (_STOPPED, "Stopped after a skin reaction")):
        if names := [name for name, own in zip(board["assessor"], states, strict=True) if own == state]:
            parts.append(f"{words}: {first_few(names, _NAMED)}.")
    doubled = [row["assessor"] for row in board.to_dict("records") if _on_phones(row)]
    if doubled:
        parts.append(f"Opened on more than one phone: {format_list(doubled)}; ask whether it was the same person.")
    return " ".join(parts)


def what_locking_did(session: str, scores: int, cannot_judge: int) -> str:
    """Return that a session is locked and what went into the study."""
    return f"Session {session} is locked: {scores} scores and {cannot_judge} times cannot judge are in the study."


def what_locking_leaves_out(board: pd.DataFrame) -> list[str]:
    """Return what is missing in a session that is about to be locked, one line per assessor; empty if nothing is."""
    lines = []
    left = board["asked"] - board["answered"] - board["cannot_judge"]
    for assessor, rows in board.assign(left=left).groupby("assessor", sort=False):
        missing = rows.loc[rows["left"] > 0]
        if len(missing):
            marks = counted(int(missing["left"].sum()), "mark is", "marks are")
            codes = "code" if len(missing) == 1 else "codes"
            lines.append(f"{assessor}: {marks} missing ({codes} {format_list(list(missing['code']))}).")
    return lines


_STOPPED = "stopped: skin reaction"


def _on_phones(row: Mapping[Any, Any]) -> str:
    """Return that the link of somebody is open on several phones; empty if it is not."""
    return f", on {row['phones']} phones" if row["phones"] > 1 else ""


def _state(row: Mapping[Any, Any]) -> str:
    if row["stopped"]:
        return _STOPPED
    if row["finished"] == row["servings"]:
        return "finished"
    return "under way" if row["last_at"] else "not begun"
