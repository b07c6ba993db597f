"""How a map was made, and what a reader must know before trusting it."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.stats.maps.components import Matrix

LOW_SHARE = 0.70
FEW_PROTOTYPES = 5
FEW_ATTRIBUTES = 3


def map_method(
    shape: tuple[int, int], by_assessor: NDArray[np.float64], matrix: Matrix, drawn: int, level: float
) -> str:
    """Return how the map was made, as one paragraph for the report."""
    rows, columns = shape
    text = (
        f"Principal components of the {matrix} matrix of {rows} prototypes by {columns} attributes"
        " (estimated means, divisor prototypes - 1; on each component the attribute with the largest weight"
        " points to the positive side)."
    )
    if not drawn:
        return text
    gaps = "" if np.isfinite(by_assessor).all() else " Gaps were met by least squares within assessors."
    return (
        f"{text} Regions: {drawn} panels drawn with replacement from the {len(by_assessor)} assessors, each"
        " draw's map turned and if need be mirrored, not stretched, onto this one (Procrustes); ellipse from"
        f" the draws' covariance with Hotelling's radius for {100 * level:g} % (assessors - 1 degrees of freedom)"
        f" around each prototype by itself.{gaps}"
    )


def map_notes(
    table: pd.DataFrame,
    components: pd.DataFrame,
    regions: pd.DataFrame,
    left_out: dict[str, list[str]],
    spans: dict[str, float],
    matrix: Matrix,
    draws: tuple[int, int],
) -> tuple[str, ...]:
    """Return the cautions that apply to this map; `draws` is how many were asked for and could be used."""
    return tuple(
        note
        for note in (
            *_left_out_notes(left_out),
            _low_share(components),
            _no_more_than_chance(components),
            _few(table),
            _mixed_scales(table, spans) if matrix == "covariance" else _correlation(),
            _missing_regions(regions, draws),
        )
        if note
    )


def _left_out_notes(left_out: dict[str, list[str]]) -> tuple[str, ...]:
    reasons = {
        "prototypes": "have no estimated mean",
        "not_estimated": "have no estimated mean for every prototype",
        "flat": "have the same mean for all prototypes",
    }
    return tuple(
        f"Left out of the map, because they {why}: {', '.join(left_out[kind])}."
        for kind, why in reasons.items()
        if left_out.get(kind)
    )


def _low_share(components: pd.DataFrame) -> str:
    share = float(components["share"].iloc[:2].sum())
    if share >= LOW_SHARE:
        return ""
    return (
        f"The two axes carry only {math.floor(100 * share)} % of the differences: prototypes that lie"
        " together here may be apart in what the map leaves out."
    )


def _no_more_than_chance(components: pd.DataFrame) -> str:
    first = components.iloc[0]
    if first["share"] > first["chance_share"]:
        return ""
    return (
        f"The first axis carries {math.floor(100 * first['share'])} %; attributes that have nothing to do with"
        f" each other would reach {math.floor(100 * first['chance_share'])} % in one case of twenty."
        " Do not read a pattern into this map."
    )


def _few(table: pd.DataFrame) -> str:
    prototypes, attributes = table.shape
    if prototypes < FEW_PROTOTYPES:
        return (
            f"With {prototypes} prototypes two axes hold nearly everything by arithmetic alone; a map begins"
            f" to say something with {FEW_PROTOTYPES} or more."
        )
    if attributes < FEW_ATTRIBUTES:
        return f"With {attributes} attributes the map only turns them; plot one against the other instead."
    return ""


def _mixed_scales(table: pd.DataFrame, spans: dict[str, float]) -> str:
    known = {spans[name] for name in table.columns if np.isfinite(spans.get(name, np.nan))}
    if len(known) < 2:
        return ""
    lengths = ", ".join(f"{length:g}" for length in sorted(known))
    return (
        f"The attributes have scales of different length ({lengths}); the longer ones dominate this map."
        " Use the correlation matrix."
    )


def _correlation() -> str:
    return (
        "Each attribute counts the same here, also one in which the prototypes hardly differ; the regions"
        " are then a little too small (in simulations 95 % regions held the true place 84 to 95 times in 100)."
    )


def _missing_regions(regions: pd.DataFrame, draws: tuple[int, int]) -> str:
    without = regions.loc[regions["half_axis_1"].isna(), "prototype"]
    asked, drawn = draws
    if len(without):
        return (
            f"No region for {', '.join(without)}: fewer than four assessors scored one of its attributes,"
            " or too few draws link the prototypes."
        )
    if drawn < asked:
        return f"{asked - drawn} of {asked} draws were left out: their assessors do not link all prototypes."
    return ""
