"""Prototypes as the units: one row of emollient amounts and one row of panel means for each blend that was made."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.errors import ModelError
from panel.models.prototypes.differences import Differences, find_differences
from panel.study.formulas import FLOAT_SLACK, SAME_AMOUNT, all_formulas
from panel.study.study import Study
from panel.study.swaps import WATER

FEWEST_BLENDS = 2


@dataclass(frozen=True, eq=False, slots=True)
class PrototypeLevel:
    """Blends and panel means, one row each; prototypes of the same formula share a row.

    Parameters
    ----------
    amounts
        Index prototype (several names joined by " = "), columns emollient, per cent of the formula.
    means
        The same index, columns attribute: estimated means of the panel.
    error
        Index attribute: `variance` of a mean as far as the panel's own error goes (half the squared error of a
        difference of two prototypes), its `df`, the `statistic` F of the prototypes, and its `p_adjusted`.
    base
        Label of the row the others are compared with.
    same_total
        True if every blend has the same emollient total.
    each, blend
        Means of every prototype by itself, and the label of the blend it belongs to.
    notes
        Prototypes and attributes that take no part, and why.
    """

    amounts: pd.DataFrame
    means: pd.DataFrame
    error: pd.DataFrame
    base: str
    same_total: bool
    each: pd.DataFrame
    blend: pd.Series
    notes: tuple[str, ...]

    @property
    def emollients(self) -> tuple[str, ...]:
        """Names of the emollients, in the order of the amounts."""
        return tuple(str(name) for name in self.amounts.columns)

    @property
    def attributes(self) -> tuple[str, ...]:
        """Names of the attributes, in the order of the means."""
        return tuple(str(name) for name in self.means.columns)

    @property
    def base_amounts(self) -> NDArray[np.float64]:
        """Amounts of the base, in the order of the emollients."""
        return self.amounts.loc[[self.base]].to_numpy(dtype=float)[0]

    @property
    def panel_variance(self) -> NDArray[np.float64]:
        """Variance of a mean by the panel's own error, in the order of the attributes."""
        return self.error["variance"].to_numpy(dtype=float)

    @property
    def panel_df(self) -> NDArray[np.float64]:
        """Degrees of freedom of the panel's own error."""
        return self.error["df"].to_numpy(dtype=float)


def prototype_level(study: Study, differences: Differences | None = None) -> PrototypeLevel:
    """Return the blends of `study` with the panel's means; ModelError if fewer than two blends can be compared.

    Only prototypes whose formulas differ from the base in emollients (and the water that makes up for them) take part.
    """
    told = find_differences(study) if differences is None else differences
    amounts, changed = _frozen_base(study)
    means = told.means.pivot_table(index="prototype", columns="attribute", values="estimate", sort=False)
    means = means.reindex(columns=[name for name in told.attributes["attribute"] if name in means.columns])
    judged = [name for name in amounts.index if name in means.index]
    gaps = [str(name) for name in means.columns if means.loc[judged, name].isna().any()]
    means = means.loc[judged].drop(columns=gaps)
    amounts = amounts.loc[judged, (amounts.loc[judged] > 0).any()]
    stated = study.benchmark or ""
    base = stated if stated in judged else (judged[0] if judged else "")
    label = _labels(amounts)
    averaged = means.groupby(label, sort=False).mean()
    if len(averaged) < FEWEST_BLENDS or not len(means.columns):
        raise ModelError(
            f"Only {len(averaged)} blend{'' if len(averaged) == 1 else 's'} with a formula in this base and scores for "
            f"all of {len(means.columns)} attributes; at least {FEWEST_BLENDS} different blends and one attribute are "
            "needed to compare prototypes as such."
        )
    distinct = amounts.groupby(label, sort=False).first()
    total = distinct.sum(axis=1)
    return PrototypeLevel(
        amounts=distinct,
        means=averaged,
        error=_error(told, judged, averaged),
        base=str(label.loc[base]) if base else "",
        same_total=float(np.ptp(total.to_numpy())) <= SAME_AMOUNT + FLOAT_SLACK,
        each=means,
        blend=label,
        notes=tuple(_notes(study, judged, changed, gaps, label)),
    )


def _frozen_base(study: Study) -> tuple[pd.DataFrame, list[str]]:
    """Return the amounts of the prototypes that share the base's other ingredients, and names of those that do not."""
    formulas = all_formulas(study)
    complete = formulas.percent.loc[formulas.percent.notna().all(axis=1)]
    if complete.empty or not formulas.emollients:
        raise ModelError(
            "No prototype has a complete formula with an emollient. Add the table formulas, one row per ingredient "
            "and prototype: prototype, ingredient (INCI), percent, kind (emollient ...)."
        )
    base = study.benchmark if study.benchmark in complete.index else complete.index[0]
    rest = complete.drop(columns=[*formulas.emollients, *([WATER] if WATER in complete else [])])
    frozen = ((rest - rest.loc[base]).abs() <= SAME_AMOUNT + FLOAT_SLACK).all(axis=1)
    return complete.loc[frozen, list(formulas.emollients)], [str(name) for name in complete.index[~frozen]]


def _labels(amounts: pd.DataFrame) -> pd.Series:
    """Return for each prototype the names of all that have the same amounts, joined."""
    rounded = pd.Series([tuple(row) for row in (amounts / SAME_AMOUNT).round().to_numpy()], index=amounts.index)
    joined = {key: " = ".join(map(str, part.index)) for key, part in rounded.groupby(rounded, sort=False)}
    return pd.Series([joined[key] for key in rounded], index=amounts.index, dtype="str")


def _error(told: Differences, judged: list[str], means: pd.DataFrame) -> pd.DataFrame:
    pairs = told.pairs.loc[told.pairs["prototype"].isin(judged) & told.pairs["versus"].isin(judged)]
    pairs = pairs.assign(variance=pairs["std_error"] ** 2 / 2)
    error = pairs.groupby("attribute", sort=False).agg(variance=("variance", "mean"), df=("df", "median"))
    tests = told.attributes.set_index("attribute")[["statistic", "p_adjusted"]]
    return error.join(tests).reindex(means.columns)


def _notes(study: Study, judged: list[str], changed: list[str], gaps: list[str], label: pd.Series) -> list[str]:
    notes = []
    if changed:
        notes.append(f"Not of the same base, so without part here: {', '.join(changed)}.")
    others = [name for name in study.prototypes if name not in judged and name not in changed]
    if others:
        notes.append(f"Without a complete formula or without scores, so without part here: {', '.join(others)}.")
    if gaps:
        notes.append(f"Not estimated for every prototype, so left out here: {', '.join(gaps)}.")
    several = [name for name in label.unique() if " = " in name]
    if several:
        notes.append(f"The same formula, so taken together as one blend: {'; '.join(several)}.")
    return notes
