"""What people find too little or too much, what it costs in liking, and which change could be tested: in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from panel.models.consumers.just_about_right import JustAboutRight
from panel.models.consumers.question_facts import QuestionFacts
from panel.models.consumers.right_drops import LEAST_GROUP, LEAST_SHARE
from panel.views.consumers.share_words import share_words
from panel.views.drawing.formats import format_interval, format_list, format_number, p_words
from panel.views.drawing.naming import Naming

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
