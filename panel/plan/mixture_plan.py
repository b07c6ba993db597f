"""Which blends of several emollients to make, when their shares vary freely and the oil phase stays the same?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.errors import ModelError
from panel.plan.swap_plan import base_formula, called_cautions, formulas_of, with_emollients
from panel.stats.formulas.mixtures import (
    Order,
    extreme_vertices,
    information_gain,
    mixture_terms,
    model_matrix,
    rounded_to_total,
    simplex_centroid,
    simplex_lattice,
)
from panel.study.formulas import FLOAT_SLACK, SAME_AMOUNT, canonical_ingredient

MixtureKind = Literal["lattice", "centroid", "vertices"]
# A model needs this many blends beyond its terms before what it misses can be seen.
_SPARE_BLENDS = 3
_DEGREE = 2  # of the simplex lattice
_STEP = 0.01  # formulas are written to 0.01 %


@dataclass(frozen=True, eq=False, slots=True)
class MixturePlan:
    """A plan of blends at a constant emollient total.

    Parameters
    ----------
    blends
        `prototype` and one column per emollient, per cent of the formula.
    formulas
        The formulas as a study has them.
    total
        Emollient total of every prototype, per cent of the formula.
    models
        Which mixture models the blends can carry: `model terms spare enough`.
    extra
        Edges' middles and the centre that are not in the plan: one column per emollient, `rank_gain gain` for the
        quadratic model, the one that tells most first.
    cautions
        Usual cautions: `ingredient caution words`.
    """

    kind: MixtureKind
    blends: pd.DataFrame
    formulas: pd.DataFrame
    total: float
    models: pd.DataFrame
    extra: pd.DataFrame
    cautions: pd.DataFrame
    method: str
    notes: tuple[str, ...]


def plan_mixture(base: pd.DataFrame, limits: Mapping[str, tuple[float, float]], kind: MixtureKind) -> MixturePlan:
    """Plan blends of the emollients in `limits` (lowest and highest amount, per cent of the formula) in this base.

    The total is the emollient total of the base; emollients of the base that are not in `limits` stay as they are.
    `lattice` and `centroid` fill the region that the lowest amounts leave; `vertices` takes the
    corners of the region between the limits and its middle.

    Raises
    ------
    ModelError
        If fewer than two emollients may vary, limits contradict each other or the total, or a lattice runs over a
        highest amount.
    """
    lines = base_formula(base)
    names = [canonical_ingredient(name) or name.strip() for name in limits]
    ends = np.array([tuple(map(float, limit)) for limit in limits.values()]).reshape(-1, 2)
    low, high = ends.T
    held = lines.loc[lines["emollient"]].groupby("ingredient", sort=False)["percent"].sum()
    fixed = {str(name): float(amount) for name, amount in held.items() if name not in names}
    room = float(held.sum()) - sum(fixed.values())
    _ask(names, low, high, room)
    amounts = rounded_to_total(_points(kind, low, high, room), room)
    prototypes = [f"P{row + 1}" for row in range(len(amounts))]
    made = {
        prototype: with_emollients(lines, {**fixed, **dict(zip(names, row, strict=True))})
        for prototype, row in zip(prototypes, amounts.tolist(), strict=True)
    }
    blends = pd.DataFrame(amounts, columns=names)
    blends.insert(0, "prototype", pd.Series(prototypes, dtype="str"))
    return MixturePlan(
        kind=kind,
        blends=blends,
        formulas=formulas_of(made),
        total=float(held.sum()),
        models=_models(amounts / room),
        extra=_extra(names, amounts, low, high, room),
        cautions=called_cautions(names),
        method=_method(kind, len(amounts), room),
        notes=(
            "Amounts are rounded to 0.01 % so that every formula keeps its total.",
            "Make one of the blends twice: without a repeat nothing tells what a model misses from the scatter of "
            "batches.",
        ),
    )


def _ask(names: list[str], low: NDArray[np.float64], high: NDArray[np.float64], room: float) -> None:
    if len(names) < 2 or len(set(names)) < len(names):
        raise ModelError("A mixture needs at least two different emollients whose amounts may vary.")
    wrong = [name for name, least, most in zip(names, low, high, strict=True) if not 0 <= least < most]
    if wrong:
        raise ModelError(
            f"The limits of {', '.join(wrong)} leave nothing to vary: the lowest amount must be zero or more and below "
            "the highest."
        )
    if low.sum() >= room - FLOAT_SLACK or high.sum() <= room + FLOAT_SLACK:
        raise ModelError(
            f"The emollients that vary have {room:g} % of the formula to share, but their limits allow only "
            f"{low.sum():g} to {high.sum():g} %. Widen the limits; water never fills up."
        )


def _points(kind: MixtureKind, low: NDArray[np.float64], high: NDArray[np.float64], room: float) -> NDArray[np.float64]:
    if kind == "vertices":
        corners = extreme_vertices(low, np.minimum(high, room), room)
        return np.vstack([corners, corners.mean(axis=0)])
    shares = simplex_lattice(low.size, _DEGREE) if kind == "lattice" else simplex_centroid(low.size)
    points = low + shares * (room - low.sum())
    if np.any(points > high + SAME_AMOUNT):
        raise ModelError(
            f"A {kind} of these emollients runs over a highest amount. Take the corners of the region instead "
            "(vertices), or raise the highest amounts."
        )
    return points


def _models(shares: NDArray[np.float64]) -> pd.DataFrame:
    """Return for each mixture model how many blends it leaves spare and whether that is enough."""
    orders: tuple[Order, ...] = ("linear", "quadratic", "special cubic")
    n = len(np.unique(shares.round(6), axis=0))
    matrices = [model_matrix(shares, mixture_terms(shares.shape[1], order)) for order in orders]
    terms = np.array([matrix.shape[1] for matrix in matrices])
    regular = np.array([np.linalg.matrix_rank(matrix) == matrix.shape[1] for matrix in matrices])
    spare = n - terms
    return pd.DataFrame({"model": orders, "terms": terms, "spare": spare, "enough": regular & (spare >= _SPARE_BLENDS)})


def _extra(
    names: list[str], made: NDArray[np.float64], low: NDArray[np.float64], high: NDArray[np.float64], room: float
) -> pd.DataFrame:
    """Return middles of two corners, corners and the centre that are not made, by what they add to the quadratic."""
    corners = extreme_vertices(low, np.minimum(high, room), room)
    middles = [(corners[i] + corners[j]) / 2 for i in range(len(corners)) for j in range(i)]
    points = rounded_to_total(np.vstack([corners, *middles, corners.mean(axis=0)]), room)
    points = np.unique(points, axis=0)
    # Rounding may share the last 0.01 % out differently: such a blend is not new.
    new = np.array([np.abs(made - point).max(axis=1).min() > 2 * _STEP for point in points], dtype=bool)
    terms = mixture_terms(len(names), "quadratic")
    frame = pd.DataFrame(points[new], columns=names)
    if len(frame):
        rank_gain, gain = information_gain(model_matrix(made / room, terms), model_matrix(points[new] / room, terms))
        frame = frame.assign(rank_gain=rank_gain, gain=gain)
        return frame.sort_values(["rank_gain", "gain"], ascending=False, kind="stable", ignore_index=True)
    return frame.assign(rank_gain=pd.Series(dtype="int64"), gain=pd.Series(dtype="float64"))


def _method(kind: MixtureKind, n: int, room: float) -> str:
    how = {
        "lattice": f"a simplex lattice of degree {_DEGREE}",
        "centroid": "a simplex centroid",
        "vertices": "the corners of the region between the limits and their mean",
    }[kind]
    return (
        f"{n} blends: {how}. The emollients that vary share {room:g} % of the formula in every prototype; "
        "everything else stays as in the base."
    )
