"""Which prototype to make next, in plain sentences and tables, and how earlier predictions turned out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from panel.models.emollients.next_prototype import NextPrototypes
from panel.models.emollients.predictions import PredictionRecord
from panel.views.drawing.formats import format_change, format_interval, format_list, format_number, format_share
from panel.views.drawing.naming import Naming
from panel.views.emollients.swap_words import swap_words

_PURPOSES = {
    "target": "Nearest to the target",
    "learn": "Tells most",
    "untangle": "Moves apart what always changed together",
}


@dataclass(frozen=True, slots=True)
class ProposalWords:
    """One proposal: its title, the blend, what to expect, what it would teach, and what to mind."""

    title: str
    blend: str
    expect: str
    teaches: str
    mind: tuple[str, ...]


def proposal_words(result: NextPrototypes, names: Naming) -> tuple[ProposalWords, ...]:
    """Return every proposal in words, in order."""
    return tuple(_proposal(row, result, names) for row in result.proposals.to_dict("records"))


def next_headline(result: NextPrototypes) -> str:
    """Return what the proposals are for."""
    n = len(result.proposals)
    return (
        f"{n} {'prototype' if n == 1 else 'prototypes'} worth making and testing next; a prediction is no result, so "
        "make, test, and hold the outcome against it."
    )


def proposals_table(result: NextPrototypes) -> pd.DataFrame:
    """Return one row per emollient and one column per proposal, per cent of the formula."""
    wide = result.blends.pivot_table(index="ingredient", columns="proposal", values="percent", sort=False)
    purpose = dict(zip(result.proposals["proposal"], result.proposals["purpose"], strict=True))
    shown = {
        f"{number}. {_PURPOSES[purpose[number]]}": ["–" if pd.isna(v) else f"{v:.2f}" for v in wide[number]]
        for number in wide.columns
    }
    return pd.DataFrame({"Emollient, % of the formula": [str(name) for name in wide.index], **shown}, dtype="str")


def record_sentences(record: PredictionRecord) -> tuple[str, ...]:
    """Return how the predictions turned out so far."""
    told = []
    for row in record.summary.loc[record.summary["prototype"] != ""].to_dict("records"):
        told.append(
            f"{row['prototype']}: {int(row['within'])} of {int(row['n'])} means fell into their "
            f"{100 * float(row['level']):g} % interval ({format_share(float(row['share']))})."
        )
    total = record.summary.loc[record.summary["prototype"] == ""]
    if len(total) and len(record.summary) > 2:
        whole = total.iloc[0]
        told.append(f"Together: {int(whole['within'])} of {int(whole['n'])} ({format_share(float(whole['share']))}).")
    if record.waiting:
        told.append(f"Predicted, not tested yet: {format_list(record.waiting)}.")
    return tuple(told) or ("No prediction has been written down.",)


def record_table(record: PredictionRecord, names: Naming) -> pd.DataFrame:
    """Return one row per predicted mean and its outcome."""
    outcomes = record.outcomes
    ends = zip(outcomes["ci_low"], outcomes["ci_high"], strict=True)
    return pd.DataFrame(
        {
            "Prototype": list(outcomes["prototype"]),
            "Attribute": [names.attribute(str(name)) for name in outcomes["attribute"]],
            "Expected": [format_number(value, names.digits) for value in outcomes["estimate"]],
            "Interval": [format_interval(low, high, names.digits) for low, high in ends],
            "Outcome": [format_number(value, names.digits) for value in outcomes["outcome"]],
            "Off by": [format_change(value, names.digits) for value in outcomes["error"]],
            "Off by, as difference from the base": [
                format_change(value, names.digits) for value in outcomes["error_from_base"]
            ],
            "In the interval": ["yes" if within else "no" for within in outcomes["within"]],
        },
        dtype="str",
    )


def _proposal(row: Mapping[Any, Any], result: NextPrototypes, names: Naming) -> ProposalWords:
    number, purpose = row["proposal"], str(row["purpose"])
    parts = result.blends.loc[result.blends["proposal"] == number]
    blend = [f"{percent:g} % {name}" for name, percent in zip(parts["ingredient"], parts["percent"], strict=True)]
    return ProposalWords(
        title=f"{number}. {_PURPOSES[purpose]}",
        blend=f"Of the formula: {format_list(blend)}.",
        expect=_expect(row, result, names),
        teaches=_teaches(result.teaches.loc[result.teaches["proposal"] == number]),
        mind=tuple(
            _warning(each) for each in result.warnings.loc[result.warnings["proposal"] == number].to_dict("records")
        ),
    )


def _expect(row: Mapping[Any, Any], result: NextPrototypes, names: Naming) -> str:
    if not row["inside"]:
        return "Outside the tested region: nothing can be predicted."
    if not row["windows"]:
        return "Inside the tested region; no target window to hold it against."
    profile = result.profiles.loc[result.profiles["proposal"] == row["proposal"]].dropna(subset=["chance"])
    likely = [names.attribute(str(name)) for name in profile.loc[profile["chance"] >= 0.5, "attribute"]]
    doubtful = [names.attribute(str(name)) for name in profile.loc[profile["chance"] < 0.5, "attribute"]]
    told = f"Expected to meet about {format_number(float(row['expected']), 1)} of {int(row['windows'])} target windows"
    if likely:
        told += f"; likely {format_list(likely)}"
    if doubtful:
        told += f"; doubtful {format_list(doubtful)}"
    best = result.tested.sort_values("expected", ascending=False, kind="stable").iloc[0]
    return (
        f"{told}. Of the prototypes that were made, {best['prototype']} comes to "
        f"{format_number(float(best['expected']), 1)}, counted in the same way."
    )


def _teaches(teaches: pd.DataFrame) -> str:
    levels = [swap_words(str(about)) for about in teaches.loc[teaches["kind"] == "new level", "about"]]
    broken = [str(about) for about in teaches.loc[teaches["kind"] == "alias broken", "about"]]
    told = []
    if levels:
        told.append(f"a level nobody tried of {format_list(levels)}")
    if (teaches["kind"] == "curvature").any():
        told.append("whether the way between two emollients is straight")
    if broken:
        told.append(f"which of the emollients that always changed together matters ({'; '.join(broken)})")
    return f"Would teach {format_list(told)}." if told else "Would teach nothing new about the swaps."


def _warning(row: Mapping[Any, Any]) -> str:
    kind, value, versus = str(row["kind"]), float(row["value"]), float(row["versus"])
    if kind in ("solid", "volatile"):
        share, base = (format_number(part, 0) for part in (value, versus))
        about = f" ({row['about']})" if row["about"] else ""
        return f"{kind.capitalize()} share of the emollients {share} %, in the base {base} %{about}."
    if kind == "cost":
        off = format_change(100 * (value / versus - 1), 0) if versus > 0 else ""
        return (
            f"Cost of the emollients {format_number(value, 2)} for 100 units of formula, base "
            f"{format_number(versus, 2)}" + (f" ({off} %)." if off else ".")
        )
    if kind == "assessors":
        return f"Must not be given to {row['words']}, who avoid {row['about']}."
    return f"{row['about']}: {row['words']}"
