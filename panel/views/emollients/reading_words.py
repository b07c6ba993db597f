"""What instrument readings say beside the panel, and what they cannot say, in plain sentences made from the numbers."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from panel.models.emollients.joint_map import JointMap
from panel.models.emollients.partners import AGAINST, AS_EXPECTED, CANNOT_TELL
from panel.models.emollients.readings import JoinedReadings
from panel.views.drawing.formats import format_interval, format_list, format_number, format_share, p_words
from panel.views.drawing.naming import Naming

_MOST_NAMED = 5
_RAISED = str.maketrans("23", "²³")


def partner_sentences(result: JoinedReadings, names: Naming) -> tuple[str, ...]:
    """Return one sentence per pair that was declared beforehand, or one saying that there is none."""
    if result.partners.empty:
        return (
            "No attribute has a partner among the measures. Name one in the column partner of the attributes, before "
            "looking at the readings.",
        )
    rows = result.partners.to_dict("records")
    return tuple(partner_sentence(row, names, result.level, len(rows)) for row in rows)


def partner_sentence(row: Mapping[Any, Any], names: Naming, level: float, n_pairs: int) -> str:
    """Return the sentence for one declared pair."""
    attribute, measure = names.attribute(str(row["attribute"])), str(row["measure"])
    numbers = (
        f"r = {format_number(row['estimate'], 2)}, {100 * level:g} % interval "
        f"{format_interval(row['ci_low'], row['ci_high'], 2)}, {row['n']} prototypes"
    )
    if row["verdict"] == CANNOT_TELL:
        return (
            f"{row['n']} prototypes cannot say whether the panel's {attribute} goes with the reading {measure} "
            f"({numbers}; for one pair chosen beforehand r must be beyond {format_number(row['needed'], 2)})."
        )
    together = "rise together" if row["estimate"] > 0 else "go opposite ways"
    expected = {AS_EXPECTED: ", as expected", AGAINST: ", against what was expected"}.get(str(row["verdict"]), "")
    doubt = (
        f" Counted together with the other {n_pairs - 1} declared pairs this can be chance "
        f"({p_words(row['p_adjusted'])} after adjusting)."
        if row["p_adjusted"] >= 1 - level
        else ""
    )
    return f"The panel's {attribute} and the reading {measure} {together}{expected} ({numbers}).{doubt}"


def screening_sentences(result: JoinedReadings, names: Naming) -> tuple[str, ...]:
    """Return what the screening list holds, and what it is good for."""
    if result.screening.empty:
        return ()
    seen = result.screening.loc[result.screening["p_adjusted"] < 1 - result.level]
    number = len(result.screening)
    if seen.empty:
        return (f"Of the {number} pairs nobody declared beforehand, none stands out after adjusting for their number.",)
    first = [
        f"{names.attribute(str(row['attribute']))} with {row['measure']} (r = {format_number(row['estimate'], 2)})"
        for row in seen.head(_MOST_NAMED).to_dict("records")
    ]
    first_words = "The clearest are" if len(seen) > len(first) else "They are" if len(seen) > 1 else "It is"
    return (
        f"Of the {number} pairs nobody declared beforehand, {len(seen)} "
        f"{'stands' if len(seen) == 1 else 'stand'} out after adjusting for their number. {first_words} "
        f"{format_list(first)}.",
        "These are leads for another study: the list was searched after the fact.",
    )


def reading_swap_sentences(result: JoinedReadings) -> tuple[str, ...]:
    """Return one sentence per swap: what it lowers, what it raises, and what cannot be said."""
    return tuple(
        _swap_sentence(rows, result.level) for _, rows in result.swaps.groupby("swap", sort=False) if len(rows)
    )


def joint_map_sentences(joint: JointMap) -> tuple[str, ...]:
    """Return how far panel and instruments agree about the prototypes, and what the map's axes carry."""
    alike = "" if joint.rv > joint.rv_by_chance else " That is no more than chance."
    shown = float(joint.components["share"].iloc[:2].sum())
    return (
        f"How alike panel and instruments place the prototypes, from 0 to 1: RV = {format_number(joint.rv, 2)}. "
        f"Prototypes exchanged at random would give {format_number(joint.rv_by_chance, 2)} on average.{alike}",
        f"The two axes carry {format_share(shown)} of the differences. Every attribute and every measure counts the "
        "same inside its block, also one in which the prototypes hardly differ.",
    )


def what_readings_cannot_show() -> tuple[str, ...]:
    """Return the sentences that keep a reader from reading too much."""
    return (
        "A reading that goes with a feeling does not replace it: what people feel is for people to say.",
        "Prototypes are few and differ in few directions. Two things that go together here may part in other formulas.",
        "No clear link is not no link: look at how far the interval reaches.",
    )


def partner_alt_text(result: JoinedReadings, names: Naming) -> str:
    """Return what a person who cannot see the scatter pictures should hear."""
    return f"Panel means against instrument readings, a dot per prototype. {' '.join(partner_sentences(result, names))}"


def joint_map_alt_text(joint: JointMap) -> str:
    """Return what a person who cannot see the joint map should hear."""
    places = joint.prototypes.loc[joint.prototypes["block"] == "both"]
    parts = [
        f"{row['prototype']} at {format_number(row['component_1'], 1)}, {format_number(row['component_2'], 1)}"
        for row in places.to_dict("records")
    ]
    return f"Joint map of panel and instruments. {' '.join(joint_map_sentences(joint))} Places: {'; '.join(parts)}."


def format_reading(value: float, digits: int = 3) -> str:
    """Return a reading with so many significant digits; an en dash where there is none."""
    if math.isnan(value) or math.isinf(value) or value == 0:
        return format_number(value, 0)
    rounded = float(f"{value:.{digits - 1}e}")
    return format_number(rounded, max(0, digits - 1 - math.floor(math.log10(abs(rounded)))))


def with_unit(text: str, unit: str) -> str:
    """Return a text followed by its unit; a plain number has none."""
    return text if unit == "1" else f"{text} {unit_words(unit)}"


def unit_words(unit: str) -> str:
    """Return a unit as it is printed: raised figures, `−1` as they are; empty for a plain number."""
    if unit == "1":
        return ""
    return unit.translate(_RAISED) if unit.startswith(("mm2", "cm2")) or unit.endswith("m3") else unit


def measure_title(measure: str, unit: str) -> str:
    """Return a measure with its unit behind a comma, for an axis or a column."""
    return measure if unit == "1" else f"{measure}, {unit_words(unit)}"


def _swap_sentence(rows: pd.DataFrame, level: float) -> str:
    first = rows.iloc[0]
    removed, added = (format_list(str(first[end]).split(" + ")) for end in ("removed", "added"))
    opening = (
        f"In this base, replacing {float(first['percent']):g} % {removed} by {added} "
        f"({_pairs(rows)}; in brackets {100 * level:g} % intervals)"
    )
    told = {"lowers": list[str](), "raises": list[str](), "": list[str]()}
    for row in rows.to_dict("records"):
        verb, text = _effect(row)
        told[verb].append(text)
    parts = [f"{verb} {format_list(texts)}" for verb, texts in told.items() if verb and texts]
    cannot = f"these readings cannot say whether it changes {format_list(told[''])}" if told[""] else ""
    return f"{opening}: {'; '.join(filter(None, [*parts, cannot]))}."


def _effect(row: Mapping[Any, Any]) -> tuple[str, str]:
    """Return the verb and the words for one measure; no verb where the interval holds no change."""
    low, high = float(row["ci_low"]), float(row["ci_high"])
    ratio_low, ratio_high = float(row["ratio_ci_low"]), float(row["ratio_ci_high"])
    if not math.isnan(ratio_low):
        if ratio_low <= 1 <= ratio_high:
            return "", str(row["measure"])
        ends = sorted(abs(100 * (end - 1)) for end in (ratio_low, ratio_high))
        amount = f"{_percent(abs(100 * (row['ratio'] - 1)))} %"
        verb = "raises" if row["ratio"] > 1 else "lowers"
        return verb, f"{row['measure']} by {amount} ({_percent(ends[0])} to {_percent(ends[1])} %)"
    if math.isnan(low) or low <= 0 <= high:
        return "", str(row["measure"])
    ends = sorted(abs(end) for end in (low, high))
    amount = with_unit(format_reading(abs(row["estimate"]), 2), str(row["unit"]))
    verb = "raises" if row["estimate"] > 0 else "lowers"
    return verb, f"{row['measure']} by {amount} ({format_reading(ends[0], 2)} to {format_reading(ends[1], 2)})"


def _percent(value: float) -> str:
    """Return per cent without decimals, with as many as show it is not zero where it is less than one half."""
    return format_number(value, 0) if value >= 0.5 else format_reading(value, 1)


def _pairs(rows: pd.DataFrame) -> str:
    low, high = int(rows["n_pairs"].min()), int(rows["n_pairs"].max())
    number = f"{low}" if low == high else f"{low} to {high}"
    return f"{number} matched {'pair' if number == '1' else 'pairs'}"
