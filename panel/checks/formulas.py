"""Do the formulas add up, are their ingredients known, and do they differ in nothing but the emollients?"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator
from functools import cache

import numpy as np
import pandas as pd

from panel.checks.finding import Finding
from panel.study.formulas import (
    FLOAT_SLACK,
    SAME_AMOUNT,
    WATER,
    canonical_ingredient,
    emollient_percents,
    formula_lines,
    formula_percents,
    ingredient_tags,
    ingredients,
)
from panel.study.knowledge import shared_table
from panel.study.study import Study
from panel.words import first_few, format_list

# A formula adds up if it is within this of 100 %, the resolution in which amounts are written.
_SUM_TOLERANCE = 0.01


def check_formulas(study: Study) -> list[Finding]:
    """Return what is wrong with the formulas of `study`, what differs beside the emollients, and the usual cautions.

    A study without formulas gives one note. Tables are taken to have the form they promise.
    """
    if study.table("formulas").empty:
        message = "The study has no formulas; no difference can be traced to an emollient."
        advice = "Add the table formulas, one row per ingredient and prototype: prototype, ingredient, percent."
        return [Finding("note", "formulas_missing", "formulas", message, advice)]
    lines = formula_lines(study)
    return [
        *_impossible(lines),
        *_sums(study, lines),
        *_twice(lines),
        *_unknown(study),
        *_without_formula(study),
        *_check_base(study, lines),
        *_check_cautions(lines),
    ]


def _impossible(lines: pd.DataFrame) -> Iterator[Finding]:
    for row, line in lines.loc[(lines["percent"] < 0) | (lines["percent"] > 100)].iterrows():
        where = f"formulas, row {int(str(row)) + 2}: {line['prototype']}"
        message = f"{line['percent']:g} % of {line['ingredient']} is impossible."
        yield Finding("warning", "formula_amount_impossible", where, message, "Correct the amount.")


def _sums(study: Study, lines: pd.DataFrame) -> Iterator[Finding]:
    percent = formula_percents(study)
    for prototype, amounts in percent.iterrows():
        where = f"formulas, {prototype}"
        total = float(amounts.sum())
        if amounts.isna().any():
            blank = [str(name) for name in amounts.index[amounts.isna()]]
            filled = lines.loc[(lines["prototype"] == prototype) & lines["percent"].notna(), "percent"].sum()
            message = f"The formula of {prototype} cannot be added up: no amount for {first_few(blank)}."
            advice = "Write every amount. "
            if len(blank) == 1 and filled < 100:
                advice += f"If {blank[0]} fills up to 100 (q.s.), write {100 - filled:.2f}. "
            advice += "Until then the prototype takes no part in swaps and blends."
            yield Finding("warning", "formula_amount_missing", where, message, advice)
        elif abs(total - 100) > _SUM_TOLERANCE + FLOAT_SLACK:
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
        where = f"formulas, row {rows[0] + 2}: {first_few(written.loc[rows, 'prototype'].unique().tolist())}"
        close = [
            each for each in difflib.get_close_matches(name.casefold(), offered, cutoff=_ALIKE) if _slip(name, each)
        ]
        message = f"{name!r} is not among the INCI names known here."
        if close:
            advice = f"Did you mean {offered[close[0]]}? If so, write it like this in every formula."
            yield Finding("warning", "ingredient_not_known", where, message, advice)
        else:
            advice = (
                "Check the spelling. Nothing is known of it, its cautions included; an emollient needs 'emollient' as "
                "its kind, and own values in the table ingredient_values."
            )
            yield Finding("note", "ingredient_not_known", where, message, advice)


_ALIKE = 0.8  # of all letters, and of those of each word: a salicylate is no palmitate; a setting of ours, no source


def _slip(name: str, known: str) -> bool:
    """Return whether a name may be a slip of a known one: of as many words each must be alike.

    Another number, a word that stands in a known name itself, and other syllables of number are another substance.
    """
    words = name.casefold().split(), known.split()
    if len(words[0]) != len(words[1]) or re.findall(r"\d+", name) != re.findall(r"\d+", known):
        return False
    pairs = [(one, other) for one, other in zip(*words, strict=True) if one != other]
    return all(
        difflib.SequenceMatcher(None, one, other).ratio() >= _ALIKE
        and one not in _known_words()
        and _OF_NUMBER.findall(one) == _OF_NUMBER.findall(other)
        and not _ends_apart(one, other)
        for one, other in pairs
    )


_OF_NUMBER = re.compile(r"mono|di|tri|tetra|penta|hexa|hepta|octa|deca|poly|iso")
_CLASS = re.compile(r"(?:ol|yl|ic|ate|ene|ane|one|ide|ine|eth)$")


def _ends_apart(one: str, other: str) -> bool:
    """Return whether two words end as two sorts of substances do: a dimethiconol is no dimethicone."""
    ends = [found[0] for word in (one, other) if (found := _CLASS.search(word))]
    return len(set(ends)) > 1


@cache
def _known_words() -> frozenset[str]:
    return frozenset(word for name in _known_names() for word in name.split())


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
        message = f"Scored, but without a formula: {first_few(absent, 6)}."
        advice = "Add the formula if it is known; what was bought, or untreated skin, may stay without one."
        severity = "note" if set(absent) <= bought else "warning"
        yield Finding(severity, "formula_missing", "formulas", message, advice)


# Is the base frozen: the same emollient total, and everything but the emollients alike in all prototypes?


def _check_base(study: Study, lines: pd.DataFrame) -> list[Finding]:
    """Return where the emollient total or the rest of the formula differs, and emollients that are not told clearly."""
    percent, emollients = formula_percents(study), list(emollient_percents(study))
    complete = percent.loc[percent.notna().all(axis=1)]
    total = complete[emollients].sum(axis=1)
    findings = [*_kinds(lines)]
    if not emollients:
        message = "No ingredient of the formulas is an emollient."
        advice = "Write 'emollient' as the kind of each emollient."
        return [*findings, Finding("warning", "emollient_missing", "formulas, column kind", message, advice)]
    findings += _totals(total)
    same_total = total.empty or np.ptp(total.to_numpy()) <= SAME_AMOUNT + FLOAT_SLACK
    findings += _frozen(complete.drop(columns=emollients), same_total=same_total)
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


def _frozen(rest: pd.DataFrame, *, same_total: bool) -> Iterator[Finding]:
    """Tell the ingredients beside the emollients that are not the same everywhere, water last.

    Water that only takes up what other ingredients leave is not told again.
    """
    told: dict[str, str] = {}
    for ingredient in sorted(rest.columns, key=lambda name: name == WATER):
        amounts = rest[ingredient]
        usual = _usual(amounts)
        away = amounts.loc[(amounts - usual).abs() > SAME_AMOUNT + FLOAT_SLACK]
        if away.empty or (ingredient == WATER and (told or not same_total)):
            continue
        told[ingredient] = f"{_amounts(away)}, {usual:.2f} % in the others"
    if not told:
        return
    named, one = format_list(list(told)), len(told) == 1
    each = told.values() if one else (f"{name} {amount}" for name, amount in told.items())
    message = f"{named} {'differs' if one else 'differ'} between the prototypes: {'; '.join(each)}."
    advice = (
        "Keep everything but the emollients alike: emulsifiers and structurants change the feel more than emollients "
        f"do. Pairs that differ in {'it' if one else 'them'} are not counted as swaps."
    )
    yield Finding("warning", "base_differs", f"formulas, {named}", message, advice)


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
    return first_few([f"{amount:.2f} % in {prototype}" for prototype, amount in amounts.items()], 6)


# Which usual cautions do the ingredients of the formulas call for?


def _check_cautions(lines: pd.DataFrame) -> Iterator[Finding]:
    """Return one note per caution: its words, the ingredients that call for it and the prototypes they are in.

    Allergens and flammable or dusty materials are among them. Ingredients that are not known carry no caution here.
    """
    words = shared_table("cautions").set_index("caution")["words"]
    rows = [
        (tag, ingredient, prototype)
        for ingredient, prototype in zip(lines["ingredient"], lines["prototype"], strict=True)
        for tag in ingredient_tags(str(ingredient), "cautions")
    ]
    called = pd.DataFrame(rows, columns=["caution", "ingredient", "prototype"], dtype="str")
    for caution in [name for name in words.index if name in set(called["caution"])]:
        part = called.loc[called["caution"] == caution]
        materials, prototypes = part["ingredient"].unique().tolist(), part["prototype"].unique().tolist()
        where = f"formulas, {first_few(prototypes, 12)}"
        message = f"{first_few(materials, 6)}: {words[caution]}"
        advice = "Show this to whoever makes or applies it; the safety assessor decides, not this tool."
        yield Finding("note", f"caution_{caution}", where, message, advice)
