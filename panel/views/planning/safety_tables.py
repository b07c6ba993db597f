"""Safety gate, readiness, reactions and protocol as tables a person reads."""

from __future__ import annotations

import pandas as pd

from panel.checks.readiness import Readiness
from panel.plan.protocol import Protocol
from panel.plan.safety import SafetyGate
from panel.views.drawing.formats import NOTHING, format_number

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
