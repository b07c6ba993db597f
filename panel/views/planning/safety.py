"""What the safety gate says about the batches, in plain sentences, and what it cannot say."""

from __future__ import annotations

import pandas as pd

from panel.checks.all_checks import Readiness
from panel.plan.protocol import Protocol
from panel.plan.safety import AMBER, GREEN, RED, SafetyGate
from panel.words import NOTHING, format_list, format_number

_MOST_NAMED = 5


def what_the_gate_says(gate: SafetyGate) -> list[str]:
    """Return for which batches the gate is open, and what is missing for the others, one plain line each."""
    lines = []
    for state, words in (
        (RED, "The safety gate is closed for {}. Nobody may apply it."),
        (AMBER, "The safety gate is closed for {}: all that is always needed is signed, but an item is still open."),
        (GREEN, "The safety gate is open for {}: every item is signed by a named person."),
    ):
        names = gate.batches.loc[gate.batches["state"] == state, "batch"].tolist()
        if names:
            lines.append(words.format(_batches(names, len(gate.batches))))
    frozen = gate.batches.loc[gate.batches["frozen"] != ""]
    lines += [f"{row['batch']} is frozen: {row['frozen']}." for row in frozen.to_dict("records")]
    missing = gate.items.loc[gate.items["reason"] != ""]
    for item, rows in missing.groupby("words", sort=False):
        concerned = _batches(list(dict.fromkeys(rows["batch"])), len(gate.batches))
        lines.append(f"{item}: {format_list(sorted(set(rows['reason'])))} ({concerned}).")
    return lines


def what_the_gate_cannot_say(gate: SafetyGate) -> tuple[str, ...]:
    """Return what must stand beside the gate wherever it is shown; the first line names what it does not replace."""
    return gate.notes


def what_is_ready(result: Readiness) -> str:
    """Return which prototypes can be put before the panel, in one or two sentences."""
    rows = result.batches
    ready = list(dict.fromkeys(rows.loc[rows["ready"], "prototype"]))
    waiting = [name for name in dict.fromkeys(rows["prototype"]) if name not in ready]
    if not len(rows):
        return "There are no prototypes yet."
    parts = [f"Ready on {result.on}: {format_list(ready)}." if ready else f"Nothing is ready on {result.on}."]
    if waiting:
        shown = [f"{name} ({_why(result, name)})" for name in waiting[:_MOST_NAMED]]
        rest = len(waiting) - len(shown)
        parts.append(f"Not ready: {'; '.join(shown)}{f'; and {rest} more' if rest else ''}.")
    return " ".join(parts)


def _batches(names: list[str], number: int) -> str:
    """Return batches by name, or that it is all of them."""
    if len(names) == number > 1:
        return f"all {number} batches"
    return f"batch {names[0]}" if len(names) == 1 else f"batches {format_list(names)}"


def _why(result: Readiness, prototype: str) -> str:
    rows = result.batches
    return str(rows.loc[rows["prototype"] == prototype, "missing"].iloc[0])


# Safety gate, readiness, reactions and protocol as tables a person reads.


_GATE = {
    "red": "red: closed",
    "amber": "amber: closed, something is open",
    "green": "green: open",
}


def gate_table(gate: SafetyGate) -> pd.DataFrame:
    """Return one row per batch: whether the gate is open, how many items are missing, what freezes it."""
    rows = gate.batches
    return pd.DataFrame(
        {
            "Batch": list(rows["batch"]),
            "Prototype": list(rows["prototype"]),
            "Safety gate": [_GATE[state] for state in rows["state"]],
            "Items missing": [f"{count:d}" for count in rows["missing"]],
            "Frozen because": [text or NOTHING for text in rows["frozen"]],
        },
        dtype="str",
    )


def checklist_table(gate: SafetyGate, batch: str) -> pd.DataFrame:
    """Return one row per item of the checklist for a batch: who signed what and when, or what is missing."""
    rows = gate.items.loc[gate.items["batch"] == batch]
    return pd.DataFrame(
        {
            "Item": list(rows["words"]),
            "For": [f"batch {batch}" if scope == "batch" else "all batches" for scope in rows["scope"]],
            "State": [reason or outcome for reason, outcome in zip(rows["reason"], rows["outcome"], strict=True)],
            "By": [
                f"{who}, {role}" if who and role else who or NOTHING
                for who, role in zip(rows["who"], rows["role"], strict=True)
            ],
            "On": [date or NOTHING for date in rows["date"]],
            "Document": [text or NOTHING for text in rows["document"]],
        },
        dtype="str",
    ).reset_index(drop=True)


def readiness_table(result: Readiness) -> pd.DataFrame:
    """Return one row per batch: age, pH, viscosity, gate, and what keeps it from being ready."""
    rows = result.batches
    return pd.DataFrame(
        {
            "Prototype": list(rows["prototype"]),
            "Batch": [batch or NOTHING for batch in rows["batch"]],
            "Age at least": [f"{format_number(age, 0)} h" if age == age else NOTHING for age in rows["age_hours"]],
            "pH": [format_number(value, 2) for value in rows["ph"]],
            "Viscosity (mPa s)": [format_number(value, 0) for value in rows["viscosity_mpa_s"]],
            "Safety gate": list(rows["gate"]),
            "Ready": ["ready" if ready else "not ready" for ready in rows["ready"]],
            "What is missing": [text or NOTHING for text in rows["missing"]],
        },
        dtype="str",
    )


def reactions_table(entries: pd.DataFrame) -> pd.DataFrame:
    """Return one row per entry about a reaction, the latest last."""
    columns = {
        "reaction": "Reaction",
        "when": "When",
        "assessor": "Assessor",
        "prototype": "Prototype",
        "batch": "Batch",
        "signs": "Signs",
        "severity": "How grave",
        "action": "What was done",
        "seen_by": "Seen by",
        "who": "Written by",
        "settled": "Settled",
    }
    return entries[list(columns)].rename(columns=columns).replace("", NOTHING).astype("str").reset_index(drop=True)


def protocol_table(protocol: Protocol) -> pd.DataFrame:
    """Return the protocol card: one row per item, what holds here, and whether the study says so itself."""
    rows = protocol.items
    return pd.DataFrame(
        {
            "Item": list(rows["words"]),
            "Here": list(rows["value"]),
            "Stated": ["by the study" if stated else "usual value, not stated" for stated in rows["stated"]],
            "Basis of the usual value": [
                f"{basis} ({source})" if basis else source
                for basis, source in zip(rows["basis"], rows["source"], strict=True)
            ],
        },
        dtype="str",
    )


# How far the ballots have come, as tables and plain sentences; they count marks and never show one.


_BOARD_TABLES_MOST_NAMED = 6


def progress_table(board: pd.DataFrame) -> pd.DataFrame:
    """Return one row per assessor: samples and marks done, what could not be judged, what came early, and the state.

    Parameters
    ----------
    board
        `session assessor servings finished asked answered cannot_judge early comments stopped phones last_at`.
    """
    return pd.DataFrame(
        {
            "Assessor": list(board["assessor"]),
            "State": [_state(row) + _on_phones(row) for row in board.to_dict("records")],
            "Samples done": [f"{row['finished']} of {row['servings']}" for row in board.to_dict("records")],
            "Marks": _marks(board),
            "Cannot judge": [f"{count}" for count in board["cannot_judge"]],
            "Too early": [f"{count}" for count in board["early"]],
            "Comments": [f"{count}" for count in board["comments"]],
            "Last sent": [_time(text) for text in board["last_at"]],
        },
        dtype="str",
    )


def samples_table(board: pd.DataFrame) -> pd.DataFrame:
    """Return one row per sample, by its code: how many of its marks are there.

    Parameters
    ----------
    board
        `session assessor position code site asked answered cannot_judge early comments opened last_at`.
    """
    return pd.DataFrame(
        {
            "Assessor": list(board["assessor"]),
            "Sample": [f"{row['position']}: {row['code']}" for row in board.to_dict("records")],
            "Site": [site or NOTHING for site in board["site"]],
            "Marks": _marks(board),
            "Too early": [f"{count}" for count in board["early"]],
            "Opened": ["yes" if opened else "not yet" for opened in board["opened"]],
            "Last sent": [_time(text) for text in board["last_at"]],
        },
        dtype="str",
    )


def who_has_answered(board: pd.DataFrame) -> str:
    """Return in one or two sentences how many assessors have finished, and who has not begun or has stopped."""
    if board.empty:
        return "Nobody is served in this session."
    states = [_state(row) for row in board.to_dict("records")]
    done = states.count("finished")
    parts = [f"{done} of {len(board)} assessors have finished."]
    for state, words in (("not begun", "Not begun"), (_STOPPED, "Stopped after a skin reaction")):
        names = [name for name, own in zip(board["assessor"], states, strict=True) if own == state]
        if names:
            more = f" and {len(names) - _MOST_NAMED} more" if len(names) > _BOARD_TABLES_MOST_NAMED else ""
            shown = ", ".join(names[:_BOARD_TABLES_MOST_NAMED]) if more else format_list(names)
            parts.append(f"{words}: {shown}{more}.")
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
            marks = "1 mark is" if missing["left"].sum() == 1 else f"{missing['left'].sum()} marks are"
            codes = "code" if len(missing) == 1 else "codes"
            lines.append(f"{assessor}: {marks} missing ({codes} {format_list(list(missing['code']))}).")
    return lines


_STOPPED = "stopped: skin reaction"


def _on_phones(row: dict) -> str:
    """Return that the link of somebody is open on several phones; empty if it is not."""
    return f", on {row['phones']} phones" if row["phones"] > 1 else ""


def _state(row: dict) -> str:
    if row["stopped"]:
        return _STOPPED
    if row["finished"] == row["servings"]:
        return "finished"
    return "under way" if row["last_at"] else "not begun"


def _marks(board: pd.DataFrame) -> list[str]:
    done = (board["answered"] + board["cannot_judge"]).tolist()
    return [f"{count} of {asked}" for count, asked in zip(done, board["asked"].tolist(), strict=True)]


def _time(text: str) -> str:
    return text[11:] if text else NOTHING
