"""The evidence behind the choice of a prototype as tables a person reads."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from panel.models.decision.contenders import IN, OPEN, OUT
from panel.models.decision.decide import Decision
from panel.models.decision.gates import PASSES
from panel.views.decision.decision_words import chance_words
from panel.views.decision.gate_words import gate_name, gate_unit
from panel.views.drawing.formats import NOTHING, format_change, format_interval, format_number, format_share
from panel.views.drawing.naming import Naming

_STANDING = {IN: "in the running", OPEN: "open", OUT: "out"}


def ranking_table(result: Decision, names: Naming) -> pd.DataFrame:
    """Return one row per prototype, nearest to the target first."""
    rows = result.ranking
    shown = {
        "Prototype": [names.prototype(str(name)) for name in rows["prototype"]],
        "Standing": [_STANDING[str(standing)] for standing in rows["standing"]],
        "Desirability (0 to 1)": [format_number(value, 2) for value in rows["desirability"]],
        _interval(result): _intervals(rows, "ci_low", "ci_high", 2),
        "Windows missed": [str(count) for count in rows["unmet"]],
        "Chance of all windows": [chance_words(value) for value in rows["chance_all"]],
    }
    if result.benchmark is not None:
        shown["Chance of all, from the benchmark"] = [chance_words(value) for value in rows["chance_all_versus"]]
        shown[f"Desirability above {result.benchmark}"] = [format_change(value, 2) for value in rows["gain"]]
    shown["Chance to be first"] = [chance_words(value) for value in rows["chance_first"]]
    if result.has_liking:
        shown["Liking"] = [format_number(value, 2) for value in rows["liking"]]
        shown["Chance to be best liked"] = [chance_words(value) for value in rows["chance_best_liked"]]
    shown["Gates failed / open"] = [
        f"{failed} / {unknown}" for failed, unknown in zip(rows["gates_failed"], rows["gates_open"], strict=True)
    ]
    return pd.DataFrame(shown, dtype="str")


def windows_table(rows: pd.DataFrame, names: Naming, level: float) -> pd.DataFrame:
    """Return one row per prototype and attribute: the mean, its interval, the window and the chance of meeting it.

    `rows` are rows of the windows, or of the unmet ones.
    """
    digits = names.digits
    shown = {
        "Prototype": list(rows["prototype"]),
        "Attribute": [names.attribute(str(name)) for name in rows["attribute"]],
        names.with_scale("Mean"): [format_number(value, digits) for value in rows["estimate"]],
        f"{100 * level:g} % interval": _intervals(rows, "ci_low", "ci_high", digits),
        "Window": [window_text(low, high) for low, high in zip(rows["target_low"], rows["target_high"], strict=True)],
        "Met": [_met(value) for value in rows["met"]],
        "Chance": [chance_words(value) for value in rows["chance"]],
        "Must have": ["yes" if must else "no" for must in rows["must_have"]],
    }
    if (rows["versus"] != "").any():
        base = str(rows.loc[rows["versus"] != "", "versus"].iloc[0])
        ends = zip(rows["versus_low"], rows["versus_high"], strict=True)
        shown |= {
            f"Difference from {base}": [format_change(value, digits) for value in rows["difference"]],
            "Its interval": _intervals(rows, "difference_low", "difference_high", digits),
            "Window as a difference": [window_text(low, high, digits) for low, high in ends],
            "Chance as a difference": [chance_words(value) for value in rows["chance_versus"]],
            f"Chance to be better than {base}": [chance_words(value) for value in rows["chance_better"]],
        }
    return pd.DataFrame(shown, dtype="str")


def window_text(low: float, high: float, digits: int = 0) -> str:
    """Return a window in words: `up to 38`, `from 55 on`, `40 to 50`."""
    first, last = (format_number(end, digits if end != round(end) else 0) if end == end else "" for end in (low, high))
    if not first and not last:
        return NOTHING
    if not first:
        return f"up to {last}"
    return f"{first} to {last}" if last else f"from {first} on"


def gates_table(result: Decision) -> pd.DataFrame:
    """Return one row per gate and one column per prototype: passes, fails or cannot tell, with the value."""
    rows: dict[str, dict[str, str]] = {}
    limits: dict[str, str] = {}
    for row in result.gates.to_dict("records"):
        gate = str(row["gate"])
        factor, digits, unit = gate_unit(gate)
        ends = (row["low"] * factor, row["high"] * factor)
        text = window_text(*ends, digits)
        limits[gate] = f"{gate_name(gate)}" + (f": {text}{unit}" if text != NOTHING else "")
        rows.setdefault(gate, {})[str(row["prototype"])] = _gate_cell(row, factor, digits, unit)
    order = [str(name) for name in result.ranking["prototype"]]
    cells = [[limits[gate], *(own.get(name, NOTHING) for name in order)] for gate, own in rows.items()]
    return pd.DataFrame(cells, columns=["Gate", *order], dtype="str")


def pairs_decision_table(result: Decision) -> pd.DataFrame:
    """Return one row per pair: what separates the two by the panel and by consumers."""
    rows = result.pairs
    shown = {
        "Prototype": list(rows["prototype"]),
        "Compared with": list(rows["versus"]),
        "Difference in desirability": [format_change(value, 2) for value in rows["estimate"]],
        "Interval, all pairs at once": _intervals(rows, "ci_low", "ci_high", 2),
        "Chance to rank above": [chance_words(value) for value in rows["chance_above"]],
        "Panel": list(rows["panel"]),
    }
    if result.has_liking:
        shown |= {
            "Difference in liking": [format_change(value, 2) for value in rows["liking"]],
            "Its interval": _intervals(rows, "liking_low", "liking_high", 2),
            "Consumers": list(rows["consumers"]),
        }
    return pd.DataFrame(shown | {"Overall": list(rows["overall"])}, dtype="str")


def front_table(result: Decision, names: Naming) -> pd.DataFrame:
    """Return one row per prototype: whether another beats it on everything at once."""
    rows = result.front
    said = {1.0: "no", 0.0: "yes"}
    return pd.DataFrame(
        {
            "Prototype": [names.prototype(str(name)) for name in rows["prototype"]],
            "Beaten on everything": [said.get(value, "not known") for value in rows["on_front"]],
            "By": [name or NOTHING for name in rows["beaten_by"]],
            "Not beaten, share of the draws": [format_share(value) for value in rows["share"]],
        },
        dtype="str",
    )


def weights_table(result: Decision, names: Naming) -> pd.DataFrame:
    """Return one row per attribute with a window: window, weight, and who comes first when the weight changes."""
    first = result.weights.changes.set_index(["attribute", "change"])["prototype"]
    wanted = result.profile.wanted
    return pd.DataFrame(
        {
            "Attribute": [names.attribute(str(name)) for name in wanted["attribute"]],
            "Window": [
                window_text(low, high) for low, high in zip(wanted["target_low"], wanted["target_high"], strict=True)
            ],
            "Must have": ["yes" if must else "no" for must in wanted["must_have"]],
            "Weight": [f"{value:g}" for value in wanted["weight"]],
            "First when halved": [first.get((name, "halved"), "") or NOTHING for name in wanted["attribute"]],
            "First when doubled": [first.get((name, "doubled"), "") or NOTHING for name in wanted["attribute"]],
        },
        dtype="str",
    )


def weight_shares_table(result: Decision, names: Naming) -> pd.DataFrame:
    """Return one row per prototype: in which share of random weightings it comes first."""
    rows = result.weights.shares.sort_values("share", ascending=False, kind="stable")
    return pd.DataFrame(
        {
            "Prototype": [names.prototype(str(name)) for name in rows["prototype"]],
            "First under random weights": [format_share(value) for value in rows["share"]],
        },
        dtype="str",
    )


def decisions_table(decisions: pd.DataFrame) -> pd.DataFrame:
    """Return the decisions recorded so far, the last one first."""
    rows = decisions.iloc[::-1]
    return pd.DataFrame(
        {
            "Number": list(rows["decision"]),
            "Chosen": list(rows["chosen"]),
            "Runner-up": [name or NOTHING for name in rows["runner_up"]],
            "Reason": list(rows["reason"]),
            "Not established": list(rows["not_established"]),
            "Who": [f"{who}, {role}" if role else who for who, role in zip(rows["who"], rows["role"], strict=True)],
            "Date": list(rows["date"]),
            "Study since": ["unchanged" if same else "changed" for same in rows["same_data"]],
        },
        dtype="str",
    )


def _gate_cell(row: Mapping[Any, Any], factor: float, digits: int, unit: str) -> str:
    low, high = float(row["value_low"]) * factor, float(row["value_high"]) * factor
    value = "" if math.isnan(low) else format_number(low, digits)
    if value and high - low > 0.5 * 10.0**-digits:
        value = f"{value} to {format_number(high, digits)}"
    reason = "" if row["result"] == PASSES else str(row["reason"])
    about = "; ".join(part for part in (f"{value}{unit}" if value else "", reason) if part)
    return f"{row['result']} ({about})" if about else str(row["result"])


def _met(value: float) -> str:
    return "not known" if math.isnan(value) else "yes" if value else "no"


def _interval(result: Decision) -> str:
    return f"{100 * result.level:g} % interval"


def _intervals(rows: pd.DataFrame, low: str, high: str, digits: int) -> list[str]:
    return [format_interval(first, last, digits) for first, last in zip(rows[low], rows[high], strict=True)]
