"""Formulas of the prototypes: what is in them, how much of it is emollient, how two of them differ."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from panel.errors import StudyError
from panel.study.knowledge import canonical_ingredient, ingredients
from panel.study.study import Study
from panel.study.those_in import those_in

# Formulas are written to 0.01 % w/w: amounts that differ by no more than half of that are the same amount.
SAME_AMOUNT = 0.005
# Subtracting two percentages loses about 1e-14; this keeps a difference of exactly SAME_AMOUNT on the inside.
FLOAT_SLACK = 1e-9


@dataclass(frozen=True, eq=False, slots=True)
class AllFormulas:
    """The formulas side by side.

    Parameters
    ----------
    percent
        Per cent by mass: index prototype, columns ingredient, 0 where it is absent, NaN where it is listed without
        an amount.
    emollients
        Those ingredients that are emollients, in the order in which the formulas name them.
    """

    percent: pd.DataFrame
    emollients: tuple[str, ...]

    @property
    def emollient_percent(self) -> pd.DataFrame:
        """The columns of the emollients."""
        return self.percent[list(self.emollients)]


def formula_lines(study: Study) -> pd.DataFrame:
    """Return the formulas table with INCI names as the knowledge writes them and a column `emollient`.

    An ingredient is an emollient if a row of it says so, or, where no row says what it is, if it is known as one.
    Names that are not known stay as they were written. Lines without a prototype or an ingredient are left out.
    """
    lines = study.table("formulas")
    lines = lines.loc[lines["prototype"].isin(formulated(study)) & (lines["ingredient"] != "")]
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
            "prototype, ingredient (INCI), percent."
        )
    return rows.reset_index(drop=True)


def all_formulas(study: Study) -> AllFormulas:
    """Return all formulas as one table; lines of the same ingredient are added up."""
    lines = formula_lines(study)
    prototypes = formulated(study)
    row = {prototype: place for place, prototype in enumerate(prototypes)}
    written = lines["ingredient"].tolist()
    emollient = dict(zip(written, lines["emollient"].tolist(), strict=True))
    column = {ingredient: place for place, ingredient in enumerate(emollient)}
    percent = np.zeros((len(row), len(column)))
    places = ([row[name] for name in lines["prototype"]], [column[name] for name in written])
    np.add.at(percent, places, lines["percent"].to_numpy(dtype=float))
    index = pd.Index(prototypes, dtype="str", name="prototype")
    table = pd.DataFrame(percent, index=index, columns=pd.Index(column, dtype="str", name="ingredient"))
    return AllFormulas(table, tuple(name for name, is_emollient in emollient.items() if is_emollient))


def formula_totals(study: Study) -> pd.DataFrame:
    """Return for each prototype with a formula `total` and `emollient_total`, per cent by mass.

    NaN where an amount is missing.
    """
    formulas = all_formulas(study)
    totals = pd.DataFrame(
        {
            "total": formulas.percent.sum(axis=1, skipna=False),
            "emollient_total": formulas.emollient_percent.sum(axis=1, skipna=False),
        }
    )
    return totals.rename_axis("prototype").reset_index()


def formula_difference(study: Study, prototype: str, versus: str) -> pd.DataFrame:
    """Return the ingredients whose amount differs: ingredient, percent, percent_versus, change (per cent by mass).

    Amounts that differ by no more than 0.005 % are the same. StudyError if one of the two has no formula.
    """
    table = all_formulas(study).percent
    for name in (prototype, versus):
        if name not in table.index:
            formula(study, name)  # says what is missing
    percent, percent_versus = table.loc[prototype], table.loc[versus]
    both = pd.DataFrame({"percent": percent, "percent_versus": percent_versus, "change": percent - percent_versus})
    changed = both.loc[~(both["change"].abs() <= SAME_AMOUNT + FLOAT_SLACK)]
    return changed.rename_axis("ingredient").reset_index()
