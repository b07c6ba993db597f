"""What tests with a forced choice say, in plain sentences made from the numbers, and what they cannot say."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.figure import Figure
from matplotlib.ticker import PercentFormatter

from panel.errors import ModelError
from panel.models.consumers.choices import SEEN_WITH
from panel.models.consumers.forced_choice import CANNOT_TELL, DIFFERS, SIMILAR, SMALL, ForcedChoices
from panel.models.consumers.preference import LEFT_OUT, WAYS, Preferences
from panel.plan.consumer_numbers import similar, told_apart
from panel.study.naming import Naming
from panel.views.drawing.interval_picture import FONT, interval_figure
from panel.views.drawing.pictures import COLOURS, INK, svg_text
from panel.words import (
    NOTHING,
    format_interval,
    format_list,
    format_number,
    format_p,
    format_share,
    p_words,
)

METHOD_WORDS = MappingProxyType(
    {
        "paired": "paired comparison",
        "3-AFC": "3-AFC test",
        "triangle": "triangle test",
        "duo-trio": "duo-trio test",
        "tetrad": "tetrad test",
    }
)
_VERDICTS = MappingProxyType(
    {
        DIFFERS: "people can tell them apart",
        SMALL: "people can tell them apart, but fewer than the share that matters",
        SIMILAR: "similar: fewer people than the share that matters can tell them apart",
        CANNOT_TELL: "no answer: neither a difference nor similarity is shown",
    }
)


def choice_headline(result: ForcedChoices) -> str:
    """Return the answer in one sentence."""
    found = result.tests["verdict"].value_counts()
    total = len(result.tests)
    if total == 1:
        row = result.tests.iloc[0]
        return f"{row['prototype']} and {row['versus']}: {_VERDICTS[row['verdict']]}."
    apart = int(found.get(DIFFERS, 0) + found.get(SMALL, 0))
    alike = int(found.get(SIMILAR, 0) + found.get(SMALL, 0))
    return f"Of {total} tests, {apart} {'shows' if apart == 1 else 'show'} a difference and {alike} similarity."


def what_the_choices_show(result: ForcedChoices, names: Naming) -> list[str]:
    """Return one line per test, beginning with the question."""
    return [_line(row, result, names) for row in result.tests.to_dict("records")]


def choice_heads(result: ForcedChoices) -> list[str]:
    """Return the words at the head of each line."""
    return [str(question) for question in result.tests["question"]]


def _line(row: Mapping[Any, Any], result: ForcedChoices, names: Naming) -> str:
    pair = f"{names.prototype(str(row['prototype']))} and {names.prototype(str(row['versus']))}"
    parts = [
        f"{row['question']}: {METHOD_WORDS[row['method']]} of {pair}, {_counted(row)} "
        f"({p_words(row['p_adjusted'])}{_needed(row)}): {_VERDICTS[row['verdict']]}."
    ]
    level = f"{100 * result.level:g} % interval"
    parts.append(
        f"d-prime is {format_number(row['d_prime'], 2)} ({level} {format_interval(row['d_low'], row['d_high'], 2)}); "
        f"{format_share(row['told'])} of people can tell ({_shares(row['told_low'], row['told_high'])})."
    )
    if np.isfinite(row["limit"]):
        shown = "is shown" if row["p_similar"] <= round(1 - result.level, 12) else "is not shown"
        most = f", at most {row['most']:.0f} right would show it" if row["most"] >= 0 else ""
        when = "" if row["limit_beforehand"] else "; that share was not set beforehand, so this decides nothing"
        parts.append(
            f"That fewer than {format_share(row['limit'])} can tell {shown} ({p_words(row['p_similar'])}{most}{when})."
        )
    return " ".join([*parts, *_over_sessions(row)])


def _counted(row: Mapping[Any, Any]) -> str:
    what = f"chose {row['prototype']}" if row["method"] == "paired" else "right"
    people = f" by {row['n_people']} people" if row["repeated"] else ""
    return f"{row['right']} of {row['n']} {what}{people}"


def _needed(row: Mapping[Any, Any]) -> str:
    if row["look"]:
        return f" at look {row['look']} of those planned"
    if row["needed"] > row["n"]:
        return ", so few answers could not show a difference whatever they are"
    return f", at least {row['needed']} needed"


def _shares(low: float, high: float) -> str:
    """Return an interval of shares; the ends are widened to whole per cents, never narrowed."""
    return f"{np.floor(100 * low + 1e-9):.0f} to {np.ceil(100 * high - 1e-9):.0f} %"


def _over_sessions(row: Mapping[Any, Any]) -> list[str]:
    if row["n_sessions"] < 2:
        return []
    same = "show no different shares" if row["p_same"] > 0.05 else "show different shares; look at each"
    exact = "" if row["p_same_exact"] else ", approximate"
    return [f"The {row['n_sessions']} sessions {same} ({p_words(row['p_same'])}{exact})."]


def how_much_it_could_see(result: ForcedChoices) -> list[str]:
    """Return, per test, what so many answers could have shown, and how many would be needed."""
    return [line for row in result.tests.to_dict("records") for line in _power(row, result.level)]


def _power(row: Mapping[Any, Any], level: float) -> list[str]:
    if row["repeated"]:
        return [
            f"{row['question']}: with repeated answers of the same people the number of people counts for more than "
            "the number of answers; plan with people."
        ]
    if np.isnan(row["seen"]):
        return [f"{row['question']}: {row['n']} answers are too few to show any difference."]
    parts = [
        f"{row['question']}: {row['n']} answers show a difference with a chance of {format_share(SEEN_WITH)} if "
        f"{np.ceil(100 * row['seen'] - 1e-9):.0f} % of people can tell "
        f"(d-prime {format_number(row['seen_d_prime'], 2)})."
    ]
    if np.isfinite(row["limit"]):
        parts.append(
            f"If {format_share(row['limit'])} can tell, the chance to show it is {format_share(row['power'])}; if "
            f"nobody can, the chance to show similarity is {format_share(row['power_similar'])}."
        )
        parts += _needed_numbers(row, level)
    return [" ".join(parts)]


def _needed_numbers(row: Mapping[Any, Any], level: float) -> list[str]:
    alpha = round(1 - level, 12)
    alpha = alpha / 2 if row["two_sided"] else alpha
    try:
        apart = told_apart(row["method"], row["limit"], alpha=alpha)
        alike = similar(row["method"], row["limit"], beta=round(1 - level, 12))
    except ModelError:
        return []
    return [
        f"For a chance of {format_share(apart.power)} ask {apart.always:,d} people to show the difference, "
        f"{alike.always:,d} to show similarity."
    ]


def repeated_words(result: ForcedChoices) -> list[str]:
    """Return what repeated answers say of how far people differ."""
    lines = []
    for row in result.repeated.to_dict("records"):
        if np.isnan(row["rho"]):
            lines.append(f"{row['question']}: all answers are alike, so each person counts once.")
            continue
        lines.append(
            f"{row['question']}: two answers of one person correlate by {format_number(row['rho'], 2)} "
            f"({p_words(row['p_no_spread'])} that people do not differ); {row['n']} answers by "
            f"{row['n_people']} people."
        )
    return lines


def what_choices_cannot_show(result: ForcedChoices) -> tuple[str, ...]:
    """Return what a reader must not take from these tests."""
    lines = [
        "No difference shown is not similarity shown. Similarity needs a share set beforehand and enough people.",
        "That people can tell two samples apart does not say what they notice, nor which one they like better.",
        "d-prime takes it that what is felt scatters alike for both samples and that people use the rule of the "
        "method; the share who can tell takes it that the others guess. They are two readings of the same count.",
    ]
    if (result.tests["method"] == "paired").any():
        lines.append("A paired comparison asks for one quality only; samples may differ in others.")
    return tuple(lines)


def choice_alt_text(result: ForcedChoices) -> str:
    """Return what the picture shows, for those who do not see it."""
    told = [
        f"{row['question']}: {row['right']} of {row['n']}, {row['needed']} needed"
        for row in result.tests.to_dict("records")
    ]
    return f"Share of right answers with intervals, beside guessing and the share needed. {'; '.join(told)}."


# Forced choices and preferences as tables a person reads: counts, needed counts, intervals, verdicts.


def choices_table(result: ForcedChoices) -> pd.DataFrame:
    """Return one row per test: counts, p-values, d-prime, share who can tell, verdict."""
    rows = result.tests
    level = f"{100 * result.level:g} % interval"
    return pd.DataFrame(
        {
            "Question": list(rows["question"]),
            "Test": [METHOD_WORDS[method] for method in rows["method"]],
            "Samples": _pairs(rows),
            "Right": _of(rows["right"], rows["n"]),
            "Needed": [
                str(needed) if needed <= n else NOTHING for needed, n in zip(rows["needed"], rows["n"], strict=True)
            ],
            "p": [format_p(value) for value in rows["p_value"]],
            "p, adjusted": [format_p(value) for value in rows["p_adjusted"]],
            "d-prime": [format_number(value, 2) for value in rows["d_prime"]],
            "Standard error": [format_number(value, 2) for value in rows["d_std_error"]],
            f"d-prime, {level}": _intervals(rows["d_low"], rows["d_high"], 2),
            "People who can tell": [format_share(value) for value in rows["told"]],
            f"People who can tell, {level} (%)": _intervals(100 * rows["told_low"], 100 * rows["told_high"], 1),
            "In words": list(rows["verdict"]),
        },
        dtype="str",
    )


def similarity_table(result: ForcedChoices) -> pd.DataFrame:
    """Return one row per test with a share that matters: most right answers, p-value."""
    rows = result.tests.loc[result.tests["limit"].notna()]
    return pd.DataFrame(
        {
            "Question": list(rows["question"]),
            "Share who may tell": [format_share(value) for value in rows["limit"]],
            "Set beforehand": ["yes" if value else "no" for value in rows["limit_beforehand"]],
            "Right": _of(rows["right"], rows["n"]),
            "Most that show similarity": [f"{value:.0f}" if value >= 0 else NOTHING for value in rows["most"]],
            "p of similarity": [format_p(value) for value in rows["p_similar"]],
            "Chance to show it if nobody can tell": [format_share(value) for value in rows["power_similar"]],
        },
        dtype="str",
    )


def choice_sessions_table(result: ForcedChoices) -> pd.DataFrame:
    """Return one row per session of each test."""
    rows = result.sessions
    return pd.DataFrame(
        {
            "Question": list(rows["question"]),
            "Session": [str(session) or NOTHING for session in rows["session"]],
            "Right": _of(rows["right"], rows["n"]),
            "Share": [format_share(value) for value in rows["share"]],
            "p, one-sided, this session alone": [format_p(value) for value in rows["p_value"]],
        },
        dtype="str",
    )


def preferences_table(result: Preferences) -> pd.DataFrame:
    """Return one row per question, direction and way of counting votes for no preference."""
    rows = result.ways
    level = f"{100 * result.level:g} % interval"
    words = [
        ", ".join(kind for kind in ("superior", "unsurpassed", "parity") if row[kind]) or NOTHING
        for row in rows.to_dict("records")
    ]
    return pd.DataFrame(
        {
            "Question": list(rows["question"]),
            "Prefer": list(rows["prototype"]),
            "To": list(rows["versus"]),
            "No preference": list(rows["way"]),
            "Count": [f"{count:g} of {base:d}" for count, base in zip(rows["count"], rows["base"], strict=True)],
            "Share": [format_share(value) for value in rows["share"]],
            f"{level}, exact (%)": _intervals(100 * rows["ci_low"], 100 * rows["ci_high"], 1),
            f"{level}, Wilson (%)": _intervals(100 * rows["wilson_low"], 100 * rows["wilson_high"], 1),
            "p, one-sided": [format_p(value) for value in rows["p_value"]],
            "p, two-sided": [format_p(value) for value in rows["p_two_sided"]],
            "Needed: superior": _reachable(rows["needed"], rows["base"]),
            "Needed: unsurpassed": _reachable(rows["unsurpassed_needed"], rows["base"]),
            "Parity": _regions(rows),
            "Shown": words,
        },
        dtype="str",
    )


def _regions(rows: pd.DataFrame) -> list[str]:
    ends = zip(rows["parity_low"], rows["parity_high"], strict=True)
    return [f"{low} to {high}" if low <= high else "no count" for low, high in ends]


def _pairs(rows: pd.DataFrame) -> list[str]:
    return [f"{one}, {other}" for one, other in zip(rows["prototype"], rows["versus"], strict=True)]


def _of(counts: pd.Series, bases: pd.Series) -> list[str]:
    return [f"{count} of {base}" for count, base in zip(counts, bases, strict=True)]


def _intervals(low: pd.Series, high: pd.Series, digits: int) -> list[str]:
    return [format_interval(one, other, digits) for one, other in zip(low, high, strict=True)]


def _reachable(counts: pd.Series, bases: pd.Series) -> list[str]:
    return [
        f"{count}" if count <= base and np.isfinite(count) else NOTHING
        for count, base in zip(counts, bases, strict=True)
    ]


# A picture of forced choices: the share of right answers with its interval, beside guessing and what is needed.


_ROW, _HALF = 0.42, 0.13  # inches
_GUESSING, _NEEDED = (0, (1, 1.5)), "-"


def choice_figure(result: ForcedChoices) -> Figure:
    """Return one line per test: a dot, filled where a difference is shown, beside guessing and what is needed."""
    tests = result.tests.to_dict("records")
    heights = [(place + 0.5) * _ROW for place in range(len(tests))]
    rows = pd.DataFrame(
        {
            "y": heights,
            "estimate": result.tests["share"],
            "ci_low": result.tests["right_low"],
            "ci_high": result.tests["right_high"],
            "colour": COLOURS[0],
            "shape": "o",
            "filled": result.tests["verdict"].isin([DIFFERS, SMALL]),
        }
    )
    figure, axes = interval_figure(
        rows,
        _ROW * len(tests),
        [(y, f"{row['question']} ({METHOD_WORDS[row['method']]})") for y, row in zip(heights, tests, strict=True)],
        remarks=[
            (y, f"{row['right']} of {row['n']}, {row['needed']} needed") for y, row in zip(heights, tests, strict=True)
        ],
        limits=(-0.02, 1.02),
        title="Share of right answers",
        x_title="dotted: guessing; full: fewest right answers that show a difference",
    )
    axes.xaxis.set_major_formatter(PercentFormatter(xmax=1, decimals=0, symbol=" %"))
    for y, row in zip(heights, tests, strict=True):
        ends = [y - _HALF, y + _HALF]
        axes.plot([row["guess"]] * 2, ends, color=INK, linestyle=_GUESSING, linewidth=1.4, zorder=4)
        if row["needed"] <= row["n"]:
            axes.plot([row["needed"] / row["n"]] * 2, ends, color=INK, linestyle=_NEEDED, linewidth=1.4, zorder=4)
    axes.xaxis.label.set_fontsize(FONT - 1)
    return figure


def choice_svg(result: ForcedChoices, *, text_as_paths: bool = True) -> str:
    """Return the picture as SVG text, with what it shows in words."""
    return svg_text(
        choice_figure(result),
        title="Share of right answers",
        description=choice_alt_text(result),
        text_as_paths=text_as_paths,
    )


# Which sample consumers prefer, in plain sentences made from the counts, and what preference cannot show.


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
