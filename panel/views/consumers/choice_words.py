"""What tests with a forced choice say, in plain sentences made from the numbers, and what they cannot say."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

import numpy as np

from panel.errors import ModelError
from panel.models.consumers.choice_counts import SEEN_WITH
from panel.models.consumers.forced_choice import CANNOT_TELL, DIFFERS, SIMILAR, SMALL, ForcedChoices
from panel.plan.forced_choice_numbers import similar, told_apart
from panel.views.drawing.formats import format_interval, format_number, format_share, p_words
from panel.views.drawing.naming import Naming

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
