"""What the safety gate says about the batches, in plain sentences, and what it cannot say."""

from __future__ import annotations

from panel.checks.readiness import Readiness
from panel.plan.safety import AMBER, GREEN, RED, SafetyGate
from panel.views.drawing.formats import format_list

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
