"""How far differences can be traced to the formulas, step by step, and where the data stop."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from panel.models.emollients.descriptors import descriptor_words
from panel.models.emollients.ladder import JOIN, WITH, Ladder
from panel.study.naming import Naming
from panel.study.shown import ATTRIBUTE, P_HOLM, Shown, Source, Table, each_row, number, p_value, share, text, yes_no
from panel.views.emollients.swaps import swap_words
from panel.views.pictures import BROAD, FAINT, INK, LETTERS, sheet, wrapped
from panel.views.told import Picture, Told, drawer
from panel.words import NOTHING, capital, counted, format_list, format_number, format_p, format_share, quoted

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_TITLES = {
    "moves": "How many ways the blends differ",
    "swaps": "Each swap, judged by the assessors",
    "prototypes": "Each swap, judged from prototype to prototype",
    "aliases": "What always moves together",
    "descriptors": "One property of the blend at a time",
    "prediction": "All properties at once",
    "mixture": "The blend as a mixture",
    "ceiling": "How much there is to explain",
}


def _ladder_headline(ladder: Ladder) -> str:
    counts = ladder.verdicts["verdict"].value_counts()
    going = {
        "driver": "a property of the blend may be named",
        "swaps": "the difference goes with a swap of emollients",
        "assessors": "a swap stands out from the scatter of the assessors only",
        "along": "it may be a swap or what goes along with it",
    }
    reached = [f"on {counts[kind]} {words}" for kind, words in going.items() if kind in counts]
    told = f"Of {len(ladder.verdicts)} attributes, {', '.join(reached) or 'none goes with a swap of emollients'}"
    return f"{told}." if "driver" in counts else f"{told}; no property of the oil may be named."


def tell_ladder(ladder: Ladder, names: Naming) -> Told:
    """Tell how far the evidence reaches beyond the swaps, and where the data stop."""
    numbers = [_LINKS] * (not ladder.steps["descriptors"].empty) + [PREDICTION] * (not ladder.prediction.empty)
    return Told(
        ladder,
        names,
        _ladder_headline(ladder),
        _picture(ladder, names),
        drawers=(
            drawer("Sensation by sensation", *_verdict_sentences(ladder, names)),
            drawer("Step by step: what each adds, and what it cannot say", LADDER),
            drawer("The numbers behind it", *numbers),
        ),
        cannot=_CANNOT,
    )


_CANNOT = (
    "A property that goes along with an attribute is not shown to cause it: the same prototypes differ in other "
    "properties, in structure and in the day they were made.",
    "How well a model describes the prototypes it was made from says nothing; only left-out prototypes do.",
    "What was found holds for this base, these emollients and the amounts between those that were tested.",
)


# The picture: a stair; each sensation stands on the step that the evidence for it reaches.


_REACHED = {
    "driver": "a property of the blend may be named",
    "swaps": "goes with a swap, beyond the scatter of assessors and of prototypes",
    "assessors": "goes with a swap, beyond the scatter of the assessors only",
    "along": "goes with a swap or with what goes along with it",
    "unclear": "the prototypes differ, no swap stands out",
    "alike": "no difference is shown",
}
"""How far the evidence for a sensation reaches, the furthest first."""
_QUIET = "#5c5c5c"
_STAIR, _STEP_WORDS, _EDGE, _BETWEEN, _LINE = 0.66, 0.36, 0.12, 0.16, 0.17  # inches; the second of the width
_STEP_WIDE, _LOWEST, _RISE = 0.085, 0.05, 0.03  # inches; the sign of a step is a small stair


def _picture(ladder: Ladder, names: Naming) -> Picture:
    heard = [
        f"{capital(words)}: {format_list(own)}."
        for kind, words in _REACHED.items()
        if (own := _on(ladder, kind, names))
    ]
    title = "How far the evidence reaches for each sensation"
    return Picture("how_sure", title, f"{title}. {' '.join(heard)}", partial(_stair, ladder, names))


def _on(ladder: Ladder, kind: str, names: Naming) -> list[str]:
    rows = ladder.verdicts
    return [quoted(names.attribute(str(name))) for name in rows.loc[rows["verdict"] == kind, "attribute"]]


def _stair(ladder: Ladder, names: Naming, width: float = BROAD) -> Figure:
    """Return a row for each step, the furthest on top: how high it is, what it means, and the sensations on it."""
    means = _STEP_WORDS * (width - _STAIR - 2 * _EDGE)
    left = _EDGE + _STAIR + means
    room = 0.92 * (width - left - _EDGE) * 72  # screens with coarse dots draw letters a little wider
    rows = [
        (
            wrapped(words, LETTERS, 0.92 * (means - _EDGE) * 72),
            wrapped(" · ".join(_on(ladder, kind, names)) or NOTHING, LETTERS, room),
        )
        for kind, words in _REACHED.items()
    ]
    tall = [_LINE * max(map(len, row)) + _BETWEEN for row in rows]
    height = sum(tall) + _EDGE
    figure, axes = sheet(width, height)
    for place, ((words, own), top) in enumerate(zip(rows, np.cumsum([_EDGE / 2, *tall]), strict=False)):
        middle = top + tall[place] / 2
        steps = np.arange(len(rows))
        colours = [INK if step < len(rows) - place else FAINT for step in steps]
        axes.bar(_EDGE + _STEP_WIDE * steps, -(_LOWEST + _RISE * steps), 0.8 * _STEP_WIDE, middle + 0.1, color=colours)
        look: dict[str, Any] = {"fontsize": LETTERS, "va": "center", "linespacing": 1.1}
        axes.text(_EDGE + _STAIR, middle, "\n".join(words), color=_QUIET, **look)
        axes.text(left, middle, "\n".join(own), color=INK, **look)
        if place:
            axes.axhline(top, color=FAINT, linewidth=0.6)
    return figure


def _verdict_sentences(ladder: Ladder, names: Naming) -> tuple[str, ...]:
    """Return one sentence per attribute, the most certain first."""
    rows = ladder.verdicts.sort_values("verdict", key=lambda kinds: kinds.map(list(_REACHED).index), kind="stable")
    return tuple(_verdict(row, names) for row in rows.to_dict("records"))


def _step(row: Mapping[str, Any], about: Shown) -> tuple[str, str]:
    """Return what a step adds, and what it cannot say."""
    return (f"Stops here: {row['stopped']}.", "") if row["stopped"] else _WRITERS[row["step"]](about)


def _moves(about: Shown) -> tuple[str, str]:
    count = int(about.result.steps["moves"]["counts"].sum())
    return (
        f"The blends differ in {counted(count, 'independent way')}, so no more than {counted(count, 'effect')} can be "
        "told apart on any attribute.",
        "Which of them matters.",
    )


def _swaps(about: Shown) -> tuple[str, str]:
    seen, asked = about.result.standing_out("swaps")
    return (
        f"{seen} of {asked} effects (attributes times swaps) stand out over the assessors.",
        "Whether another batch would show them: the assessors all judged the same jars.",
    )


def _prototypes(about: Shown) -> tuple[str, str]:
    seen, asked = about.result.standing_out("prototypes")
    return (
        f"{seen} of {asked} effects also stand out against the scatter from prototype to prototype.",
        "Which property of the emollient did it: an effect belongs to the whole swap.",
    )


def _aliases(about: Shown) -> tuple[str, str]:
    groups = int(about.result.steps["aliases"]["group"].nunique())
    if not groups:
        return ("No two emollients or properties move together closely.", "Looser ties; see the correlations.")
    return (
        f"{counted(groups, 'group')} of emollients and properties move together in these blends.",
        "Which member of a group matters; no data on these prototypes can say.",
    )


def _descriptors(about: Shown) -> tuple[str, str]:
    facts = about.result.facts.iloc[0]
    count = {name: int(facts[name]) for name in ("below_5_percent", "questions", "n", "descriptors", "moves")}
    adds = (
        f"{count['below_5_percent']} of {count['questions']} pairs of attribute and property show p < 0.05, where "
        f"chance alone gives about {format_number(facts['by_chance'], 0)}. With {count['n']} blends one pair chosen "
        f"beforehand must reach r = {format_number(facts['r_needed'], 2)}; the best of {count['descriptors']} "
        f"properties that are pure noise reaches {format_number(facts['r_by_chance'], 2)} in half of all studies."
    )
    told = [
        f"{about.names.attribute(str(row['attribute']))} goes with {descriptor_words(str(row['descriptor']))}"
        for row in about.result.named.to_dict("records")
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


def _prediction(about: Shown) -> tuple[str, str]:
    good, asked = about.result.standing_out("prediction")
    numbers = about.result.prediction
    first = numbers.iloc[0]
    adds = (
        f"{int(first['n_descriptors'])} properties together predict left-out prototypes better than chance on {good} "
        f"of {asked} attributes (the smallest p-value possible here is {format_p(float(first['floor']))}"
        f", {int(first['arrangements']):,} different orders of the prototypes)."
    )
    if numbers["q2_swaps"].notna().any():
        swaps = int((numbers["q2_swaps"] >= numbers["q2"]).sum())
        adds += f" The swaps alone predict as well or better on {swaps} of {asked}."
    return adds, "Which property carries the prediction; no share of it belongs to any one of them."


def _mixture(about: Shown) -> tuple[str, str]:
    told = [
        f"the {row['model']} model describes {row['describes']} of {row['asked']} attributes and predicts their "
        f"left-out blends better than the mean does, and misses something on {row['misses']}"
        for row in about.result.mixture_models().to_dict("records")
    ]
    if not told:
        return ("", "The blends are too few for any mixture model.")
    return (f"{capital('; '.join(told))}.", "What a pure emollient would do: coefficients speak of blends nobody made.")


def _ceiling(about: Shown) -> tuple[str, str]:
    numbers = about.result.steps["ceiling"]
    share = numbers["ceiling"]
    least = numbers["attribute"].iloc[int(share.argmin())]
    return (
        f"{format_share(float(share.min()))} to {format_share(float(share.max()))} of the differences between the "
        f"means is not the panel's own error, least for {about.names.attribute(str(least))}; no link to the formulas "
        "can explain more.",
        "Where the rest of the differences comes from: emollients, structure, batch or order.",
    )


def _verdict(row: Mapping[Any, Any], names: Naming) -> str:
    attribute, kind = names.attribute(row["attribute"]), row["verdict"]
    swaps, doubtful = ([swap_words(swap) for swap in row[name].split(JOIN) if swap] for name in ("swaps", "doubtful"))
    running = [descriptor_words(name) for name in row["running"].split(JOIN) if name]
    tied = [each.partition(WITH) for each in row["along"].split(JOIN) if each]
    along = [f"goes along with {swap_words(change)} or the {factor}" for change, _, factor in tied]
    sentence = {
        "driver": (
            f"{attribute} goes with {descriptor_words(row['driver'])}, as said beforehand, and nothing else explains "
            "it as well. Confirm it with a prototype made for that."
        ),
        "swaps": (
            f"{attribute}: goes with {format_list(swaps)}, beyond the scatter of the assessors and beyond that of the "
            "prototypes."
        ),
        "along": f"{attribute}: {format_list(along)}; these data cannot tell which.",
        "assessors": (
            f"{attribute}: the assessors agree on {format_list(doubtful)}; from prototype to prototype it is not sure."
        ),
        "unclear": f"{attribute}: the prototypes differ, but no swap stands out.",
        "alike": f"{attribute}: the prototypes are not told apart.",
    }[kind]
    if kind == "swaps" and doubtful:
        sentence += f" Beyond the scatter of the assessors, not beyond that of the prototypes: {format_list(doubtful)}."
    if along and kind != "along":
        sentence += f" Besides, {format_list(along)}."
    if running and kind != "driver":
        sentence += f" It goes along with {format_list(running)}; these data cannot say which, if any, is the cause."
    return sentence


_WRITERS: dict[str, Callable[[Shown], tuple[str, str]]] = {
    "moves": _moves,
    "swaps": _swaps,
    "prototypes": _prototypes,
    "aliases": _aliases,
    "descriptors": _descriptors,
    "prediction": _prediction,
    "mixture": _mixture,
    "ceiling": _ceiling,
}


def _significant(value: float) -> str:
    """Return a slope with two significant digits: properties have very different units."""
    return format_number(value, next((digits for digits in range(4) if abs(value) * 10**digits >= 10), 4))


def _link_rows(ladder: Ladder) -> pd.DataFrame:
    links = ladder.steps["descriptors"]
    if links.empty:
        return links
    links = links.loc[links["r"].notna()]
    return links.iloc[(-links["r"].abs()).argsort(kind="stable")].reset_index(drop=True)


def _without_one(row: Mapping[str, Any], _: Shown) -> str:
    ends = [_significant(row[name]) for name in ("slope_low", "slope_high")]
    return NOTHING if NOTHING in ends else " to ".join(ends)


def _said_beforehand(row: Mapping[str, Any], _: Shown) -> str:
    words = {1: "rises", -1: "falls"}.get(int(row["expected"]))
    return f"{words}: {'yes' if row['agrees'] == 1 else 'no'}" if words else NOTHING


LADDER = Table(
    "ladder",
    "How far the evidence carries, step by step",
    lambda ladder: pd.DataFrame({"step": list(ladder.stopped), "stopped": list(ladder.stopped.values())}),
    (
        text("Step", "step", _TITLES),
        each_row("What it adds", lambda row, about: _step(row, about)[0], "step"),
        each_row("What it cannot say", lambda row, about: _step(row, about)[1] or NOTHING, "step"),
    ),
    key=("step",),
)
_LINKS = Table(
    "links",
    "One property of the blend at a time, the closest first",
    _link_rows,
    (
        ATTRIBUTE,
        each_row("Property of the blend", lambda row, _: descriptor_words(row["descriptor"]), "descriptor"),
        number("r", "r", 2),
        each_row("Slope", lambda row, _: _significant(row["slope"]), "slope", figure=True),
        each_row("Slope without any one blend", _without_one, "slope_low", figure=True),
        P_HOLM,
        each_row("Said beforehand, and so found", _said_beforehand, "expected"),
        yes_no("Moves with others", "aliased"),
    ),
    key=("attribute", "descriptor"),
)
PREDICTION = Table(
    "prediction",
    "Prediction of prototypes that were left out: the part of the differences that is predicted (1 is all of it, 0 no "
    "better than the mean)",
    "prediction",
    (
        ATTRIBUTE,
        number("All properties", "q2", 2),
        number("Chance (1 in 20)", "q2_chance", 2),
        number("The swaps alone", "q2_swaps", 2),
        p_value("p, predicted", "p_value"),
        p_value("p, predicted, Holm", "p_adjusted"),
        p_value("Smallest p possible", "floor"),
        share("Most that can be explained", "ceiling"),
    ),
    key=("attribute",),
    code="L",
    sources=(Source("scores", same={"attribute": "attribute"}),),
    none="There are too few prototypes to predict those that are left out.",
)
