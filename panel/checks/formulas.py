"""Do the formulas add up, are their ingredients known, and do they differ in nothing but the emollients?"""

from __future__ import annotations

import difflib
from collections.abc import Iterator

import pandas as pd

from panel.checks.finding import Finding
from panel.checks.formula_base import check_base
from panel.checks.formula_cautions import check_cautions
from panel.checks.places import listed
from panel.study.formulas import FLOAT_SLACK, all_formulas, formula_lines
from panel.study.knowledge import canonical_ingredient, ingredients
from panel.study.study import Study

# A formula adds up if it is within this of 100 %, the resolution in which amounts are written.
SUM_TOLERANCE = 0.01


def check_formulas(study: Study) -> list[Finding]:
    """Return what is wrong with the formulas of `study`, what differs beside the emollients, and the usual cautions.

    A study without formulas gives one note. Tables are taken to have the form they promise.
    """
    if study.table("formulas").empty:
        message = "The study has no formulas; no difference can be traced to an emollient."
        advice = "Add the table formulas, one row per ingredient and prototype: prototype, ingredient (INCI), percent."
        return [Finding("note", "formulas_missing", "formulas", message, advice)]
    lines = formula_lines(study)
    return [
        *_impossible(lines),
        *_sums(study, lines),
        *_twice(lines),
        *_unknown(study),
        *_without_formula(study),
        *check_base(study, lines),
        *check_cautions(lines),
    ]


def _impossible(lines: pd.DataFrame) -> Iterator[Finding]:
    for row, line in lines.loc[(lines["percent"] < 0) | (lines["percent"] > 100)].iterrows():
        where = f"formulas, row {int(str(row)) + 2}: {line['prototype']}"
        message = f"{line['percent']:g} % of {line['ingredient']} is impossible."
        yield Finding("warning", "formula_amount_impossible", where, message, "Correct the amount.")


def _sums(study: Study, lines: pd.DataFrame) -> Iterator[Finding]:
    percent = all_formulas(study).percent
    for prototype, amounts in percent.iterrows():
        where = f"formulas, {prototype}"
        total = float(amounts.sum())
        if amounts.isna().any():
            blank = [str(name) for name in amounts.index[amounts.isna()]]
            filled = lines.loc[(lines["prototype"] == prototype) & lines["percent"].notna(), "percent"].sum()
            message = f"The formula of {prototype} cannot be added up: no amount for {listed(blank)}."
            advice = "Write every amount. "
            if len(blank) == 1 and filled < 100:
                advice += f"If {blank[0]} fills up to 100 (q.s.), write {100 - filled:.2f}. "
            advice += "Until then the prototype takes no part in swaps and blends."
            yield Finding("warning", "formula_amount_missing", where, message, advice)
        elif abs(total - 100) > SUM_TOLERANCE + FLOAT_SLACK:
            message = f"The formula of {prototype} adds up to {total:.2f} %, not to 100.00 %."
            advice = "Correct the amounts; usually Aqua is filled up to 100 (q.s.)."
            yield Finding("warning", "formula_sum", where, message, advice)


def _twice(lines: pd.DataFrame) -> Iterator[Finding]:
    again = lines.loc[lines.duplicated(["prototype", "ingredient"], keep=False)]
    for (prototype, ingredient), rows in again.groupby(["prototype", "ingredient"], sort=False):
        phases = rows["phase"].tolist()
        apart = "" not in phases and len(set(phases)) == len(phases)
        where = f"formulas, rows {', '.join(str(row + 2) for row in rows.index)}: {prototype}"
        message = f"{ingredient} stands {len(rows)} times in the formula of {prototype}"
        message += f", in phases {', '.join(phases)}; its amounts are added up." if apart else "."
        advice = (
            "That is fine if it is added in several phases."
            if apart
            else "Keep one line, or say in which phases it is added. Until then its amounts are added up."
        )
        yield Finding("note" if apart else "warning", "ingredient_twice", where, message, advice)


def _unknown(study: Study) -> Iterator[Finding]:
    written = study.table("formulas")
    names = [text for text in dict.fromkeys(written["ingredient"].tolist()) if text and not canonical_ingredient(text)]
    if not names:
        return
    offered = _known_names()
    for name in names:
        rows = written.index[written["ingredient"] == name]
        where = f"formulas, row {rows[0] + 2}: {listed(written.loc[rows, 'prototype'].unique().tolist())}"
        close = difflib.get_close_matches(name.casefold(), offered, n=1, cutoff=0.8)
        message = f"{name!r} is not a known INCI name."
        if close:
            advice = f"Did you mean {offered[close[0]]}? If so, write it like this in every formula."
            yield Finding("warning", "ingredient_not_known", where, message, advice)
        else:
            advice = (
                "Check the spelling. Nothing is known of it, its cautions included; an emollient needs 'emollient' as "
                "its kind, and own values in the table ingredient_values."
            )
            yield Finding("note", "ingredient_not_known", where, message, advice)


def _known_names() -> dict[str, str]:
    """Return every way of writing a known ingredient, in small letters, with its INCI name."""
    known = ingredients()
    names: dict[str, str] = {}
    for ingredient, also_written in zip(known["ingredient"], known["also_written"], strict=True):
        for written in (ingredient, *also_written.split(";")):
            if written.strip():
                names.setdefault(written.strip().casefold(), ingredient)
    return names


def _without_formula(study: Study) -> Iterator[Finding]:
    scored = study.scores["prototype"].unique().tolist()
    with_formula = set(study.table("formulas")["prototype"])
    prototypes = study.table("prototypes")
    bought = set(prototypes.loc[prototypes["role"].isin(["benchmark", "reference", "untreated"]), "prototype"])
    absent = [name for name in scored if name and name not in with_formula]
    if absent:
        message = f"Scored, but without a formula: {listed(absent, 6)}."
        advice = "Add the formula if it is known; what was bought, or untreated skin, may stay without one."
        severity = "note" if set(absent) <= bought else "warning"
        yield Finding(severity, "formula_missing", "formulas", message, advice)
