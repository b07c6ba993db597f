"""How many agree with each statement, what may be said of it, and how readily these people say yes: in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from panel.models.consumers.agreement import DEFAULT, Agreement
from panel.views.consumers.share_words import in_ten, share_interval, share_words
from panel.views.drawing.formats import format_list, format_share, p_words


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
