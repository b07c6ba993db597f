"""How many agree with each statement, what may be said of it, and how readily these people say yes: in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from panel.models.consumers.agreement import DEFAULT, FROM_QUESTION, MAJORITY, Agreement
from panel.views.drawing.interval_picture import interval_figure
from panel.views.drawing.pictures import COLOURS, GREY, INK, svg_text
from panel.words import NOTHING, format_list, format_p, format_share, p_words


def agreement_headline(result: Agreement) -> str:
    """Return the answer in one sentence: which statements pass their bar, and which do not."""
    bars = result.bars
    if bars.empty:
        return "No statement was tested: all of them are marked as untrue."
    passed = int(bars["passed"].sum())
    failed = [_bar_name(row) for row in bars.loc[~bars["passed"]].to_dict("records")]
    what = "bar" if len(bars) == 1 else "bars"
    if not failed:
        return f"All {len(bars)} {what} are passed." if len(bars) > 1 else "The bar is passed."
    return f"{passed} of {len(bars)} {what} {'is' if passed == 1 else 'are'} passed. Not shown: {format_list(failed)}."


def what_the_statements_show(result: Agreement) -> list[str]:
    """Return one plain line per statement, in the order of the ballot; untrue ones are told apart."""
    lines = []
    rows = result.statements.loc[~result.statements["foil"]]
    # what is the same for every statement is said once, at the end
    same = len(rows) > 1 and len(rows[["dropped", "started"]].drop_duplicates()) == 1
    for row in rows.to_dict("records"):
        own = (result.bars["prototype"] == row["prototype"]) & (result.bars["question"] == row["question"])
        lines.append(_line(row, result.bars.loc[own], result, alone=not same))
    if same and rows["dropped"].iloc[0] > 0:
        gone, began = int(rows["dropped"].iloc[0]), int(rows["started"].iloc[0])
        lines.append(f"Each of these statements was left unanswered by {gone} of the {began} who started.")
    return lines


def how_readily_yes_is_said(result: Agreement) -> list[str]:
    """Return what the untrue statements say about trust in the others."""
    if result.foils.empty:
        return ["No statement is marked as untrue, so nothing measures how readily these people say yes."]
    lines = [_foil(row, result) for row in result.foils.to_dict("records")]
    without = result.without_foil
    falls = [
        f"{row['question']} {share_words(int(row['agreed']), int(row['base']))}" for row in without.to_dict("records")
    ]
    if falls:
        lines.append(
            "Without the people who agreed with an untrue statement: "
            f"{'; '.join(falls)}. Nobody is left out of the result; this only shows how much could be yes-saying."
        )
    return lines


def what_agreement_cannot_show(result: Agreement) -> tuple[str, ...]:
    """Return what a reader must not take from agreement."""
    return (
        "Agreement is what people say they perceive; it proves nothing about what a product does to skin.",
        "It holds for these people, this product, these days. A percentage may only be used with its count, base, "
        "dates and sort of people, and never rounded up.",
        "That a bar is not passed does not show that the statement is untrue.",
        "Local law decides what may be claimed; have a regulatory professional review it.",
    )


def _line(row: Mapping[Any, Any], bars: pd.DataFrame, result: Agreement, *, alone: bool) -> str:
    counted = share_words(int(row["agreed"]), int(row["base"]))
    interval = f"{100 * result.level:g} % interval {share_interval(row['ci_low'], row['ci_high'])}"
    parts = [f"{row['question']}: {counted} agreed ({interval}); at most {_at_most(row)}."]
    parts += [_bar(bar) for bar in bars.to_dict("records")]
    if row["dont_know"]:
        parts.append(
            f"{row['dont_know']} said they do not know and stay in the base; of those with an opinion it is "
            f"{share_words(int(row['agreed']), int(row['opinion_base']))}."
        )
    if alone and row["dropped"] > 0:
        parts.append(f"{int(row['dropped'])} of the {int(row['started'])} who started did not answer.")
    return " ".join(parts)


def _at_most(row: Mapping[Any, Any]) -> str:
    tens = in_ten(int(row["agreed"]), int(row["base"]))
    return "fewer than 1 in 10" if tens == "none" else f"'{tens}'"


def _bar(bar: Mapping[Any, Any]) -> str:
    goal = "More than half" if bar["bar"] == 0.5 else f"More than {format_share(bar['bar'], 1)}".replace(".0 %", " %")
    set_by = " (no bar was set, so a majority is asked)" if bar["source"] == DEFAULT else ""
    if bar["passed"]:
        return f"{goal}{set_by}: shown ({p_words(bar['p_value'])})."
    if bar["needed"] > bar["base"]:
        return f"{goal}{set_by}: cannot be shown with {bar['base']} people."
    return (
        f"{goal}{set_by}: not shown ({p_words(bar['p_value'])}); {bar['needed']} of {bar['base']} would have to agree."
    )


def _bar_name(row: Mapping[Any, Any]) -> str:
    return f"{row['question']} against {format_share(row['bar'], 1)}".replace(".0 %", " %")


def _foil(row: Mapping[Any, Any], result: Agreement) -> str:
    own = (result.statements["prototype"] == row["prototype"]) & (result.statements["question"] == row["question"])
    sentence = str(result.statements.loc[own, "words"].iloc[0]) or str(row["question"])
    counted = share_words(int(row["agreed"]), int(row["base"]))
    told = f"{counted} agreed with a sentence that is untrue for {row['prototype']}, '{sentence.rstrip('.')}'"
    if not row["agreed"]:
        return f"{told}. Nobody said yes for the sake of it, as far as this sentence can show."
    close = result.bars.loc[(result.bars["prototype"] == row["prototype"]) & result.bars["passed"]]
    near = [
        str(bar["question"])
        for bar in close.to_dict("records")
        if bar["agreed"] - row["agreed"] < bar["needed"] and np.isfinite(bar["share"])
    ]
    told += ". As many of the other agreements may be mere yes-saying; read every share as up to that much too high"
    if near:
        named = list(dict.fromkeys(near))
        bars = "its bar" if len(named) == 1 else "their bars"
        return f"{told}. Taken off, {format_list(named)} would no longer pass {bars}."
    return f"{told}. Taken off, every bar that is passed would still be passed."


# Agreement with statements as tables a person reads.


_SET_BY = {DEFAULT: "nobody; a majority is asked", FROM_QUESTION: "the fact `questions`"}


def statements_table(result: Agreement) -> pd.DataFrame:
    """Return one row per statement with both bases and both intervals."""
    rows = result.statements
    level = f"{100 * result.level:g} % interval"
    return pd.DataFrame(
        {
            "Prototype": list(rows["prototype"]),
            "Statement": [words or name for words, name in zip(rows["words"], rows["question"], strict=True)],
            "Untrue on purpose": ["yes" if foil else "" for foil in rows["foil"]],
            "Agreed, of all who answered": _shares(rows, "agreed", "base"),
            f"{level} (Wilson)": _intervals(rows, "ci_low", "ci_high"),
            f"{level} (exact)": _intervals(rows, "exact_low", "exact_high"),
            "At most": [in_ten(int(x), int(n)) for x, n in zip(rows["agreed"], rows["base"], strict=True)],
            "Neutral": _shares(rows, "neutral", "base"),
            "Disagreed": _shares(rows, "disagreed", "base"),
            "Don't know": [f"{n:d}" for n in rows["dont_know"]],
            "Agreed, of those with an opinion": _shares(rows, "agreed", "opinion_base"),
            "Started": [NOTHING if pd.isna(n) else f"{n:.0f}" for n in rows["started"]],
            "Did not answer": [NOTHING if pd.isna(n) else f"{n:.0f}" for n in rows["dropped"]],
        },
        dtype="str",
    )


def bars_table(result: Agreement) -> pd.DataFrame:
    """Return one row per statement and bar."""
    rows = result.bars
    return pd.DataFrame(
        {
            "Prototype": list(rows["prototype"]),
            "Statement": list(rows["question"]),
            "Bar": [format_share(value, 1) for value in rows["bar"]],
            "Set by": [
                _SET_BY.get(str(source), f"the claim: {claim}")
                for source, claim in zip(rows["source"], rows["claim"], strict=True)
            ],
            "Agreed": _shares(rows, "agreed", "base"),
            "Needed": [
                f"{n:d}" if n <= base else NOTHING for n, base in zip(rows["needed"], rows["base"], strict=True)
            ],
            "p (one-sided, exact)": [format_p(value) for value in rows["p_value"]],
            "p after Holm": [format_p(value) for value in rows["p_adjusted"]],
            "Above the bar": ["shown" if passed else "not shown" for passed in rows["passed"]],
        },
        dtype="str",
    )


def without_foil_table(result: Agreement) -> pd.DataFrame:
    """Return one row per statement: the count without those who agreed with an untrue one."""
    rows = result.without_foil
    return pd.DataFrame(
        {
            "Prototype": list(rows["prototype"]),
            "Statement": list(rows["question"]),
            "Agreed, without yes-sayers": _shares(rows, "agreed", "base"),
            "Agreements that were theirs": [f"{n:d}" for n in rows["lost"]],
        },
        dtype="str",
    )


def _shares(rows: pd.DataFrame, count: str, base: str) -> list[str]:
    return [share_words(int(x), int(n)) for x, n in zip(rows[count], rows[base], strict=True)]


def _intervals(rows: pd.DataFrame, low: str, high: str) -> list[str]:
    return [share_interval(a, b) for a, b in zip(rows[low], rows[high], strict=True)]


# How many agree with each statement, with the interval, beside the bar.


_ROW = 0.3  # inches


def agreement_figure(result: Agreement) -> Figure:
    """Return one line per statement; untrue ones are hollow squares, bars short upright strokes."""
    rows = result.statements
    several = len(set(rows["prototype"])) > 1
    names = [
        f"{name}{f', {prototype}' if several else ''}{' (untrue)' if foil else ''}"
        for name, prototype, foil in zip(rows["question"], rows["prototype"], rows["foil"], strict=True)
    ]
    drawn = rows.assign(
        y=[_ROW * (number + 0.5) for number in range(len(rows))],
        estimate=100 * rows["share"],
        ci_low=100 * rows["ci_low"],
        ci_high=100 * rows["ci_high"],
        colour=[GREY if foil else COLOURS[0] for foil in rows["foil"]],
        shape=["s" if foil else "o" for foil in rows["foil"]],
        filled=~rows["foil"],
    )
    counted = [share_words(int(x), int(n)) for x, n in zip(rows["agreed"], rows["base"], strict=True)]
    figure, axes = interval_figure(
        drawn,
        _ROW * len(rows),
        list(zip(drawn["y"], names, strict=True)),
        remarks=list(zip(drawn["y"], counted, strict=True)),
        limits=(0.0, 100.0),
        x_title="Per cent who agreed, of all who answered (strokes: bars)",
    )
    axes.axvline(100 * MAJORITY, color=GREY, linewidth=0.8, zorder=1)
    height = dict(zip(zip(rows["prototype"], rows["question"], strict=True), drawn["y"], strict=True))
    for bar in result.bars.to_dict("records"):
        y = height[bar["prototype"], bar["question"]]
        axes.plot([100 * bar["bar"]] * 2, [y - 0.35 * _ROW, y + 0.35 * _ROW], color=INK, linewidth=1.6, zorder=2)
    return figure


def agreement_svg(result: Agreement, *, text_as_paths: bool = True) -> str:
    """Return the picture as SVG text."""
    return svg_text(
        agreement_figure(result),
        title="Agreement with statements",
        description="Share who agreed with each statement, with intervals and bars; the table holds the numbers.",
        text_as_paths=text_as_paths,
    )


# A share in words that nobody can call rounded up: count, base, per cent, and at most how many in ten.


def share_words(count: int, base: int) -> str:
    """Return `44 of 58 (75.8 %)`, the per cent cut, never rounded up; `0 of 0` has none."""
    told = f"{count} of {base}"
    return f"{told} ({format_share(count / base, 1)})" if base else told


def in_ten(count: int, base: int) -> str:
    """Return the most that may be said as so many in ten: `7 in 10` for 44 of 58; `none` below one in ten."""
    tens = 10 * count // base if base else 0
    return f"{tens} in 10" if tens else "none"


def share_interval(low: float, high: float) -> str:
    """Return an interval of shares in per cent, both ends cut: `63.4 to 85.0 %`."""
    return f"{format_share(low, 1).removesuffix(' %')} to {format_share(high, 1)}"
