"""Is the base frozen: the same emollient total, and everything but the emollients alike in all prototypes?"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from panel.checks.finding import Finding
from panel.checks.places import listed
from panel.study.formulas import FLOAT_SLACK, SAME_AMOUNT, all_formulas
from panel.study.knowledge import ingredients
from panel.study.study import Study
from panel.study.swaps import WATER


def check_base(study: Study, lines: pd.DataFrame) -> list[Finding]:
    """Return where the emollient total or the rest of the formula differs, and emollients that are not told clearly."""
    formulas = all_formulas(study)
    complete = formulas.percent.loc[formulas.percent.notna().all(axis=1)]
    total = complete[list(formulas.emollients)].sum(axis=1)
    findings = [*_kinds(lines)]
    if not formulas.emollients:
        message = "No ingredient of the formulas is an emollient."
        advice = "Write 'emollient' as the kind of each emollient."
        return [*findings, Finding("warning", "emollient_missing", "formulas, column kind", message, advice)]
    findings += _totals(total)
    same_total = total.empty or np.ptp(total.to_numpy()) <= SAME_AMOUNT + FLOAT_SLACK
    findings += _frozen(complete.drop(columns=list(formulas.emollients)), same_total=same_total)
    return findings


def _totals(total: pd.Series) -> Iterator[Finding]:
    usual = _usual(total)
    away = total.loc[(total - usual).abs() > SAME_AMOUNT + FLOAT_SLACK]
    if len(away):
        message = f"The emollient total differs: {_amounts(away)}, {usual:.2f} % in the others."
        advice = (
            "Swap emollients at equal mass. Where water takes up the difference, richness changes together with the "
            "kind of emollient, and the two cannot be told apart; such pairs are not counted as swaps."
        )
        yield Finding("warning", "emollient_total_differs", "formulas", message, advice)


def _frozen(rest: pd.DataFrame, *, same_total: bool) -> list[Finding]:
    """Return the ingredients beside the emollients that are not the same everywhere, water last.

    Water that only takes up what other ingredients leave is not told again.
    """
    findings: list[Finding] = []
    for ingredient in sorted(rest.columns, key=lambda name: name == WATER):
        amounts = rest[ingredient]
        usual = _usual(amounts)
        away = amounts.loc[(amounts - usual).abs() > SAME_AMOUNT + FLOAT_SLACK]
        if away.empty or (ingredient == WATER and (findings or not same_total)):
            continue
        message = f"{ingredient} differs between the prototypes: {_amounts(away)}, {usual:.2f} % in the others."
        advice = (
            "Keep everything but the emollients alike: emulsifiers and structurants change the feel more than "
            "emollients do. Pairs that differ in it are not counted as swaps."
        )
        findings.append(Finding("warning", "base_differs", f"formulas, {ingredient}", message, advice))
    return findings


def _kinds(lines: pd.DataFrame) -> Iterator[Finding]:
    """Tell ingredients that are an emollient in one row and something else in another, and emollients not counted."""
    known = ingredients()
    emollients = set(known.loc[known["kind"] == "emollient", "ingredient"])
    for ingredient, kinds in lines.groupby("ingredient", sort=False)["kind"]:
        stated = [kind for kind in dict.fromkeys(kinds.tolist()) if kind]
        where = f"formulas, {ingredient}, column kind"
        if "emollient" in stated and len(stated) > 1:
            message = f"{ingredient} has several kinds: {', '.join(stated)}. It is counted as an emollient everywhere."
            yield Finding("warning", "kind_differs", where, message, "Give it the same kind in every formula.")
        elif stated and "emollient" not in stated and ingredient in emollients:
            message = f"{ingredient} is known as an emollient but its kind says {stated[0]}; it is not counted as one."
            advice = "Write 'emollient' as its kind if it is part of the blend."
            yield Finding("note", "emollient_not_counted", where, message, advice)


def _usual(amounts: pd.Series) -> float:
    """Return the commonest amount, to 0.01 %; of several equally common ones the first."""
    counts = amounts.round(2).value_counts(sort=False)
    return float(counts.index.to_numpy(dtype=float)[counts.to_numpy().argmax()]) if len(counts) else float("nan")


def _amounts(amounts: pd.Series) -> str:
    return listed([f"{amount:.2f} % in {prototype}" for prototype, amount in amounts.items()], 6)
