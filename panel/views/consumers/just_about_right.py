"""What people find too little or too much, what it costs in liking, and which change could be tested: in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from panel.models.consumers.answers import QuestionFacts
from panel.models.consumers.just_about_right import ALL_SIDES, LEAST_GROUP, LEAST_SHARE, JustAboutRight
from panel.study.naming import Naming
from panel.views.consumers.agreement import share_words
from panel.views.drawing.pictures import FAINT, INK, svg_text, text_width
from panel.words import (
    NOTHING,
    format_change,
    format_interval,
    format_list,
    format_number,
    format_p,
    format_share,
    p_words,
)

_MOST_CHANGES = 2  # proposed for one case; the table has them all
_LITTLE, _MUCH = "too little", "too much"


def side_words(result: JustAboutRight, question: str, side: str) -> str:
    """Return a side in the words of the question: `too thin` where its low end is `much too thin`."""
    known = result.facts.get(question, QuestionFacts())
    end = (known.low_end if side == _LITTLE else known.high_end).removeprefix("much ").strip()
    return end if side in (_LITTLE, _MUCH) and end else side


def right_headline(result: JustAboutRight) -> str:
    """Return the answer in one sentence."""
    if result.drops.empty:
        return "None of the questions can be read as too little or too much."
    if not result.liking:
        return "Counted, but not weighed: without a liking question nobody can say what too little or too much costs."
    moves = result.drops.loc[result.drops["verdict"] == "move"]
    if moves.empty:
        return (
            "For no prototype is it shown that what people find too little or too much costs liking. That does not "
            "show that it costs nothing."
        )
    worst = moves.sort_values("weighted", ascending=False)
    cases = [f"{row['prototype']} ({_side(result, row)})" for row in worst.to_dict("records")]
    return f"Worth a move, because those who mind like it less: {format_list(cases)}."


def what_costs_liking(result: JustAboutRight) -> list[str]:
    """Return one line for each case where at least a fifth are on one side and something can be said about it."""
    rows = result.drops.loc[result.drops["verdict"].isin(["move", "perhaps", "small group"])]
    order = {"move": 0, "perhaps": 1, "small group": 2}
    rows = rows.assign(order=rows["verdict"].map(order)).sort_values(
        ["order", "weighted"], ascending=[True, False], kind="stable"
    )
    lines = [drop_sentence(result, row) for row in rows.to_dict("records")]
    if (rows["verdict"] == "perhaps").any():
        lines.append("Where it can be chance, ask again before moving anything.")
    return lines


def drop_sentence(result: JustAboutRight, row: Mapping[Any, Any]) -> str:
    """Return the sentence for one prototype, question and side."""
    head = f"{row['prototype']}: {_side(result, row)} for {share_words(int(row['count']), int(row['base']))}"
    if row["verdict"] == "few people":
        return f"{head}: fewer than {100 * LEAST_SHARE:.0f} %, no reason to move."
    if row["verdict"] == "small group":
        return (
            f"{head}. One of the groups to compare has fewer than {LEAST_GROUP} people "
            f"({row['n_right']} find it just about right), so what it costs is not tested."
        )
    if np.isnan(row["estimate"]):
        return f"{head}. What it costs in liking is not known."
    less = f"{format_number(abs(row['estimate']))} {'less' if row['estimate'] >= 0 else 'more'}"
    interval = (
        f"{100 * result.level:g} % interval of the drop {format_interval(row['ci_low'], row['ci_high'])}, "
        f"{p_words(row['p_adjusted'])} after Holm"
    )
    if row["verdict"] == "move":
        told = f"{head}, and they like it {less} ({interval}): try it {_other_way(result, row)}."
    elif row["verdict"] == "perhaps":
        told = f"{head}, and they like it {less} ({interval}); among so many questions this can be chance."
    else:
        return f"{head}, but no cost in liking is shown ({interval}): no reason to move."
    if row["split"]:
        told += " As many find the opposite: a move would lose others. Look for groups of consumers first."
    return told


def over_all_prototypes(result: JustAboutRight) -> list[str]:
    """Return one line per question: what either side costs within consumers, over all prototypes."""
    lines = []
    for question, rows in result.within.groupby("question", sort=False):
        told = [_within_words(result, row) for row in rows.to_dict("records")]
        lines.append(f"{question}: {'; '.join(told)}.")
    return lines if result.liking else []


def changes_to_test(result: JustAboutRight, names: Naming) -> list[str]:
    """Return, as questions, the tested changes of emollients that go the wanted way, two at most for one case."""
    lines = []
    for _, rows in result.moves.groupby(["prototype", "question", "side"], sort=False):
        lines += [_change(result, row, names) for row in rows.head(_MOST_CHANGES).to_dict("records")]
    return lines


def what_right_cannot_show(result: JustAboutRight) -> tuple[str, ...]:
    """Return what a reader must not take from just-about-right answers."""
    return (
        "Those who find it too thick are other people than those who find it right; they may like less for another "
        "reason. Only a prototype made differently shows whether they would like it more.",
        "Just about right is not a strength. How thick a prototype is, the trained panel says.",
        "A change of emollients moves more than one attribute. Look at all of them on the page Emollients before "
        "making it.",
        f"The line of {100 * LEAST_SHARE:.0f} % and the least group of {LEAST_GROUP} are custom, not a proof.",
    )


def _side(result: JustAboutRight, row: Mapping[Any, Any]) -> str:
    return f"{row['question']} {side_words(result, str(row['question']), str(row['side']))}"


def _other_way(result: JustAboutRight, row: Mapping[Any, Any]) -> str:
    side = side_words(result, str(row["question"]), str(row["side"]))
    if side in (_LITTLE, _MUCH):
        return "with more of it" if side == _LITTLE else "with less of it"
    return f"less {side.removeprefix('too ')}"


def _within_words(result: JustAboutRight, row: Mapping[Any, Any]) -> str:
    side = side_words(result, str(row["question"]), str(row["side"]))
    if np.isnan(row["ci_low"]):
        return f"{side}: too few people changed their answer to say"
    ends = format_interval(row["ci_low"], row["ci_high"])
    points = f"{format_number(row['estimate'])} liking points within consumers ({ends})"
    if row["p_adjusted"] < 1 - result.level and row["estimate"] > 0:
        return f"{side} costs {points}"
    if row["ci_low"] > 0:
        return f"{side} may cost {points}, but among so many questions this can be chance"
    return f"{side}: no cost shown ({ends})"


def _change(result: JustAboutRight, row: Mapping[Any, Any], names: Naming) -> str:
    attribute = names.attribute(str(row["attribute"]))
    effect = f"{format_number(abs(row['estimate']), names.digits)}"
    ends = sorted((abs(row["ci_low"]), abs(row["ci_high"])))
    side = side_words(result, str(row["question"]), str(row["side"]))
    told = (
        f"Would {row['prototype']} still be {side} on {row['question']} with {row['percent']:g} % "
        f"{row['added']} in place of {row['removed']}? In this base the trained panel scored that change "
        f"{effect} {'higher' if row['estimate'] > 0 else 'lower'} on {attribute} "
        f"({100 * result.level:g} % interval {format_interval(ends[0], ends[1], names.digits)})."
    )
    if row["gives"]:
        told += f" That is {row['gives']}: look at its answers first."
    if row["also"]:
        told += f" In this study {row['also']} changed along with it; which of them did it cannot be said."
    return told


def moves_caution(moves: pd.DataFrame) -> str:
    """Return the sentence over the changes; empty where there are none."""
    if moves.empty:
        return ""
    return "Questions to test, not orders: each names a change the panel has tested that goes the wanted way."


# Just-about-right results as tables a person reads.


VERDICT_WORDS = {
    "move": "worth a move",
    "perhaps": "perhaps; can be chance",
    "no cost seen": "no cost shown",
    "few people": "fewer than 20 %, not weighed",
    "small group": "group too small, not tested",
}


def right_shares_table(result: JustAboutRight, question: str) -> pd.DataFrame:
    """Return one row per prototype for one question: count, base and per cent of the three sides."""
    rows = result.shares.loc[result.shares["question"] == question]
    told = [share_words(int(x), int(n)) for x, n in zip(rows["count"], rows["base"], strict=True)]
    cell = dict(zip(zip(rows["prototype"], rows["side"], strict=True), told, strict=True))
    prototypes = list(dict.fromkeys(rows["prototype"]))
    columns = {
        side_words(result, question, side).capitalize(): [cell[prototype, side] for prototype in prototypes]
        for side in ALL_SIDES
    }
    return pd.DataFrame({"Prototype": prototypes} | columns, dtype="str")


def drops_table(result: JustAboutRight) -> pd.DataFrame:
    """Return one row per prototype, question and side with its mean drop and verdict."""
    rows = result.drops
    return pd.DataFrame(
        {
            "Prototype": list(rows["prototype"]),
            "Question": list(rows["question"]),
            "Side": _sides(result, rows),
            "People": [share_words(int(x), int(n)) for x, n in zip(rows["count"], rows["base"], strict=True)],
            "Liked less by (against just about right)": [format_number(value) for value in rows["estimate"]],
            _interval_heading(result.level): _intervals(rows, 1),
            "p after Holm": [format_p(value) for value in rows["p_adjusted"]],
            "Share times drop": [format_number(value, 2) for value in rows["weighted"]],
            "What it says": [VERDICT_WORDS[verdict] for verdict in rows["verdict"]],
        },
        dtype="str",
    )


def balance_table(result: JustAboutRight) -> pd.DataFrame:
    """Return one row per prototype and question: the weighted drops beside the means they follow from."""
    rows = result.balance
    return pd.DataFrame(
        {
            "Prototype": list(rows["prototype"]),
            "Question": list(rows["question"]),
            "People": [f"{n:d}" for n in rows["n"]],
            "Mean liking, just about right": [format_number(value, 2) for value in rows["right_mean"]],
            "Mean liking, everybody": [format_number(value, 2) for value in rows["grand_mean"]],
            "Both drops weighted by their shares": [format_number(value, 2) for value in rows["weighted"]],
        },
        dtype="str",
    )


def within_table(result: JustAboutRight) -> pd.DataFrame:
    """Return one row per question and side: the drop within consumers over all prototypes."""
    rows = result.within
    return pd.DataFrame(
        {
            "Question": list(rows["question"]),
            "Side": _sides(result, rows),
            "Liked less by, within consumers": [format_number(value) for value in rows["estimate"]],
            _interval_heading(result.level): _intervals(rows, 1),
            "p after Holm": [format_p(value) for value in rows["p_adjusted"]],
            "Consumers whose answers differ": [f"{n:d}" for n in rows["n_consumers"]],
        },
        dtype="str",
    )


def right_pairs_table(result: JustAboutRight) -> pd.DataFrame:
    """Return one row per question and pair of prototypes: do the same people answer differently?"""
    rows = result.pairs
    return pd.DataFrame(
        {
            "Question": list(rows["question"]),
            "Prototype": list(rows["prototype"]),
            "Compared with": list(rows["versus"]),
            "People who judged both": [f"{n:d}" for n in rows["n"]],
            "Chi-square": [format_number(value) for value in rows["statistic"]],
            "Degrees of freedom": [f"{df:d}" for df in rows["df"]],
            "p after Holm": [format_p(value) for value in rows["p_adjusted"]],
        },
        dtype="str",
    )


def moves_table(result: JustAboutRight, names: Naming) -> pd.DataFrame:
    """Return one row per tested change that goes the wanted way."""
    rows = result.moves
    found = zip(rows["question"], _sides(result, rows), strict=True)
    return pd.DataFrame(
        {
            "Prototype": list(rows["prototype"]),
            "Found": [f"{question}: {side}" for question, side in found],
            "Take out": list(rows["removed"]),
            "Put in": list(rows["added"]),
            "% of the formula": [format_number(value, 2) for value in rows["percent"]],
            "Attribute": [names.attribute(str(name)) for name in rows["attribute"]],
            "Change the panel scored": [format_change(value, names.digits) for value in rows["estimate"]],
            _interval_heading(result.level): _intervals(rows, names.digits),
            "Already made as": [name or NOTHING for name in rows["gives"]],
        },
        dtype="str",
    )


def refused_table(result: JustAboutRight) -> pd.DataFrame:
    """Return the questions that cannot be asked both ways, with the reason."""
    return pd.DataFrame(
        {"Question": list(result.refused["question"]), "Why not": list(result.refused["why"])}, dtype="str"
    )


def _sides(result: JustAboutRight, rows: pd.DataFrame) -> list[str]:
    return [side_words(result, str(q), str(s)) for q, s in zip(rows["question"], rows["side"], strict=True)]


def _interval_heading(level: float) -> str:
    return f"{100 * level:g} % interval"


def _intervals(rows: pd.DataFrame, digits: int) -> list[str]:
    return [format_interval(low, high, digits) for low, high in zip(rows["ci_low"], rows["ci_high"], strict=True)]


# How many find too little, just about right, too much: one bar per prototype, in three parts.


_FONT = 9.0  # points
_POINTS = 72.0  # to the inch
_WIDTH, _BAR, _TOP, _BOTTOM, _MARGIN = 5.0, 0.3, 0.5, 0.55, 0.12  # inches
_LEAST_WRITTEN = 0.06  # share below which a number does not fit into its part
_PARTS = (("#9ecae1", "///"), ("#e6e6e6", ""), ("#fdae6b", "..."))  # light enough for dark words on them


def right_figure(result: JustAboutRight, question: str) -> Figure:
    """Return the bars of one question; hatching tells the parts apart without colour."""
    rows = result.shares.loc[result.shares["question"] == question]
    prototypes = [str(name) for name in dict.fromkeys(rows["prototype"])]
    left = max(text_width(name, _FONT) for name in prototypes) / _POINTS + 2 * _MARGIN
    depth = _BAR * len(prototypes)
    width, height = left + _WIDTH + 2 * _MARGIN, _TOP + depth + _BOTTOM
    figure = Figure(figsize=(width, height))
    axes = figure.add_axes((left / width, _BOTTOM / height, _WIDTH / width, depth / height))
    share = rows.pivot_table(index="prototype", columns="side", values="share", sort=False)
    for place, prototype in enumerate(prototypes):
        start = 0.0
        for side, (colour, hatch) in zip(ALL_SIDES, _PARTS, strict=True):
            value = float(share.loc[[prototype], side].iloc[0])
            axes.barh(place, value, 0.8, start, color=colour, hatch=hatch, edgecolor="white", linewidth=0.5)
            if value >= _LEAST_WRITTEN:
                _write(axes, start + value / 2, place, format_share(value), colour)
            start += value
    axes.set(xlim=(0, 1), ylim=(len(prototypes) - 0.4, -0.6))
    axes.set_yticks(range(len(prototypes)), prototypes, fontsize=_FONT, color=INK)
    axes.set_xticks([0, LEAST_SHARE, 0.5, 1 - LEAST_SHARE, 1], ["0", "20", "50", "80", "100 %"])
    axes.tick_params(axis="x", labelsize=_FONT - 1, colors=INK)
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="x", color=FAINT, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.spines[["top", "right", "left"]].set_visible(False)
    axes.set_xlabel("Share of those who answered", fontsize=_FONT, color=INK)
    _legend(axes, [side_words(result, question, side) for side in ALL_SIDES])
    return figure


def _legend(axes: Axes, labels: list[str]) -> None:
    """Write the names of the three parts above the bars."""
    handles = [
        Patch(facecolor=colour, hatch=hatch, edgecolor="white", label=label)
        for (colour, hatch), label in zip(_PARTS, labels, strict=True)
    ]
    axes.legend(
        handles=handles,
        loc="lower left",
        bbox_to_anchor=(0, 1),
        ncols=len(handles),
        fontsize=_FONT,
        frameon=False,
        borderaxespad=0.2,
    )


def _write(axes: Axes, across: float, place: int, words: str, colour: str) -> None:
    box = {"facecolor": colour, "edgecolor": "none", "pad": 1.0}
    axes.text(across, place, words, fontsize=_FONT - 1, color=INK, ha="center", va="center", bbox=box)


def right_alt_text(result: JustAboutRight, question: str) -> str:
    """Return what the picture shows, for people who hear it."""
    little, right, much = (side_words(result, question, side) for side in ALL_SIDES)
    return f"Shares of {little}, {right} and {much} on {question}, by prototype; the table holds the numbers."


def right_svg(result: JustAboutRight, question: str, *, text_as_paths: bool = True) -> str:
    """Return the bars of one question as SVG text."""
    return svg_text(
        right_figure(result, question),
        title=f"Just about right: {question}",
        description=right_alt_text(result, question),
        text_as_paths=text_as_paths,
    )
