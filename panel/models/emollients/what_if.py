"""How would a blend that nobody made be scored, and how far off may that be?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import stdtrit

from panel.errors import ModelError
from panel.models.emollients.prediction_model import PredictionModel
from panel.models.emollients.targets import Targets
from panel.stats.formulas.regions import HullPlace, hull_place
from panel.stats.mixed.linear_prediction import predict_rows
from panel.study.formulas import FLOAT_SLACK, SAME_AMOUNT
from panel.study.knowledge import canonical_ingredient

# Formulas are written to 0.01 %: a blend this close to those that were made, in every emollient, is one of them.
REGION_TOLERANCE = 0.01
# The linear programme is solved to 1e-7 of the spread of the amounts.
_SOLVED = 1e-5
# An emollient that moved by less than this against the tested moves moved along with them.
_ALONG = 2 * SAME_AMOUNT


@dataclass(frozen=True, eq=False, slots=True)
class WhatIf:
    """The profile to expect from a blend, or, outside the tested region, only the directions.

    Parameters
    ----------
    blend
        Emollient to per cent of the formula.
    inside
        True if the blend lies among those that were made (within 0.01 % in every emollient).
    distance, nearest
        How far outside it lies (per cent of the formula, the emollient furthest off), and the nearest blend inside.
    made_as
        Prototype that has exactly this blend already, or the empty string.
    profile
        `attribute estimate std_error df ci_low ci_high base direction target_low target_high chance`. The interval is
        that of the mean this panel would give the new prototype beside the others. Outside the region there are no
        numbers, only `direction`: +1 above the base, -1 below, 0 not known. `chance` is the chance that the mean falls
        into the target window.
    """

    blend: Mapping[str, float]
    inside: bool
    distance: float
    nearest: Mapping[str, float]
    made_as: str
    profile: pd.DataFrame
    level: float
    method: str
    notes: tuple[str, ...]


def what_if(
    model: PredictionModel, blend: Mapping[str, float], targets: Targets | None = None, level: float = 0.95
) -> WhatIf:
    """Predict the profile of `blend` (emollient to per cent of the formula), judged by the same panel.

    Raises
    ------
    ModelError
        If it names an emollient that no prototype holds, an amount below zero, or another emollient total than the
        prototypes have.
    """
    amounts = _amounts(model, blend)
    tested = model.level.amounts.to_numpy(dtype=float)
    place = hull_place(tested, amounts)
    inside = place.distance <= REGION_TOLERANCE + _SOLVED
    names = model.level.emollients
    same = np.abs(tested - amounts).max(axis=1) <= SAME_AMOUNT + FLOAT_SLACK
    return WhatIf(
        blend=dict(zip(names, amounts.tolist(), strict=True)),
        inside=inside,
        distance=place.distance,
        nearest=dict(zip(names, place.nearest.tolist(), strict=True)),
        made_as=str(model.level.amounts.index[same][0]) if same.any() else "",
        profile=_profile(model, amounts, targets or Targets.none(), level, inside=inside),
        level=level,
        method=model.method,
        notes=tuple(_notes(model, amounts, place, inside=inside)),
    )


def _amounts(model: PredictionModel, blend: Mapping[str, float]) -> NDArray[np.float64]:
    """Return the blend as amounts in the order of the tested emollients, or say what is wrong with it."""
    held = {name: column for column, name in enumerate(model.level.emollients)}
    named = {canonical_ingredient(name) or name.strip(): float(amount) for name, amount in blend.items()}
    new = [name for name, amount in named.items() if name not in held and amount != 0]
    if new:
        raise ModelError(
            f"No prototype holds {', '.join(new)}, so nothing about it can be predicted. Make and test one that does; "
            f"tested are {', '.join(held)}."
        )
    wrong = [name for name, amount in named.items() if not amount >= 0]
    if wrong:
        raise ModelError(f"The amount of {', '.join(wrong)} must be zero or more, per cent of the formula.")
    amounts = np.zeros(len(held))
    for name, amount in named.items():
        if name in held:
            amounts[held[name]] = amount
    total = float(model.level.base_amounts.sum())
    if abs(amounts.sum() - total) > REGION_TOLERANCE + FLOAT_SLACK:
        raise ModelError(
            f"The emollients add up to {amounts.sum():.2f} %, the prototypes hold {total:.2f} %. Keep the emollient "
            "total, or richness changes together with the kind of emollient."
        )
    return amounts


def _profile(
    model: PredictionModel, amounts: NDArray[np.float64], targets: Targets, level: float, *, inside: bool
) -> pd.DataFrame:
    attributes = model.level.attributes
    found = predict_rows(model.fit, model.rows(amounts), model.variance, model.df, level)
    low, high = targets.windows(attributes)
    numbers = {
        "estimate": found.estimate[0],
        "std_error": found.std_error[0],
        "df": found.df[0],
        "ci_low": found.ci_low[0],
        "ci_high": found.ci_high[0],
    }
    chance = np.where(np.isnan(low) & np.isnan(high), np.nan, found.chance_between(low, high)[0])
    if not inside:
        numbers = {name: np.full(len(attributes), np.nan) for name in numbers}
        chance = np.full(len(attributes), np.nan)
    return pd.DataFrame(
        {
            "attribute": pd.Series(attributes, dtype="str"),
            **numbers,
            "base": model.level.means.loc[[model.level.base]].to_numpy(dtype=float)[0],
            "direction": _directions(model, amounts, level),
            "target_low": low,
            "target_high": high,
            "chance": chance,
        }
    )


def _directions(model: PredictionModel, amounts: NDArray[np.float64], level: float) -> NDArray[np.int64]:
    """Return +1 or -1 where the model's change from the base is clear of zero, 0 where it is not or not known."""
    if model.moves.coordinates(amounts)[1][0] > _ALONG:
        return np.zeros(model.level.means.shape[1], dtype=np.int64)
    step = (model.rows(amounts) - model.rows(model.level.base_amounts))[0]
    change = step @ model.fit.coefficients
    std_error = np.sqrt(step @ model.fit.inverse @ step * model.variance)
    clear = np.abs(change) > stdtrit(model.df, 0.5 + level / 2) * std_error
    return np.where(clear, np.sign(change), 0).astype(np.int64)


def _notes(model: PredictionModel, amounts: NDArray[np.float64], place: HullPlace, *, inside: bool) -> list[str]:
    notes = [*model.level.notes]
    off = model.moves.coordinates(amounts)[1][0]
    if inside:
        notes.append(
            "The interval is for the mean of the same panel, judging the new prototype beside the others; it holds "
            "what the model misses from prototype to prototype. Make it and test it."
        )
    elif off > _ALONG:
        notes.append(
            "This blend moves emollients apart that always changed together in the prototypes, so not even a direction "
            "is known. Only making it can tell."
        )
    else:
        notes.append(
            f"Outside the tested region: the nearest blend inside differs by {place.distance:.2f} % of the formula. "
            "No number is given, only the direction the model points to from the base."
        )
    if not model.level.same_total:
        notes.append("The emollient total differs between the prototypes; the prediction is for that of the base.")
    return notes
