"""What tests with a forced choice and paired preferences say, in plain sentences, and what they cannot say."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from panel import words
from panel.models.consumers.choices import HALF, LEFT_OUT, METHOD_OF, WAYS, Preferences
from panel.models.consumers.forced_choice import SEEN_WITH, SIMILAR, ForcedChoices
from panel.models.prototypes.verdict import CANNOT_TELL, DIFFERS, SMALL
from panel.study.naming import Naming
from panel.study.shown import (
    P_HOLM,
    QUESTION,
    VERDICT,
    Column,
    P,
    Shown,
    Source,
    Table,
    deciding,
    each_row,
    number,
    of_those,
    p_value,
    share,
    text,
    yes_no,
)
from panel.views.pictures import BROAD, INK, LETTERS, line_by_line
from panel.views.told import Picture, Told, drawer

if TYPE_CHECKING:
    from matplotlib.figure import Figure

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


def _limit_words(limit: float) -> str:
    """Return the share of people who may tell; one that was set as a d-prime has many digits."""
    return words.typed_share(round(limit, 3))


def _fewest(heading: str, name: str, base: str) -> Column:
    """Return a column of how many answers are needed, nothing where not even all of them would do."""

    def write(row: Mapping[str, Any], _: Shown) -> str:
        return f"{row[name]:d}" if row[name] <= row[base] else words.NOTHING

    return each_row(heading, write, name, base, figure=True)


def _most_cell(row: Mapping[str, Any], _: Shown) -> str:
    return f"{row['most']:.0f}" if row["most"] >= 0 else words.NOTHING


CHOICES = Table(
    name="choices",
    title="Tests with a forced choice",
    rows="tests",
    columns=(
        *(QUESTION, text("Test", "method", METHOD_WORDS)),
        each_row("Samples", lambda row, _: f"{row['prototype']}, {row['versus']}", "prototype", "versus"),
        *(of_those("Right", "right", "n"), _fewest("Needed", "needed", "n"), P, P_HOLM),
        *(number("Size (d-prime)", "d_prime", 2), number("Standard error", "d_std_error", 2)),
        deciding("d_low", "d_high", heading="Size, {told}", digits=2),
        share("People who can tell", "told"),
        *(deciding(heading="People who can tell, {told}", digits=1, write=words.format_shares), VERDICT),
    ),
    key=("question", "kind", "prototype", "versus"),
    code="FC",
    sources=(Source("answers", same={"question": "question"}, only={"kind": tuple(METHOD_OF)}),),
)
_SIMILARITY = Table(
    name="similarity",
    title="Tests of similarity",
    rows=lambda found: found.tests.loc[found.tests["limit"].notna()],
    columns=(
        QUESTION,
        each_row("Share who may tell", lambda row, _: _limit_words(row["limit"]), "limit", figure=True),
        *(yes_no("Set beforehand", "limit_beforehand"), of_those("Right", "right", "n")),
        each_row("Most that show similarity", _most_cell, "most", figure=True),
        p_value("p of similarity", "p_similar"),
        share("Chance to show it if nobody can tell", "power_similar"),
    ),
)
_SESSIONS = Table(
    name="choice_sessions",
    title="Right answers by session",
    rows="sessions",
    columns=(
        *(QUESTION, text("Session", "session"), of_those("Right", "right", "n"), share("Share")),
        p_value("p, one-sided, this session alone", "p_value"),
    ),
)


def tell_forced_choices(result: ForcedChoices, names: Naming) -> Told:
    """Return what is told of the tests with a forced choice."""
    rows = result.tests.to_dict("records")
    limits = [line for row in rows for line in _limit(row)] if len(rows) == 1 else []
    lines = [
        _line(row, result, names) if limits else " ".join([_line(row, result, names), *_limit(row)]) for row in rows
    ]
    asked = [f"{row['question']}: {row['right']} of {row['n']}, {row['needed']} needed" for row in rows]
    alt = f"Share of right answers with intervals, beside guessing and the share needed. {'; '.join(asked)}."
    return Told(
        result,
        names,
        _headline(result),
        Picture("choices", "Share of right answers", alt, partial(_figure, result)),
        mind=tuple(limits),
        table=CHOICES,
        drawers=(
            drawer("Test by test", *lines, CHOICES),
            drawer("Are they similar?", *([_SIMILARITY] if result.tests["limit"].notna().any() else [])),
            drawer("What so many answers could show", *_how_much_it_could_see(result)),
            drawer("Sessions and repeated answers", *_repeated(result), _SESSIONS),
        ),
        cannot=_cannot(result),
    )


def count_in_words(result: ForcedChoices, names: Naming) -> list[str]:
    """Return what a count that was typed in says; it is the only question, so its name is left out."""
    (row,) = result.tests.to_dict("records")
    lines = [_line(row, result, names), *_how_much_it_could_see(result)]
    told = [words.capital(line.partition(": ")[2]) for line in lines]
    return [told[0], *_limit(row), *told[1:]]


def _cannot(result: ForcedChoices) -> tuple[str, ...]:
    lines = [
        "No difference shown is not similarity shown. Similarity needs a share set beforehand and enough people.",
        "That people can tell two samples apart does not say what they notice, nor which one they like better.",
        "d-prime takes it that what is felt scatters alike for both samples and that people use the rule of the "
        "method; the share who can tell takes it that the others guess. They are two readings of the same count.",
    ]
    if (result.tests["method"] == "paired").any():
        lines.append("A paired comparison asks for one quality only; samples may differ in others.")
    return tuple(lines)


def _headline(result: ForcedChoices) -> str:
    found = result.tests["verdict"].value_counts()
    total = len(result.tests)
    if total == 1:
        (row,) = result.tests.to_dict("records")
        return f"{row['prototype']} and {row['versus']}: {_verdict(row)}."
    apart = int(found.get(DIFFERS, 0) + found.get(SMALL, 0))
    alike = int(found.get(SIMILAR, 0) + found.get(SMALL, 0))
    return (
        f"Of {total} tests, {apart or 'none'} {'show' if apart > 1 else 'shows'} a difference and {alike or 'none'} "
        "similarity."
    )


def _verdict(row: Mapping[Any, Any]) -> str:
    if row["always_first"]:
        return f"no answer: everybody tried {row['always_first']} first, so a choice cannot be told from the order"
    return _VERDICTS[row["verdict"]]


def _line(row: Mapping[Any, Any], result: ForcedChoices, names: Naming) -> str:
    pair = f"{names.prototype(str(row['prototype']))} and {names.prototype(str(row['versus']))}"
    parts = [
        f"{row['question']}: {METHOD_WORDS[row['method']]} of {pair}, {_counted(row)} "
        f"({words.p_after_holm(row['p_adjusted'])}{_needed(row)}): {_verdict(row)}."
    ]
    ends = words.format_interval(row["d_low"], row["d_high"], 2)
    parts.append(
        f"d-prime is {words.format_number(row['d_prime'], 2)} ({words.level_words(row['told_level'])} {ends}); "
        f"{words.format_share(row['told'])} of people can tell "
        f"({words.format_shares(row['told_low'], row['told_high'])})."
    )
    return " ".join([*parts, *_over_sessions(row)])


def _counted(row: Mapping[Any, Any]) -> str:
    what = f"chose {row['prototype']}" if row["method"] == "paired" else "right"
    people = f" by {words.counted(int(row['n_people']), 'person', 'people')}" if row["repeated"] else ""
    return f"{row['right']} of {row['n']} {what}{people}"


def _needed(row: Mapping[Any, Any]) -> str:
    if row["needed"] > row["n"]:
        return ", so few answers could not show a difference whatever they are"
    return f", at least {row['needed']} needed"


def _limit(row: Mapping[Any, Any]) -> list[str]:
    """Return whether it may be said that fewer people than the share that matters can tell."""
    if not np.isfinite(row["limit"]):
        return []
    few = f"fewer than {_limit_words(row['limit'])} can tell them apart"
    most = f"; at most {row['most']:.0f} right answers would show it" if row["most"] >= 0 else ""
    when = "" if row["limit_beforehand"] else "; that share was not set beforehand, so this decides nothing"
    if row["always_first"]:
        return [f"Nor can it be told from the order whether {few}."]
    told = words.capital(few) if row["few_shown"] else f"It is not shown that {few}"
    return [f"{told} ({words.p_words(row['p_similar'])}{most}{when})."]


def _over_sessions(row: Mapping[Any, Any]) -> list[str]:
    if row["n_sessions"] < 2:
        return []
    same = "show different shares; look at each" if row["sessions_differ"] else "show no different shares"
    exact = "" if row["p_same_exact"] else ", approximate"
    return [f"The {row['n_sessions']} sessions {same} ({words.p_words(row['p_same'])}{exact})."]


def _how_much_it_could_see(result: ForcedChoices) -> list[str]:
    """Return, per test, what so many answers could have shown, and how many would be needed."""
    return [_power(row) for row in result.tests.to_dict("records")]


def _power(row: Mapping[Any, Any]) -> str:
    if row["repeated"]:
        return (
            f"{row['question']}: with repeated answers of the same people the number of people counts for more than "
            "the number of answers; plan with people."
        )
    if np.isnan(row["seen"]):
        return f"{row['question']}: {words.counted(int(row['n']), 'answer')} cannot show any difference."
    parts = [
        f"{row['question']}: {words.counted(int(row['n']), 'answer')} show a difference with a chance of "
        f"{words.format_share(SEEN_WITH)} if {words.format_share(row['seen'], 0, words.UP)} of people can tell "
        f"(d-prime {words.format_number(row['seen_d_prime'], 2)})."
    ]
    if np.isfinite(row["limit"]):
        parts.append(
            f"If {_limit_words(row['limit'])} can tell, the chance to show it is {words.format_share(row['power'])}; "
            f"if nobody can, the chance to show similarity is {words.format_share(row['power_similar'])}."
        )
    if np.isfinite(row["ask_apart"]):
        parts.append(
            f"For a chance of {words.format_share(SEEN_WITH)} ask {row['ask_apart']:,.0f} people to show the "
            f"difference, {row['ask_similar']:,.0f} to show similarity."
        )
    return " ".join(parts)


def _repeated(result: ForcedChoices) -> list[str]:
    lines = []
    for row in result.repeated.to_dict("records"):
        if np.isnan(row["rho"]):
            lines.append(f"{row['question']}: all answers are alike, so each person counts once.")
            continue
        lines.append(
            f"{row['question']}: two answers of one person correlate by {words.format_number(row['rho'], 2)} "
            f"({words.p_words(row['p_no_spread'])} that people do not differ); "
            f"{words.counted(int(row['n']), 'answer')} by {words.counted(int(row['n_people']), 'person', 'people')}."
        )
    return lines


_ROW, _HALF = 0.42, 0.13  # inches


def _figure(result: ForcedChoices, width: float = BROAD) -> Figure:
    """Return one line per test: a dot, filled where a difference is shown, beside guessing and what is needed."""
    tests = result.tests
    return _shares_figure(
        tests.rename(columns={"right_low": "ci_low", "right_high": "ci_high", "guess": "dotted"}).assign(
            filled=tests["verdict"].isin([DIFFERS, SMALL]),
            full=tests["needed"] / tests["n"],
            name=[f"{row['question']} ({METHOD_WORDS[row['method']]})" for row in tests.to_dict("records")],
            remark=[f"{row['right']} of {row['n']}, {row['needed']} needed" for row in tests.to_dict("records")],
        ),
        width,
        "Share of right answers",
        "dotted: guessing; full: fewest right answers that show a difference",
    )


def _preferred_figure(result: Preferences, width: float = BROAD) -> Figure:
    """Return one line per question: who chose the first sample, filled where it is preferred in every way."""
    lines = []
    for row in result.counts.to_dict("records"):
        ways = _ways(result, row)
        found = ways.loc[(ways["prototype"] == row["prototype"]) & (ways["way"] == LEFT_OUT)]
        if found.empty:
            continue
        own = found.iloc[0]
        base = int(own["base"])
        lines.append(
            {
                **{"share": own["share"], "ci_low": own["told_low"], "ci_high": own["told_high"]},
                "filled": any(_all(ways, str(row[each]), "preferred") for each in ("prototype", "versus")),
                "dotted": HALF,
                "full": row["needed"] / base if base else np.nan,
                "name": f"{row['prototype']} rather than {row['versus']}",
                "remark": f"{row['chosen']} of {base} who chose, {row['needed']:.0f} needed",
            }
        )
    return _shares_figure(
        pd.DataFrame(lines), width, "Share who prefer the first of the two, of those who chose",
        "dotted: half; full: fewest that show a preference named beforehand",
    )  # fmt: skip


def _shares_figure(lines: pd.DataFrame, width: float, title: str, x_title: str) -> Figure:
    """Return a picture of `share ci_low ci_high filled dotted full name remark`: dots beside two upright strokes."""
    from matplotlib.ticker import PercentFormatter

    figure, axes = line_by_line(
        lines.assign(estimate=lines["share"]),
        _ROW,
        lines["name"],
        remarks=lines["remark"],
        width=width,
        limits=(-0.02, 1.02),
        title=title,
        x_title=x_title,
    )
    axes.xaxis.set_major_formatter(PercentFormatter(xmax=1, decimals=0, symbol=" %"))
    for y, row in zip(axes.get_yticks(), lines.to_dict("records"), strict=True):
        for at, dashes in ((row["dotted"], (0, (1, 1.5))), (row["full"], "-")):
            if at <= 1:
                axes.plot([at] * 2, [y - _HALF, y + _HALF], color=INK, linestyle=dashes, linewidth=1.4, zorder=4)
    axes.xaxis.label.set_fontsize(LETTERS - 1)
    return figure


# Which sample consumers prefer, in plain sentences made from the counts, and what preference cannot show.


def _votes(row: Mapping[str, Any], _: Shown) -> str:
    return f"{row['count']:g} of {row['base']:d}"  # half a vote where votes for no preference are split


def _parity(row: Mapping[str, Any], _: Shown) -> str:
    low, high = row["parity_low"], row["parity_high"]
    return f"{low} to {high}" if low <= high else "no count"


def _all_shown(row: Mapping[str, Any], _: Shown) -> str:
    return ", ".join(kind for kind in ("superior", "unsurpassed", "parity") if row[kind]) or words.NOTHING


PREFERENCES = Table(
    name="preferences",
    title="Paired preferences",
    rows="ways",
    columns=(
        *(QUESTION, text("Prefer", "prototype"), text("To", "versus"), text("No preference", "way")),
        *(each_row("Count", _votes, "count", "base", figure=True), share("Share")),
        *(deciding(digits=1, write=words.format_shares), p_value("p, one-sided", "p_value")),
        _fewest("Needed: superior", "needed", "base"),
        _fewest("Needed: unsurpassed", "unsurpassed_needed", "base"),
        each_row("Parity", _parity, "parity_low", "parity_high", figure=True),
        each_row("Shown", _all_shown, "superior", "unsurpassed", "parity"),
    ),
    key=("question", "prototype", "versus", "way"),
    code="E",
    sources=(Source("answers", same={"question": "question"}, only={"kind": ("preference",)}),),
)
_MIND = 3  # sentences of what to mind, where there is one question only


def tell_preferences(result: Preferences, names: Naming) -> Told:
    """Return what is told of the paired preferences."""
    lines = []
    for row in result.counts.to_dict("records"):
        lines += [_counts(row, names), *_verdicts(_ways(result, row), row), *_leaning(row), *_order(row)]
    first = _MIND if len(result.counts) == 1 else 0
    there = LEFT_OUT in set(result.ways["way"])
    alt = "Share of those who chose that prefer one prototype to the other."
    cannot = [
        "A preference says which of two, not by how much and not why; both may be disliked.",
        "A preference that is not shown is not parity, and parity within 5 points needs several hundred people.",
        "It holds for people like these, this batch, dose and place. Whether it may be advertised is for a regulatory "
        "professional and local law.",
    ]
    if (result.counts["no_preference"] > 0).any():
        cannot.append("A percentage of those who chose is not a percentage of everybody asked; always name the base.")
    return Told(
        result,
        names,
        _preference_headline(result),
        Picture("preferences", "Which is preferred", f"{alt} {' '.join(lines)}", partial(_preferred_figure, result))
        if there
        else None,
        mind=tuple(lines[:first]),
        table=PREFERENCES,
        drawers=(
            drawer("Question by question", *lines[first:]),
            drawer("Three ways of counting votes for no preference", PREFERENCES),
        ),
        cannot=tuple(cannot),
    )


def _preference_headline(result: Preferences) -> str:
    parts = []
    for row in result.counts.to_dict("records"):
        ways = _ways(result, row)
        one, other = row["prototype"], row["versus"]
        ahead = [name for name in (one, other) if _all(ways, name, "superior")]
        less = one if ahead == [other] else other
        if ahead and _all(ways, ahead[0], "preferred"):
            parts.append(f"{ahead[0]} is preferred to {less}, however votes for no preference are counted")
        elif row["always_first"]:
            parts.append(f"{one} and {other}: {_one_order(row)}")
        elif row["repeated"]:
            parts.append(f"{one} and {other}: people answered more than once, which the counts do not allow for")
        elif ahead:
            parts.append(f"{ahead[0]} would be preferred to {less} had it been named beforehand, not else")
        elif _all(ways, one, "parity"):
            parts.append(f"{one} and {other} are preferred alike, however votes for no preference are counted")
        elif ways["preferred"].any():
            parts.append(
                f"{one} and {other}: a preference is shown in some ways of counting votes for no preference, not in all"
            )
        else:
            parts.append(f"No preference between {one} and {other} is shown, however the undecided are counted")
    return ". ".join(parts) + "."


def _counts(row: Mapping[Any, Any], names: Naming) -> str:
    decided = row["chosen"] + row["other"]
    told = (
        f"{row['question']}: of {words.counted(int(row['n']), 'answer')} by "
        f"{words.counted(int(row['n_people']), 'person', 'people')} {row['chosen']} preferred "
        f"{names.prototype(str(row['prototype']))}, {row['other']} preferred {names.prototype(str(row['versus']))}, "
        f"{row['no_preference']} had no preference."
    )
    if not decided:
        return told
    return (
        f"{told} Of the {decided} who chose, {row['needed']:.0f} are needed for a preference named beforehand, "
        f"{row['needed_two_sided']:.0f} for one either way."
    )


def _verdicts(ways: pd.DataFrame, row: Mapping[Any, Any]) -> list[str]:
    if row["repeated"] or row["always_first"]:
        return []
    lines = []
    low, high = words.typed_share(HALF - row["margin"]), words.typed_share(HALF + row["margin"])
    both = (row["prototype"], row["versus"])
    for name in both:
        ahead = f"{name} is preferred by more than half"
        either = _in_ways(ways, name, "preferred", ahead)
        lines += either or _in_ways(ways, name, "superior", f"{ahead}, had it been named beforehand")
    for name in both:
        said = f"{name} is preferred by more than {low}, so not surpassed by the other by more than the margin"
        lines += _in_ways(ways, name, "unsurpassed", said)
    lines += _in_ways(ways, row["prototype"], "parity", f"Preference is at parity, between {low} and {high}")
    mine = ways.loc[ways["prototype"] == row["prototype"]]
    other = ways.loc[ways["prototype"] == row["versus"]]
    paradox = ((mine["superior"] | other["superior"].to_numpy()) & mine["parity"]).any()
    if paradox:
        lines.append(
            "Both a preference and parity are shown: with so many people a difference that is too small to matter is "
            "still seen. Report both; neither may be picked alone."
        )
    return lines or ["Neither a preference, nor unsurpassed, nor parity is shown in any way of counting."]


def _in_ways(ways: pd.DataFrame, name: str, kind: str, said: str) -> list[str]:
    rows = ways.loc[ways["prototype"] == name]
    seen = [str(way) for way in rows.loc[rows[kind], "way"]]
    if not seen:
        return []
    column = {"superior": "p_value", "preferred": "p_preferred", "unsurpassed": "p_unsurpassed", "parity": "p_parity"}[
        kind
    ]
    worst = words.p_words(rows.loc[rows[kind], column].max())
    if len(seen) == len(WAYS):
        return [f"{said}, however votes for no preference are counted ({worst} at the most)."]
    return [f"{said}, only with votes for no preference {words.format_list(seen)} ({worst} at the most)."]


def _leaning(row: Mapping[Any, Any]) -> list[str]:
    if not row["repeated"]:
        return []
    if np.isnan(row["p_two_sided"]):
        return ["People answered more than once, and nothing can be tested beside their leanings."]
    return [
        f"Allowing for each person's leaning, {words.p_words(row['p_two_sided'])} for a preference either way, votes "
        "for no preference left out."
    ]


def _one_order(row: Mapping[Any, Any]) -> str:
    return f"everybody tried {row['always_first']} first, so a preference cannot be told from the order"


def _order(row: Mapping[Any, Any]) -> list[str]:
    if row["always_first"]:
        return [f"{words.capital(_one_order(row))}. Let one half of the people try the other one first."]
    if np.isnan(row["p_order"]):
        return ["Which sample was tried first is not known for both orders, so the order was not checked."]
    share = row["order_first"] / row["order_n"]
    told = f"{row['order_first']} of {row['order_n']} chose what they tried first ({words.format_share(share)})"
    if row["order_matters"]:
        return [
            f"The order matters: {told}, {words.p_words(row['p_order'])}. It cancels only if both orders were used "
            "alike."
        ]
    return [f"No effect of the order is seen: {told}, {words.p_words(row['p_order'])}."]


def _ways(result: Preferences, row: Mapping[Any, Any]) -> pd.DataFrame:
    pair = {row["prototype"], row["versus"]}
    ways = result.ways
    return ways.loc[(ways["question"] == row["question"]) & ways["prototype"].isin(pair) & ways["versus"].isin(pair)]


def _all(ways: pd.DataFrame, name: str, kind: str) -> bool:
    """Return whether a verdict stands in every way of counting."""
    rows = ways.loc[ways["prototype"] == name]
    return bool(len(rows) and rows[kind].all() and LEFT_OUT in set(rows["way"]))
