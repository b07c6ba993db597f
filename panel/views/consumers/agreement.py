"""How many agree with each statement, what may be said of it, and how readily these people say yes: in words."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

import pandas as pd

from panel import words
from panel.models.consumers.agreement import DEFAULT, FROM_QUESTION, MAJORITY, Agreement
from panel.stats.comparing.multiplicity import LEVEL
from panel.study import shown
from panel.study.naming import Naming
from panel.views.pictures import BROAD, GREY, INK, line_by_line
from panel.views.told import Item, Picture, Told, drawer

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_ASKED = shown.Source("answers", same={"question": "question", "prototype": "prototype"}, only={"kind": ("agreement",)})


def _agreed(heading: str, base: str) -> shown.Column:
    """Describe how many agreed: never rounded up, but never down where the statement is untrue."""
    return shown.each_row(heading, lambda row, _: _agreed_words(row, base), "agreed", base, figure=True)


def _agreed_words(row: Mapping[Any, Any], base: str) -> str:
    return words.counted_share(int(row["agreed"]), int(row[base]), words.UP if row.get("foil") else words.DOWN)


def _no_opinion(row: Mapping[Any, Any]) -> str:
    return f"{row['dont_know']}" + (f"; not understood: {row['strange']}" if row["strange"] else "")


def _set_by(row: Mapping[str, Any], _: shown.Shown) -> str:
    if row["source"] == DEFAULT:
        return "nobody; a majority is asked"
    return "the fact `questions`" if row["source"] == FROM_QUESTION else f"the claim, {row['stamped']}: {row['claim']}"


def _needed(row: Mapping[str, Any], _: shown.Shown) -> str:
    return f"{row['needed']:d}" if row["needed"] <= row["base"] else words.NOTHING


_STATEMENTS = shown.Table(
    name="statements",
    title="Agreement with each statement",
    rows="statements",
    columns=(
        shown.PROTOTYPE,
        shown.each_row("Statement", lambda row, _: str(row["words"] or row["question"]), "words", "question"),
        shown.yes_no("Untrue on purpose", "foil", no=""),
        _agreed("Agreed, of all who answered", "base"),
        shown.share_interval(heading="{level} (Wilson)"),
        shown.share_interval("exact_low", "exact_high", heading="{level} (exact)"),
        shown.each_row(
            "At most", lambda row, _: _in_ten(int(row["agreed"]), int(row["base"])), "agreed", "base", figure=True
        ),
        shown.of_share("Neutral", "neutral", "base", words.UP),
        shown.of_share("Disagreed", "disagreed", "base", words.UP),
        shown.each_row("Don't know", lambda row, _: _no_opinion(row), "dont_know", "strange", figure=True),
        _agreed("Agreed, of those with an opinion", "opinion_base"),
        *(shown.count("Started", "started"), shown.count("Did not answer", "dropped")),
    ),
    key=("prototype", "question"),
    code="Y",
    sources=(_ASKED,),
)
_BARS = shown.Table(
    name="agreement_bars",
    title="Statements against their bars",
    rows="bars",
    columns=(
        *(shown.PROTOTYPE, shown.text("Statement", "question")),
        shown.each_row("Bar", lambda row, _: words.typed_share(row["bar"]), "bar", figure=True),
        shown.each_row("Set by", _set_by, "source", "claim", "stamped"),
        *(_agreed("Agreed", "base"), shown.each_row("Needed", _needed, "needed", "base", figure=True)),
        *(shown.p_value("p (one-sided, exact)", "p_value"), shown.P_HOLM),
        shown.yes_no("Above the bar, taken alone", "passed", "shown", "not shown"),
    ),
    key=("prototype", "question", "claim", "source"),
    code="YB",
    sources=(_ASKED,),
)
NUMBERS = (_STATEMENTS, _BARS)
"""Its tables of numbers, in the order of the evidence file."""
_WITHOUT_FOIL = shown.Table(
    name="without_yes_sayers",
    title="Agreement without those who agreed with an untrue statement",
    rows="without_foil",
    columns=(
        *(shown.PROTOTYPE, shown.text("Statement", "question"), _agreed("Agreed, without yes-sayers", "base")),
        shown.count("Agreements that were theirs", "lost"),
    ),
    key=("prototype", "question"),
)


def tell_agreement(result: Agreement, names: Naming) -> Told:
    """Return what is told of agreement with statements."""
    untrue = result.foils.sort_values("agreed", ascending=False, kind="stable")
    yes_saying = [_foil(row, result) for row in untrue.to_dict("records")]
    left_out: tuple[Item, ...] = (_NO_FOIL,) if result.foils.empty else (_NOBODY_OUT, _WITHOUT_FOIL)
    dropped = _dropped_from_all(result)
    return Told(
        result,
        names,
        _headline(result),
        Picture(
            "agreement",
            "Agreement with each statement",
            "Share of consumers who agreed with each statement, with intervals and bars; the table has the numbers.",
            partial(_figure, result),
        ),
        mind=(*yes_saying[:1], *dropped, *result.agrees),
        table=_BARS,
        drawers=(
            drawer("Against the bars", _BARS),
            drawer("Statement by statement", *_statements(result, alone=not dropped), _STATEMENTS),
            drawer("How readily do these people say yes?", *yes_saying[1:], *left_out),
        ),
        cannot=_CANNOT,
    )


_NO_FOIL = "No statement is marked as untrue, so nothing measures how readily these people say yes."
_NOBODY_OUT = "Nobody is left out of the result; the table only shows how much could be yes-saying."
_CANNOT = (
    "Agreement is what people say they perceive; it proves nothing about what a product does to skin.",
    "It holds for these people, this product, these days. A percentage may only be used with its count, base, dates "
    "and sort of people, and never rounded up.",
    "That a bar is not passed does not show that the statement is untrue.",
    "Local law decides what may be claimed; have a regulatory professional review it.",
)


def _headline(result: Agreement) -> str:
    """Return the answer in one sentence: which statements pass their bar, and which do not."""
    bars = result.bars
    if bars.empty:
        return "No statement was tested: all of them are marked as untrue."
    several = _several(result)
    passed, together, total = int(bars["passed"].sum()), int(bars["together"].sum()), len(bars)
    alone = f", each taken alone; in {together or 'none'} with all counted together"
    taken = ", also with all counted together" if together == passed else alone
    rows = bars.loc[~bars["passed"]].to_dict("records")
    goals = sorted({_goal(row) for row in rows})
    asked = f"that {goals[0]} agree with " if len(goals) == 1 else ""
    failed = [
        f"“{row['question']}”" + several * f" for {row['prototype']}" + (not asked) * f" ({_goal(row)})" for row in rows
    ]
    if not failed:
        return (
            f"Enough people agree in {words.all_of(total, 'case')}{taken}."
            if total > 1
            else f"{words.capital(_goal(bars.iloc[0]))} agree: shown."
        )
    if total == 1:
        return f"Not shown: {asked}{failed[0]}."
    few = words.format_list(failed) if len(failed) < 3 else words.first_few(failed)
    taken = taken if passed else ""
    return f"Enough people agree in {passed or 'none'} of {total} cases{taken}. Not shown: {asked}{few}."


def _several(result: Agreement) -> bool:
    return len(set(result.statements["prototype"])) > 1


def _name(row: Mapping[Any, Any], several: bool) -> str:
    return f"{row['prototype']}, {row['question']}" if several else str(row["question"])


def _dropped_from_all(result: Agreement) -> list[str]:
    """Return how many left the statements unanswered, where it is the same for all of them."""
    rows = result.statements.loc[~result.statements["foil"]]
    if len(rows) < 2 or len(rows[["dropped", "started"]].drop_duplicates()) > 1 or not rows["dropped"].iloc[0] > 0:
        return []
    gone, began = int(rows["dropped"].iloc[0]), int(rows["started"].iloc[0])
    return [f"Each of these statements was left unanswered by {gone} of the {began} who started."]


def _statements(result: Agreement, *, alone: bool) -> list[str]:
    """Return one plain line per statement, in the order of the ballot, without the untrue ones."""
    true = result.statements.loc[~result.statements["foil"]]
    return [_line(row, _same(result.bars, row), result, alone=alone) for row in true.to_dict("records")]


def _same(rows: pd.DataFrame, row: Mapping[Any, Any]) -> pd.DataFrame:
    """Return the rows about the same statement on the same prototype."""
    return rows.loc[(rows["prototype"] == row["prototype"]) & (rows["question"] == row["question"])]


def _line(row: Mapping[Any, Any], bars: pd.DataFrame, result: Agreement, *, alone: bool) -> str:
    told = words.counted_share(int(row["agreed"]), int(row["base"]), words.DOWN)
    interval = f"{words.level_words(LEVEL)} {words.format_shares(row['ci_low'], row['ci_high'], 1)}"
    tens = _in_ten(int(row["agreed"]), int(row["base"]))
    most = "fewer than 1 in 10" if tens == "none" else f"'{tens}'"
    parts = [f"{_name(row, _several(result))}: {told} agreed ({interval}); at most {most}."]
    parts += [_bar(bar) for bar in bars.to_dict("records")]
    if row["dont_know"]:
        opinion = words.counted_share(int(row["agreed"]), int(row["opinion_base"]), words.DOWN)
        parts.append(
            f"{row['dont_know']} said they do not know and stay in the base; of those with an opinion it is {opinion}."
        )
    if row["strange"]:
        parts.append(f"{row['strange']} were not understood and count as not agreeing.")
    if alone and row["dropped"] > 0:
        parts.append(f"{int(row['dropped'])} of the {int(row['started'])} who started did not answer.")
    return " ".join(parts)


def _in_ten(count: int, base: int) -> str:
    """Return the most that may be said as so many in ten: `7 in 10` for 44 of 58; `none` below one in ten."""
    tens = 10 * count // base if base else 0
    return f"{tens} in 10" if tens else "none"


def _goal(bar: Mapping[Any, Any] | pd.Series) -> str:
    return "more than half" if bar["bar"] == MAJORITY else f"more than {words.typed_share(bar['bar'])}"


def _bar(bar: Mapping[Any, Any]) -> str:
    goal = words.capital(_goal(bar))
    set_by = " (no bar was set, so a majority is asked)" if bar["source"] == DEFAULT else ""
    if bar["passed"]:
        return f"{goal}{set_by}: shown ({words.p_words(bar['p_value'])})."
    if bar["needed"] > bar["base"]:
        return f"{goal}{set_by}: cannot be shown with {bar['base']} people."
    chance = words.p_words(bar["p_value"])
    return f"{goal}{set_by}: not shown ({chance}); {bar['needed']} of {bar['base']} would have to agree."


def _foil(row: Mapping[Any, Any], result: Agreement) -> str:
    """Return what an untrue statement says about trust in the others."""
    sentence = str(_same(result.statements, row)["words"].iloc[0]) or str(row["question"])
    counted = words.counted_share(int(row["agreed"]), int(row["base"]), words.UP)
    told = f"{counted} agreed with a sentence that is untrue for {row['prototype']}, '{sentence.rstrip('.')}'"
    if not row["agreed"]:
        return f"{told}. Nobody said yes for the sake of it, as far as this sentence can show."
    if row["agreed"] < result.foils.loc[result.foils["prototype"] == row["prototype"], "agreed"].max():
        return f"{told}."
    bars = result.bars.loc[(result.bars["prototype"] == row["prototype"]) & result.bars["passed"]]
    fall = list(dict.fromkeys(str(name) for name in bars.loc[~bars["stands"], "question"]))
    told += ", so as many of the other agreements may be mere yes-saying"
    if not fall:
        return f"{told}; without these every bar that is passed would still be passed."
    theirs = "its bar" if len(fall) == 1 else "theirs"
    return f"{told}; without these {words.format_list(fall)} would no longer pass {theirs}."


_ROW = 0.3  # inches


def _figure(result: Agreement, width: float = BROAD) -> Figure:
    """Return one line per statement; untrue ones are hollow squares, bars short upright strokes."""
    rows = result.statements
    several = _several(result)
    names = [f"{_name(row, several)}{' (untrue)' if row['foil'] else ''}" for row in rows.to_dict("records")]
    drawn = rows.assign(
        estimate=100 * rows["share"],
        ci_low=100 * rows["ci_low"],
        ci_high=100 * rows["ci_high"],
        colour=[GREY if foil else INK for foil in rows["foil"]],
        shape=["s" if foil else "o" for foil in rows["foil"]],
        filled=~rows["foil"],
    )
    counts = [_agreed_words(row, "base") for row in rows.to_dict("records")]
    figure, axes = line_by_line(
        drawn,
        _ROW,
        names,
        remarks=counts,
        width=width,
        limits=(0.0, 100.0),
        x_title="Per cent who agreed, of all who answered (strokes: bars)",
    )
    axes.axvline(100 * MAJORITY, color=GREY, linewidth=0.8, zorder=1)
    height = dict(zip(zip(rows["prototype"], rows["question"], strict=True), axes.get_yticks(), strict=True))
    for bar in result.bars.to_dict("records"):
        y = height[bar["prototype"], bar["question"]]
        axes.plot([100 * bar["bar"]] * 2, [y - 0.35 * _ROW, y + 0.35 * _ROW], color=INK, linewidth=1.6, zorder=2)
    return figure
