"""Which sample consumers prefer, in plain sentences made from the counts, and what preference cannot show."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from panel.models.consumers.preference import LEFT_OUT, WAYS, Preferences
from panel.views.drawing.formats import format_list, format_share, p_words
from panel.views.drawing.naming import Naming

_ORDER_SEEN = 0.05


def preference_headline(result: Preferences) -> str:
    """Return the answer in one sentence."""
    parts = []
    for row in result.counts.to_dict("records"):
        ways = _ways(result, row)
        superior = [name for name in (row["prototype"], row["versus"]) if _all(ways, name, "superior")]
        alike = _all(ways, row["prototype"], "parity")
        both = f"{row['prototype']} and {row['versus']}"
        if superior:
            other = row["versus"] if superior[0] == row["prototype"] else row["prototype"]
            parts.append(f"{superior[0]} is preferred to {other}, however votes for no preference are counted")
        elif row["repeated"]:
            parts.append(f"{both}: people answered more than once; see the line below")
        elif alike:
            parts.append(f"{both} are preferred alike, however votes for no preference are counted")
        else:
            parts.append(f"{both}: {_not_everywhere(ways)}")
    return "; ".join(parts) + "."


def _not_everywhere(ways: pd.DataFrame) -> str:
    if ways["superior"].any():
        return "a preference is shown in some ways of counting votes for no preference, not in all"
    return "that one of them is preferred is not shown, however votes for no preference are counted"


def preference_heads(result: Preferences) -> list[str]:
    """Return the words at the head of the lines that begin a question."""
    return [str(question) for question in result.counts["question"]]


def what_the_preferences_show(result: Preferences, names: Naming) -> list[str]:
    """Return lines for each question: the counts, what may be said in which way of counting, the order."""
    lines = []
    for row in result.counts.to_dict("records"):
        lines += [_counts(row, names), *_verdicts(_ways(result, row), row), *_leaning(row), *_order(row)]
    return lines


def _counts(row: Mapping[Any, Any], names: Naming) -> str:
    decided = row["chosen"] + row["other"]
    return (
        f"{row['question']}: of {row['n']} answers by {row['n_people']} people {row['chosen']} preferred "
        f"{names.prototype(str(row['prototype']))}, {row['other']} preferred {names.prototype(str(row['versus']))}, "
        f"{row['no_preference']} had no preference. Of the {decided} who chose, {row['needed']:.0f} are needed for a "
        f"preference named beforehand, {row['needed_two_sided']:.0f} for one either way."
    )


def _verdicts(ways: pd.DataFrame, row: Mapping[Any, Any]) -> list[str]:
    if row["repeated"]:
        return []
    lines = []
    low, high = 50 - 100 * row["margin"], 50 + 100 * row["margin"]
    for kind, words in (
        ("superior", "{} is preferred by more than half"),
        ("unsurpassed", f"{{}} is preferred by more than {low:g} %, so unsurpassed by the other"),
    ):
        for name in (row["prototype"], row["versus"]):
            lines += _in_ways(ways, name, kind, words.format(name))
    lines += _in_ways(ways, row["prototype"], "parity", f"Preference is at parity, between {low:g} and {high:g} %")
    mine = ways.loc[ways["prototype"] == row["prototype"]]
    other = ways.loc[ways["prototype"] == row["versus"]]
    paradox = ((mine["superior"] | other["superior"].to_numpy()) & mine["parity"]).any()
    if paradox:
        lines.append(
            "Both a preference and parity are shown: with so many people a difference that is too small to matter is "
            "still seen. Report both; neither may be picked alone."
        )
    return lines or ["Neither a preference, nor unsurpassed, nor parity is shown in any way of counting."]


def _in_ways(ways: pd.DataFrame, name: str, kind: str, words: str) -> list[str]:
    rows = ways.loc[ways["prototype"] == name]
    shown = [str(way) for way in rows.loc[rows[kind], "way"]]
    if not shown:
        return []
    column = {"superior": "p_value", "unsurpassed": "p_unsurpassed", "parity": "p_parity"}[kind]
    worst = p_words(rows.loc[rows[kind], column].max())
    if len(shown) == len(WAYS):
        return [f"{words}, in all three ways of counting votes for no preference ({worst} at the most)."]
    return [f"{words}, only with votes for no preference {format_list(shown)} ({worst} at the most)."]


def _leaning(row: Mapping[Any, Any]) -> list[str]:
    if not row["repeated"]:
        return []
    if np.isnan(row["p_two_sided"]):
        return ["People answered more than once, and nothing can be tested beside their leanings."]
    return [
        f"Allowing for each person's leaning, {p_words(row['p_two_sided'])} for a preference either way, votes for no "
        "preference left out."
    ]


def _order(row: Mapping[Any, Any]) -> list[str]:
    if np.isnan(row["p_order"]):
        return ["Which sample was tried first is not known for both orders, so the order was not checked."]
    share = row["order_first"] / row["order_n"]
    told = f"{row['order_first']} of {row['order_n']} chose what they tried first ({format_share(share)})"
    if row["p_order"] < _ORDER_SEEN:
        return [
            f"The order matters: {told}, {p_words(row['p_order'])}. It cancels only if both orders were used alike."
        ]
    return [f"No effect of the order is seen: {told}, {p_words(row['p_order'])}."]


def what_preferences_cannot_show(result: Preferences) -> tuple[str, ...]:
    """Return what a reader must not take from preferences."""
    lines = [
        "A preference says which of two, not by how much and not why; both may be disliked.",
        "A preference that is not shown is not parity, and parity within 5 points needs several hundred people.",
        "It holds for people like these, this batch, dose and place. Whether it may be advertised is for a regulatory "
        "professional and local law.",
    ]
    if (result.counts["no_preference"] > 0).any():
        lines.append("A percentage of those who chose is not a percentage of everybody asked; always name the base.")
    return tuple(lines)


def _ways(result: Preferences, row: Mapping[Any, Any]) -> pd.DataFrame:
    pair = {row["prototype"], row["versus"]}
    ways = result.ways
    return ways.loc[(ways["question"] == row["question"]) & ways["prototype"].isin(pair) & ways["versus"].isin(pair)]


def _all(ways: pd.DataFrame, name: str, kind: str) -> bool:
    """Return whether a verdict stands in every way of counting."""
    rows = ways.loc[ways["prototype"] == name]
    return bool(len(rows) and rows[kind].all() and LEFT_OUT in set(rows["way"]))
