"""How far differences can be traced to the formulas, in plain sentences made from the numbers of each rung."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from panel.models.emollients.ladder import JOIN, SEEN, Ladder, Rung
from panel.study.naming import Naming
from panel.views.emollients.swaps import descriptor_words, swap_words
from panel.words import NOTHING, format_interval, format_list, format_number, format_p, format_share

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


# The rungs of the ladder as tables a person reads.


_EXPECTED = {1: "rises", -1: "falls", 0: NOTHING}
_AGREES = {1.0: "yes", 0.0: "no"}


def ladder_table(ladder: Ladder, names: Naming) -> pd.DataFrame:
    """Return one row per rung: what it adds, what it cannot say, or why the ladder stops there."""
    words = ladder_words(ladder, names)
    return pd.DataFrame(
        {
            "Rung": [f"{number}. {each.title}" for number, each in enumerate(words, start=1)],
            "What it adds": [each.adds or each.stopped for each in words],
            "What it cannot say": [each.cannot or NOTHING for each in words],
        },
        dtype="str",
    )


def links_table(ladder: Ladder, names: Naming) -> pd.DataFrame:
    """Return one row per attribute and property, the closest first; without rows if the rung was not climbed."""
    if ladder.links is None:
        return pd.DataFrame(dtype="str")
    links = ladder.links.links
    links = links.loc[links["r"].notna()]
    links = links.iloc[(-links["r"].abs()).argsort(kind="stable")]
    n = int(ladder.links.facts["n"].iloc[0])
    return pd.DataFrame(
        {
            "Attribute": [names.attribute(str(name)) for name in links["attribute"]],
            "Property of the blend": [descriptor_words(str(name)) for name in links["descriptor"]],
            f"r ({n} blends)": [format_number(value, 2) for value in links["r"]],
            "Slope": [_significant(value) for value in links["slope"]],
            "Slope without any one blend": [
                f"{_significant(low)} to {_significant(high)}"
                for low, high in zip(links["slope_low"], links["slope_high"], strict=True)
            ],
            "p": [format_p(value) for value in links["p_value"]],
            "p, adjusted": [format_p(value) for value in links["p_adjusted"]],
            "Said beforehand": [_EXPECTED[int(sign)] for sign in links["expected"]],
            "As said": [_AGREES.get(value, NOTHING) for value in links["agrees"]],
            "Moves with others": ["yes" if aliased else "no" for aliased in links["aliased"]],
        },
        dtype="str",
    )


def prediction_table(ladder: Ladder, names: Naming) -> pd.DataFrame:
    """Return one row per attribute: how well left-out prototypes are predicted, against chance and the swaps."""
    numbers = ladder.prediction
    if numbers.empty:
        return pd.DataFrame(dtype="str")
    return pd.DataFrame(
        {
            "Attribute": [names.attribute(str(name)) for name in numbers["attribute"]],
            "Q2, all properties": [format_number(value, 2) for value in numbers["q2"]],
            "Q2, chance (1 in 20)": [format_number(value, 2) for value in numbers["q2_chance"]],
            "Q2, the swaps alone": [format_number(value, 2) for value in numbers["q2_swaps"]],
            "p": [format_p(value) for value in numbers["p_value"]],
            "p, adjusted": [format_p(value) for value in numbers["p_adjusted"]],
            "Smallest p possible": [format_p(value) for value in numbers["floor"]],
            "Most that can be explained": [format_share(value) for value in numbers["ceiling"]],
        },
        dtype="str",
    )


def mixture_table(ladder: Ladder, names: Naming) -> pd.DataFrame:
    """Return one row per attribute and mixture model; without rows if the rung was not climbed."""
    numbers = ladder.rung("mixture").numbers
    if numbers.empty:
        return pd.DataFrame(dtype="str")
    return pd.DataFrame(
        {
            "Attribute": [names.attribute(str(name)) for name in numbers["attribute"]],
            "Model": list(numbers["model"]),
            "Q2": [format_number(value, 2) for value in numbers["q2"]],
            "p, the blend makes no difference": [format_p(value) for value in numbers["p_value"]],
            "p, the model misses nothing": [format_p(value) for value in numbers["lack_p"]],
            "Blends to spare": [f"{count:d}" for count in numbers["df_error"]],
        },
        dtype="str",
    )


def prototype_effects_table(ladder: Ladder, names: Naming) -> pd.DataFrame:
    """Return one row per attribute and swap with prototypes as the units; without rows if that was not possible."""
    numbers = ladder.rung("prototypes").numbers
    if numbers.empty:
        return pd.DataFrame(dtype="str")
    ends = zip(numbers["ci_low"], numbers["ci_high"], strict=True)
    return pd.DataFrame(
        {
            "Swap": [str(swap).replace(" -> ", " → ") for swap in numbers["swap"]],
            "Attribute": [names.attribute(str(name)) for name in numbers["attribute"]],
            "Effect (points)": [format_number(value, names.digits) for value in numbers["estimate"]],
            f"{100 * ladder.level:g} % interval": [format_interval(low, high, names.digits) for low, high in ends],
            "p, adjusted": [format_p(value) for value in numbers["p_adjusted"]],
        },
        dtype="str",
    )


def _significant(value: float) -> str:
    """Return a slope with two significant digits: properties have very different units."""
    if pd.isna(value):
        return NOTHING
    size = abs(value)
    digits = 0
    while digits < 4 and size * 10**digits < 10:
        digits += 1
    return format_number(value, digits)
