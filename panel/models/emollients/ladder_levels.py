"""Prototypes as the units: one row of emollient amounts and one row of panel means for each blend that was made."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import fdtrc

from panel.errors import ModelError
from panel.models.prototypes.differences import Differences, find_differences
from panel.stats.formulas.composition import independent_moves
from panel.stats.formulas.mixtures import Form, MixtureFit, Order, fit_mixture, lack_of_fit, mixture_terms
from panel.stats.maps.latent import q_squared
from panel.study.formulas import FLOAT_SLACK, SAME_AMOUNT, WATER, all_formulas
from panel.study.study import Study

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


# Blends that vary continuously: how well does a mixture model describe them, and what does it miss?


SPARE_BLENDS = 3
FEWEST_LEVELS = 3
_ORDERS: tuple[Order, ...] = ("linear", "quadratic")


def why_no_mixture(level: PrototypeLevel) -> str:
    """Return why no mixture model can be fitted, or the empty string."""
    amounts = moving(level)
    n, q = amounts.shape
    if not any(levels(amounts[:, column]) >= FEWEST_LEVELS for column in range(q)):
        return (
            "no emollient takes three different amounts: the blends are swaps, in or out, and a curve between them "
            "cannot be seen"
        )
    found = independent_moves(amounts, SAME_AMOUNT).count
    free = q if not level.same_total else q - 1
    if found < free:
        return (
            f"the {q} emollients vary in {found} independent ways only, not in the {free} that a mixture model of them "
            "takes; some of them always trade places with each other"
        )
    if n < free + 1 + SPARE_BLENDS:
        return f"a mixture model of {q} emollients needs at least {free + 1 + SPARE_BLENDS} blends, there are {n}"
    return ""


def mixture_links(level: PrototypeLevel) -> pd.DataFrame:
    """Return the mixture models of every attribute, those that the number of blends allows.

    Columns: `attribute model form n_terms df_error q2 statistic df p_value lack_statistic lack_df lack_df_error
    lack_p lack_against`. Amounts are shares of the emollient total; where water took up a change of the total, it is
    the slack component (`form` slack), otherwise `scheffe`. What the model misses is tested against blends made more
    than once (`lack_against` repeats), or, without any, against the panel's own error (panel). No coefficients: they
    would speak of pure emollients, which nobody made.
    """
    shares, form = _shares(level)
    rows = []
    for order in _ORDERS:
        n_terms = len(mixture_terms(shares.shape[1], order, form))
        if len(shares) < n_terms + SPARE_BLENDS:
            continue
        for attribute in level.means.columns:
            try:
                rows.append(_row(level, str(attribute), order, form, shares))
            except ValueError:  # too few levels for the products
                break
    columns = ["attribute", "model", "form", "n_terms", "df_error", "q2", "statistic", "df", "p_value"]
    lack = ["lack_statistic", "lack_df", "lack_df_error", "lack_p", "lack_against"]
    frame = pd.DataFrame(rows, columns=[*columns, *lack])
    return frame.astype(dict.fromkeys(("attribute", "model", "form", "lack_against"), "str"))


def _row(
    level: PrototypeLevel, attribute: str, order: Order, form: Form, shares: NDArray[np.float64]
) -> tuple[object, ...]:
    y = level.means[attribute].to_numpy(dtype=float)
    fit = fit_mixture(shares, y, order, form=form)
    q2 = float(q_squared(y[:, None], fit.left_out[:, None])[0])
    tested = (fit.statistic, fit.df, fit.p_value)
    return (
        attribute,
        order,
        form,
        len(fit.terms),
        fit.df_error,
        q2,
        *tested,
        *_lack(level, attribute, order, form, fit),
    )


def _lack(level: PrototypeLevel, attribute: str, order: Order, form: Form, fit: MixtureFit) -> tuple[object, ...]:
    """Return F, its degrees of freedom and p of what the model misses, and against what it was held."""
    row = {label: place for place, label in enumerate(level.means.index)}
    place = [row[label] for label in level.blend.loc[level.each.index]]
    if len(place) > len(row):
        shares, y = _shares(level)[0][place], level.each[attribute].to_numpy(dtype=float)
        found = lack_of_fit(shares, y, fit_mixture(shares, y, order, form=form))
        if np.isfinite(found.statistic):
            return (found.statistic, found.df, found.df_error, found.p_value, "repeats")
    place_of = level.attributes.index(attribute)
    variance, df = float(level.panel_variance[place_of]), float(level.panel_df[place_of])
    statistic = fit.residual_ss / fit.df_error / variance
    return (statistic, fit.df_error, df, float(fdtrc(fit.df_error, df, statistic)), "panel")


def moving(level: PrototypeLevel) -> NDArray[np.float64]:
    """Return the amounts of the emollients that vary (blends x emollients)."""
    amounts = level.amounts.to_numpy(dtype=float)
    return amounts[:, np.ptp(amounts, axis=0) > SAME_AMOUNT]


def levels(values: NDArray[np.float64]) -> int:
    """Return how many different amounts there are, to within the rounding of formulas."""
    return int(np.unique((values / (2 * SAME_AMOUNT)).round()).size)


def _shares(level: PrototypeLevel) -> tuple[NDArray[np.float64], Form]:
    amounts = moving(level)
    if level.same_total:
        return amounts / amounts.sum(axis=1, keepdims=True), "scheffe"
    most = float(amounts.sum(axis=1).max())
    filler = most - amounts.sum(axis=1)
    return np.column_stack([amounts, filler]) / most, "slack"
