"""How far differences can be traced to the formulas, in plain sentences made from the numbers of each rung."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from panel.models.emollients.ladder import Ladder, Rung
from panel.models.emollients.verdicts import JOIN, SEEN
from panel.views.drawing.formats import format_list, format_number, format_p, format_share
from panel.views.drawing.naming import Naming
from panel.views.emollients.swap_words import descriptor_words, swap_words

TITLES = {
    "moves": "How many ways the blends differ",
    "swaps": "Each swap, judged by the assessors",
    "prototypes": "Each swap, judged from prototype to prototype",
    "aliases": "What always moves together",
    "descriptors": "One property of the blend at a time",
    "prediction": "All properties at once",
    "mixture": "The blend as a mixture",
    "ceiling": "How much there is to explain",
}


@dataclass(frozen=True, slots=True)
class RungWords:
    """One rung in words: its title, what it adds, what it cannot say, and why the ladder stops there (or empty)."""

    title: str
    adds: str
    cannot: str
    stopped: str


def ladder_words(ladder: Ladder, names: Naming) -> tuple[RungWords, ...]:
    """Return every rung in words, from the bottom up."""
    return tuple(_rung(rung, ladder, names) for rung in ladder.rungs)


def ladder_headline(ladder: Ladder) -> str:
    """Return in one sentence how far the evidence reaches."""
    verdicts = ladder.verdicts["verdict"]
    n, counts = len(verdicts), verdicts.value_counts()
    named, swaps = int(counts.get("driver", 0)), int(counts.get("swaps", 0))
    parts = [f"On {swaps} of {n} attributes a swap made the difference, also judged from prototype to prototype"]
    if doubtful := int(counts.get("assessors", 0)):
        parts.append(f"on {doubtful} only the assessors agree on one")
    parts.append(
        f"on {named} a property of the blend may be named" if named else "no property of the blend may be named"
    )
    return f"{'; '.join(parts)}."


def verdict_sentences(ladder: Ladder, names: Naming) -> tuple[str, ...]:
    """Return one sentence per attribute, the most certain first."""
    order = {"driver": 0, "swaps": 1, "assessors": 2, "unclear": 3, "alike": 4}
    rows = ladder.verdicts.sort_values("verdict", key=lambda column: column.map(order), kind="stable")
    return tuple(_verdict(row, names) for row in rows.to_dict("records"))


def what_the_ladder_cannot_show() -> tuple[str, ...]:
    """Return the sentences that keep a reader from reading too much."""
    return (
        "A property that goes along with an attribute is not shown to cause it: the same prototypes differ in other "
        "properties, in structure and in the day they were made.",
        "How well a model describes the prototypes it was made from says nothing; only left-out prototypes do.",
        "What was found holds for this base, these emollients and the amounts between those that were tested.",
    )


def _rung(rung: Rung, ladder: Ladder, names: Naming) -> RungWords:
    title = TITLES[rung.name]
    if rung.stopped:
        return RungWords(title, "", "", f"Stops here: {rung.stopped}.")
    writers: dict[str, Callable[[Rung, Ladder, Naming], tuple[str, str]]] = {
        "moves": _moves,
        "swaps": _swaps,
        "prototypes": _prototypes,
        "aliases": _aliases,
        "descriptors": _descriptors,
        "prediction": _prediction,
        "mixture": _mixture,
        "ceiling": _ceiling,
    }
    adds, cannot = writers[rung.name](rung, ladder, names)
    return RungWords(title, adds, cannot, "")


def _moves(rung: Rung, ladder: Ladder, names: Naming) -> tuple[str, str]:
    count = int(rung.numbers["counts"].sum())
    return (
        f"The blends differ in {count} independent {'way' if count == 1 else 'ways'}, so no more than {count} "
        f"{'effect' if count == 1 else 'effects'} can be told apart on any attribute.",
        "Which of them matters.",
    )


def _swaps(rung: Rung, ladder: Ladder, names: Naming) -> tuple[str, str]:
    seen = int((rung.numbers["p_adjusted"] < SEEN).sum())
    return (
        f"{seen} of {len(rung.numbers)} effects (attributes times swaps) stand out over the assessors.",
        "Whether another batch would show them: the assessors all judged the same jars.",
    )


def _prototypes(rung: Rung, ladder: Ladder, names: Naming) -> tuple[str, str]:
    seen = int((rung.numbers["p_adjusted"] < SEEN).sum())
    return (
        f"{seen} of {len(rung.numbers)} effects also stand out against the scatter from prototype to prototype.",
        "Which property of the emollient did it: an effect belongs to the whole swap.",
    )


def _aliases(rung: Rung, ladder: Ladder, names: Naming) -> tuple[str, str]:
    groups = int(rung.numbers["group"].nunique())
    if not groups:
        return ("No two emollients or properties move together closely.", "Looser ties; see the correlations.")
    return (
        f"{groups} {'group' if groups == 1 else 'groups'} of emollients and properties move together in these blends.",
        "Which member of a group matters; no data on these prototypes can say.",
    )


def _descriptors(rung: Rung, ladder: Ladder, names: Naming) -> tuple[str, str]:
    if ladder.links is None:
        return ("", "")
    facts = ladder.links.facts.iloc[0]
    count = {name: int(facts[name]) for name in ("below_5_percent", "questions", "n", "descriptors", "moves")}
    adds = (
        f"{count['below_5_percent']} of {count['questions']} pairs of attribute and property show p < 0.05, where "
        f"chance alone gives about {format_number(facts['by_chance'], 0)}. With {count['n']} blends one pair chosen "
        f"beforehand must reach r = {format_number(facts['r_needed'], 2)}; the best of {count['descriptors']} "
        f"properties that are pure noise reaches {format_number(facts['r_by_chance'], 2)} in half of all studies."
    )
    told = [
        f"{names.attribute(str(row['attribute']))} goes with {descriptor_words(str(row['descriptor']))}"
        for row in ladder.links.named.to_dict("records")
    ]
    if told:
        adds += f" As said beforehand, and explained by nothing else as well: {format_list(told)}."
    cannot = ["Show a cause." if told else "Name a property."]
    if pd.notna(facts["r_to_name"]):
        needed = format_number(facts["r_to_name"], 2)
        cannot.append(
            f"Blends that differ in {count['moves']} ways carry {count['moves']} effects, and effects that happen to "
            f"be in proportion look like a property; a name would need r = {needed} or more, and no rival."
        )
    return adds, " ".join(cannot)


def _prediction(rung: Rung, ladder: Ladder, names: Naming) -> tuple[str, str]:
    numbers = rung.numbers
    good = int((numbers["p_adjusted"] < SEEN).sum())
    swaps = int((numbers["q2_swaps"] >= numbers["q2"]).sum())
    first = numbers.iloc[0]
    adds = (
        f"{int(first['n_descriptors'])} properties together predict left-out prototypes better than chance on {good} "
        f"of {len(numbers)} attributes (the smallest p-value possible here is {format_p(float(first['floor']))}"
        f", {int(first['arrangements']):,} different orders of the prototypes)."
    )
    if numbers["q2_swaps"].notna().any():
        adds += f" The swaps alone predict as well or better on {swaps} of {len(numbers)}."
    return adds, "Which property carries the prediction; no share of it belongs to any one of them."


def _mixture(rung: Rung, ladder: Ladder, names: Naming) -> tuple[str, str]:
    told = []
    for model, part in rung.numbers.groupby("model", sort=False):
        better = int(((part["p_value"] < SEEN) & (part["q2"] > 0)).sum())
        missed = int((part["lack_p"] < SEEN).sum())
        told.append(
            f"the {model} model describes {better} of {len(part)} attributes and predicts their left-out blends better "
            f"than the mean does, and misses something on {missed}"
        )
    if not told:
        return ("", "The blends are too few for any mixture model.")
    text = "; ".join(told)
    return f"{text[0].upper()}{text[1:]}.", "What a pure emollient would do: coefficients speak of blends nobody made."


def _ceiling(rung: Rung, ladder: Ladder, names: Naming) -> tuple[str, str]:
    share = rung.numbers["ceiling"]
    least = rung.numbers["attribute"].iloc[int(share.argmin())]
    return (
        f"{format_share(float(share.min()))} to {format_share(float(share.max()))} of the differences between the "
        f"means is not the panel's own error, least for {names.attribute(str(least))}; no link to the formulas can "
        "explain more.",
        "Where the rest of the differences comes from: emollients, structure, batch or order.",
    )


def _verdict(row: Mapping[Any, Any], names: Naming) -> str:
    attribute, kind = names.attribute(row["attribute"]), row["verdict"]
    swaps = [swap_words(swap) for swap in row["swaps"].split(JOIN) if swap]
    doubtful = [swap_words(swap) for swap in row["doubtful"].split(JOIN) if swap]
    running = [descriptor_words(name) for name in row["running"].split(JOIN) if name]
    sentence = {
        "driver": (
            f"{attribute} goes with {descriptor_words(row['driver'])}, as said beforehand, and nothing else explains "
            "it as well. Confirm it with a prototype made for that."
        ),
        "swaps": f"{attribute}: made by {format_list(swaps)}, judged both ways.",
        "assessors": (
            f"{attribute}: the assessors agree on {format_list(doubtful)}; from prototype to prototype it is not sure."
        ),
        "unclear": f"{attribute}: the prototypes differ, but no swap stands out.",
        "alike": f"{attribute}: the prototypes are not told apart.",
    }[kind]
    if kind == "swaps" and doubtful:
        sentence += f" Seen by the assessors alone: {format_list(doubtful)}."
    if running and kind != "driver":
        sentence += f" It goes along with {format_list(running)}; these data cannot say which, if any, is the cause."
    return sentence
