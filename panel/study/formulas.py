"""Formulas of the prototypes: what is in them, how much of it is emollient, how two of them differ."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from functools import cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.errors import StudyError
from panel.stats.formulas.composition import EXACT_ALIAS_THRESHOLD, alias_groups
from panel.study.knowledge import PROPERTIES, shared_table
from panel.study.study import Study, kept, those_in

# Formulas are written to 0.01 % w/w: amounts that differ by no more than half of that are the same amount.
SAME_AMOUNT = 0.005
# Subtracting two percentages loses about 1e-14; this keeps a difference of exactly SAME_AMOUNT on the inside.
FLOAT_SLACK = 1e-9


@kept
def formula_lines(study: Study) -> pd.DataFrame:
    """Return the formulas table with INCI names as the knowledge writes them and a column `emollient`.

    An ingredient is an emollient if a row of it says so, or, where no row says what it is, if it is known as one.
    Names that are not known stay as they were written. Lines without a prototype or an ingredient are left out.
    """
    lines = study.table("formulas")
    lines = lines.loc[(lines["prototype"].str.strip() != "") & (lines["ingredient"].str.strip() != "")]
    written = lines["ingredient"].tolist()
    names = {text: canonical_ingredient(text) or text.strip() for text in dict.fromkeys(written)}
    inci = [names[text] for text in written]
    stated: dict[str, set[str]] = {}
    for ingredient, kind in zip(inci, lines["kind"].tolist(), strict=True):
        stated.setdefault(ingredient, set()).add(kind)
    known = _known_emollients() if {""} in stated.values() else frozenset()
    emollient = {
        ingredient: "emollient" in kinds or (kinds == {""} and ingredient in known)
        for ingredient, kinds in stated.items()
    }
    return lines.assign(
        ingredient=pd.Series(inci, index=lines.index, dtype="str"),
        emollient=np.array([emollient[ingredient] for ingredient in inci], dtype=bool),
    )


def _known_emollients() -> frozenset[str]:
    known = ingredients()
    return frozenset(known.loc[known["kind"] == "emollient", "ingredient"])


@kept
def formulated(study: Study) -> tuple[str, ...]:
    """Return the prototypes that have a formula, in the order of the study."""
    return those_in(study.prototypes, study.table("formulas")["prototype"])


def formula(study: Study, prototype: str) -> pd.DataFrame:
    """Return ingredient, percent, phase, kind, emollient of `prototype`; StudyError if it has no formula."""
    lines = formula_lines(study)
    rows = lines.loc[lines["prototype"] == prototype, ["ingredient", "percent", "phase", "kind", "emollient"]]
    if rows.empty:
        raise StudyError(
            f"Prototype {prototype!r} has no formula. Add its ingredients to the table formulas, one row each: "
            "prototype, ingredient, percent."
        )
    return rows.reset_index(drop=True)


@kept
def formula_percents(study: Study) -> pd.DataFrame:
    """Return all formulas side by side, per cent by mass: index prototype, columns ingredient, 0 where it is absent.

    Lines of the same ingredient are added up; NaN where it is listed without an amount.
    """
    lines = formula_lines(study)
    prototypes, ingredients_used = formulated(study), dict.fromkeys(lines["ingredient"])
    row = {prototype: place for place, prototype in enumerate(prototypes)}
    column = {ingredient: place for place, ingredient in enumerate(ingredients_used)}
    percent = np.zeros((len(row), len(column)))
    places = ([row[name] for name in lines["prototype"]], [column[name] for name in lines["ingredient"]])
    np.add.at(percent, places, lines["percent"].to_numpy(dtype=float))
    index = pd.Index(prototypes, dtype="str", name="prototype")
    return pd.DataFrame(percent, index=index, columns=pd.Index(column, dtype="str", name="ingredient"))


@kept
def emollient_percents(study: Study) -> pd.DataFrame:
    """Return the columns of `formula_percents` that are emollients, in the order in which the formulas name them."""
    lines = formula_lines(study)
    return formula_percents(study)[list(dict.fromkeys(lines.loc[lines["emollient"], "ingredient"]))]


def formula_totals(study: Study) -> pd.DataFrame:
    """Return for each prototype with a formula `total` and `emollient_total`, per cent by mass.

    NaN where an amount is missing.
    """
    totals = pd.DataFrame(
        {
            "total": formula_percents(study).sum(axis=1, skipna=False),
            "emollient_total": emollient_percents(study).sum(axis=1, skipna=False),
        }
    )
    return totals.rename_axis("prototype").reset_index()


def formula_difference(study: Study, prototype: str, versus: str) -> pd.DataFrame:
    """Return the ingredients whose amount differs: ingredient, percent, percent_versus, change (per cent by mass).

    Amounts that differ by no more than 0.005 % are the same. StudyError if one of the two has no formula.
    """
    table = formula_percents(study)
    for name in (prototype, versus):
        if name not in table.index:
            formula(study, name)  # says what is missing
    percent, percent_versus = table.loc[prototype], table.loc[versus]
    both = pd.DataFrame({"percent": percent, "percent_versus": percent_versus, "change": percent - percent_versus})
    changed = both.loc[~(both["change"].abs() <= SAME_AMOUNT + FLOAT_SLACK)]
    return changed.rename_axis("ingredient").reset_index()


# The blend of a prototype: its emollients alone, as shares of the emollient part.


def emollient_blend(study: Study) -> pd.DataFrame:
    """Return the blends: index prototype, columns emollient (INCI), per cent of the emollient part.

    Rows sum to 100. Prototypes without a formula, without an emollient or with an amount missing have no row.
    """
    amounts = emollient_percents(study)
    total = amounts.sum(axis=1, skipna=False)
    known = total > 0
    return 100.0 * amounts.loc[known].div(total.loc[known], axis=0)


def blend_rounding(study: Study) -> float:
    """Return by how much an entry of the blends may be off because formulas are written to 0.01 %."""
    amounts = emollient_percents(study).sum(axis=1, skipna=False)
    smallest = amounts.loc[amounts > 0].min()
    return float(100.0 * 0.01 / smallest) if pd.notna(smallest) else 0.0


# Which prototypes differ by one emollient swap: one replaced by another at equal mass, all else equal.


WATER = "Aqua"
# same: no line differs. swap: one emollient replaced by another at equal mass. joint: several emollients changed
# that never change apart in this study. further: more of a swap or joint change of which some was made already.
# several: more than one swap at once, of emollients that do change apart.
# water: the emollients changed and water took up the difference. other: something else differs, or is not known.
_PAIR_KINDS = ("same", "swap", "joint", "further", "several", "water", "other")
_NOT_EMOLLIENT = -2


@kept
def formula_pairs(study: Study) -> pd.DataFrame:
    """Return every pair of prototypes with a formula and how the two differ.

    Columns: prototype, versus, kind (one of `_PAIR_KINDS`), removed and added (what falls and what rises from
    `versus` to `prototype`, names joined by " + "), percent (mass removed, per cent of the formula). The base is the
    benchmark, or the first prototype if that has no formula; `versus` is whichever of the two is closer to the base
    in what differs, and the earlier one where neither is. Where a swap was made at several amounts, each amount is
    held against the prototype nearest to the base; what lies between two amounts is `further`.
    """
    table = formula_percents(study)
    order = sorted(table.index, key=lambda prototype: prototype != study.benchmark)  # the base before all others
    amounts = table.loc[order].to_numpy()
    names = np.asarray(table.columns, dtype=object)
    is_emollient = np.isin(names, emollient_percents(study).columns)
    group = np.full(is_emollient.size, _NOT_EMOLLIENT)
    known = ~np.isnan(amounts).any(axis=1)
    if known.any():
        group[is_emollient] = alias_groups(amounts[known][:, is_emollient], EXACT_ALIAS_THRESHOLD)[0]
    rows = []
    for first in range(len(order)):
        for second in range(first + 1, len(order)):
            # from whichever of the two is closer to row 0, the base, in what they differ in
            differ = np.abs(amounts[second] - amounts[first]) > SAME_AMOUNT
            far_first, far_second = (np.abs(amounts[row] - amounts[0])[differ].sum() for row in (first, second))
            prototype, versus = (first, second) if far_first > far_second + SAME_AMOUNT else (second, first)
            change = amounts[prototype] - amounts[versus]
            falls, rises = change < -SAME_AMOUNT - FLOAT_SLACK, change > SAME_AMOUNT + FLOAT_SLACK
            kind = _kind(change, falls, rises, names == WATER, group)
            removed, added = " + ".join(names[falls]), " + ".join(names[rises])
            rows.append((order[prototype], order[versus], kind, removed, added, -float(change[falls].sum())))
    frame = pd.DataFrame(rows, columns=["prototype", "versus", "kind", "removed", "added", "percent"])
    far = dict(zip(order, np.nansum(np.abs(amounts - amounts[:1]), axis=1).round(2), strict=True))
    frame["kind"] = frame["kind"].mask(np.array(_is_further(frame, far), dtype=bool), "further")
    return frame.astype({**dict.fromkeys(("prototype", "versus", "kind", "removed", "added"), "str"), "percent": float})


def _is_further(pairs: pd.DataFrame, far: dict[str, float]) -> list[bool]:
    """Return which pairs stand apart from the start of their line: the prototypes that differ by one change alone.

    The start is the prototype of a line nearest to the base (`far`: how far each is), and whatever is the same as it.
    """
    beside: dict[tuple[frozenset[str], str], set[str]] = {}
    lines = [frozenset(ends) for ends in zip(pairs["removed"], pairs["added"], strict=True)]
    rows = list(zip(lines, pairs["prototype"], pairs["versus"], pairs["kind"].isin(["swap", "joint"]), strict=True))
    for line, prototype, versus, changed in rows:
        if changed:
            beside.setdefault((line, prototype), set()).add(versus)
            beside.setdefault((line, versus), set()).add(prototype)
    places = {name: (distance, place) for place, (name, distance) in enumerate(far.items())}
    further = []
    for line, prototype, versus, changed in rows:
        both = beside[line, prototype] | beside[line, versus] if changed else set()
        start = min(both, key=places.__getitem__, default="")
        further.append(changed and {prototype, versus} <= beside[line, start])
    return further


def _kind(
    change: NDArray[np.float64],
    falls: NDArray[np.bool_],
    rises: NDArray[np.bool_],
    is_water: NDArray[np.bool_],
    group: NDArray[np.int64],
) -> str:
    """Name how two formulas differ, from the change of each ingredient and the group it belongs to."""
    changed = falls | rises
    is_emollient = group != _NOT_EMOLLIENT
    if np.isnan(change).any() or np.any(changed & ~is_emollient & ~is_water):
        return "other"
    if not changed.any():
        return "same"
    if np.any(changed & is_water):
        return "water" if np.any(changed & is_emollient) else "other"
    if abs(change[is_emollient].sum()) > SAME_AMOUNT + FLOAT_SLACK:
        return "other"
    if falls.sum() == 1 and rises.sum() == 1:
        return "swap"
    return "joint" if np.unique(group[changed]).size == 1 and group[changed][0] >= 0 else "several"


@kept
def matched_pairs(study: Study) -> pd.DataFrame:
    """Return the pairs of prototypes that differ by exactly one emollient swap.

    Columns removed, added, percent, prototype, versus, swap: `prototype` is `versus` with `percent` % by mass of
    `removed` replaced by `added`. A swap points away from the base, the benchmark or else the first prototype: what
    the base holds is `removed`.
    """
    pairs = formula_pairs(study)
    return oriented(pairs.loc[pairs["kind"] == "swap"])


@kept
def joint_changes(study: Study) -> pd.DataFrame:
    """Return the pairs that differ by several emollients which never change apart in this study.

    Same columns as `matched_pairs`; `removed` and `added` hold names joined by " + ". No data on these prototypes
    can say which of the emollients did it.
    """
    pairs = formula_pairs(study)
    return oriented(pairs.loc[pairs["kind"] == "joint"])


def swap_table(study: Study) -> pd.DataFrame:
    """Return one row per distinct swap: swap (its label), removed, added, percent, n_pairs."""
    pairs = matched_pairs(study)
    columns = ["swap", "removed", "added", "percent"]
    return pairs.groupby(columns, sort=False).size().rename("n_pairs").reset_index()


def oriented(pairs: pd.DataFrame) -> pd.DataFrame:
    """Turn the pairs of each swap the way its first pair points, and label the swaps.

    Where a prototype gains an emollient in one pair and loses it in another, both changes point away from it.
    """
    direction: dict[tuple[str, str], tuple[str, str]] = {}
    rows = []
    columns = ("removed", "added", "percent", "prototype", "versus")
    starts = set(zip(pairs["removed"], pairs["added"], pairs["versus"], strict=True))
    for removed, added, percent, prototype, versus in zip(*(pairs[name].tolist() for name in columns), strict=True):
        ends = (removed, added)
        pointing = direction.setdefault(min(ends, ends[::-1]), ends)
        pointing = ends if (*pointing, versus) in starts else pointing
        prototypes = (prototype, versus) if pointing == ends else (versus, prototype)
        rows.append((*pointing, round(percent, 2), *prototypes))
    frame = pd.DataFrame(rows, columns=list(columns))
    text = ["removed", "added", "prototype", "versus"]
    frame = frame.astype({**dict.fromkeys(text, "str"), "percent": "float64"})
    label = (frame["removed"] + " → " + frame["added"]).astype("str")
    several = frame.groupby(["removed", "added"])["percent"].transform("nunique") > 1
    amount = frame["percent"].map(lambda percent: f", {percent:g} %").astype("str")
    return frame.assign(swap=label.mask(several, label + amount))


# What is known of an ingredient, measured by the user or told by the shared table, and what goes with it.


def ingredients() -> pd.DataFrame:
    """Return every known INCI name, emollients first: kind, function, allergen, cautions, source, note."""
    return _ingredients().copy(deep=False)


@cache
def _ingredients() -> pd.DataFrame:
    emollients = shared_table("emollients")
    first = pd.DataFrame(
        {
            "ingredient": emollients["ingredient"],
            "also_written": emollients["also_written"],
            "kind": "emollient",
            "function": emollients["chemistry"],
            "allergen": emollients["allergen"],
            "cautions": emollients["cautions"],
            "source": emollients["words_source"],
            "note": emollients["note"],
        },
        dtype="str",
    )
    return pd.concat([first, shared_table("ingredients")], ignore_index=True)


@cache
def ingredient_tags(ingredient: str, column: str) -> tuple[str, ...]:
    """Return what a column of the shared tables lists of an ingredient, such as `cautions`; none if it is not known."""
    known = ingredients().set_index("ingredient")[column]
    return tuple(filter(None, map(str.strip, str(known.get(ingredient, "")).split(";"))))


def canonical_ingredient(text: str) -> str | None:
    """Return the INCI name of the shared tables that `text` stands for, or None if it is not known.

    Capitals, spaces and punctuation do not count; words in parentheses may be left out where that leaves no doubt.
    """
    whole, short = _bare(text), _bare(_without_parentheses(text))
    full_names, short_names = _names()
    for key, names in ((whole, full_names), (whole, short_names), (short, full_names), (short, short_names)):
        if key in names:
            return names[key]
    return None


@cache
def _names() -> tuple[Mapping[str, str], Mapping[str, str]]:
    """Return bare name to INCI name: with the words in parentheses, and without them where that is unambiguous."""
    known = ingredients()
    full: dict[str, str] = {}
    short: dict[str, set[str]] = {}
    for ingredient, also_written in zip(known["ingredient"], known["also_written"], strict=True):
        for written in (ingredient, *also_written.split(";")):
            if bare := _bare(written):
                full.setdefault(bare, ingredient)
        short.setdefault(_bare(_without_parentheses(ingredient)), set()).add(ingredient)
    return full, {bare: names.pop() for bare, names in short.items() if len(names) == 1}


def _bare(text: str) -> str:
    """Return the letters and figures of a name, small and without accents."""
    plain = unicodedata.normalize("NFKD", text).casefold()
    return "".join(character for character in plain if character.isalnum())


def _without_parentheses(text: str) -> str:
    return re.sub(r"\([^()]*\)", " ", text)


def emollient_value(own: pd.DataFrame, ingredient: str, property_name: str) -> float:
    """Return a property of an ingredient, by the study's own measurement or the shared table; NaN if neither knows it.

    `own` is the table `ingredient_values` of the study, which comes first; of several measurements the latest counts.
    StudyError if `property_name` is none of `PROPERTIES`.
    """
    if property_name not in PROPERTIES:
        raise StudyError(f"There is no property called {property_name!r}. Known are: {', '.join(PROPERTIES)}.")
    if measured := own_measurement(own, ingredient, property_name):
        return measured[0]
    return _shared_values(property_name).get(_same_name(ingredient), float("nan"))


@cache
def _shared_values(property_name: str) -> dict[str, float]:
    known = shared_table("emollients")
    return dict(zip(known["ingredient"], known[property_name].tolist(), strict=True))


def _same_name(ingredient: str) -> str:
    return canonical_ingredient(ingredient) or _bare(ingredient)


def own_measurement(own: pd.DataFrame, ingredient: str, property_name: str) -> tuple[float, str, str] | None:
    """Return the latest of a study's own measurements, its day and its method; None if there is none.

    Parameters as for `emollient_value`.
    """
    if own.empty:  # it is asked for many ingredients
        return None
    known = own.loc[own["property"].eq(property_name) & own["value"].notna()]
    mine = known.loc[[_same_name(each) == _same_name(ingredient) for each in known["ingredient"]]]
    if mine.empty:
        return None
    last = mine.sort_values("measured_on", kind="stable").iloc[-1]
    return float(last["value"]), str(last["measured_on"]), str(last["method"])


# Which way should an attribute go with a property of the blend? Said before the scores are looked at.


_SIGNS = {"more": 1, "less": -1}


def expected_directions() -> pd.DataFrame:
    """Return `attribute descriptor direction sign source remark`: does the attribute rise (+1) with it, or fall (-1)?

    The source is a tag of `panel.study.knowledge.sources`; common practice has none.
    """
    frame = shared_table("expected_directions")
    return frame.assign(sign=frame["direction"].map(_SIGNS).astype("int64"))
