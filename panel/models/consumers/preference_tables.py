"""Liking over the panel's map as tables: directions, ideal points, shares of consumers, sensations."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from panel.stats.arrays import Array
from panel.stats.maps.correlation import correlations
from panel.stats.maps.ideal_points import direction_interval, fit_plane, inside_hull

GRID = 41  # places along each side of the map
FEWEST_OWN = 6  # prototypes a consumer has to have tried for a model of his own
REACH = 0.02  # of the map beyond the outermost prototypes


@dataclass(frozen=True, eq=False, slots=True)
class Liked:
    """Liking of one group of consumers (rows) for the prototypes (columns), own levels taken out, NaN for gaps."""

    segment: int
    own: pd.DataFrame

    def means(self) -> Array:
        """Mean liking of each prototype."""
        return np.asarray(self.own.mean().to_numpy(dtype=float))

    def table(self) -> pd.DataFrame:
        """Return `segment prototype estimate n`."""
        return pd.DataFrame(
            {
                "segment": self.segment,
                "prototype": pd.Series(self.own.columns, dtype="str"),
                "estimate": self.means(),
                "n": self.own.notna().sum().to_numpy(),
            }
        )

    def drawn(self, draws: int, rng: np.random.Generator) -> Array:
        """Return mean likings (prototypes, draws) of consumers drawn anew; without draws that miss a prototype."""
        value = self.own.to_numpy(dtype=float)
        n = len(value)
        times = rng.multinomial(n, np.full(n, 1 / n), size=draws).astype(float)
        present = np.isfinite(value)
        count = times @ present
        total = times @ np.where(present, value, 0.0)
        whole = (count > 0).all(axis=1)
        return np.asarray((total[whole] / count[whole]).T)


def direction_rows(liked: Liked, points: Array, drawn: Array, level: float) -> dict[str, Any]:
    """Return one row of `panel.models.consumers.preference_map.PreferenceMap.directions`."""
    fit = fit_plane(points, liked.means()[:, None])
    slope = fit.slope[0]
    low, high = direction_interval(fit_plane(points, drawn).slope, slope, level)
    angle = float(np.degrees(np.arctan2(slope[1], slope[0])))
    return {
        "segment": liked.segment,
        "n_consumers": len(liked.own),
        "slope_1": float(slope[0]),
        "slope_2": float(slope[1]),
        "angle": angle,
        "angle_low": angle + low,
        "angle_high": angle + high,
        "share": float(fit.r2[0]),
        "p_value": float(fit.p_value[0]),
    }


def ideal_rows(liked: Liked, points: Array, drawn: Array, level: float) -> dict[str, Any]:
    """Return one row of `panel.models.consumers.preference_map.PreferenceMap.ideals`."""
    fit = fit_plane(points, liked.means()[:, None])
    again = fit_plane(points, drawn)
    peaked = again.curvature < 0
    ends = [(1 - level) / 2, (1 + level) / 2]
    limits = np.quantile(again.peak[peaked], ends, axis=0) if peaked.any() else np.full((2, 2), np.nan)
    return {
        "segment": liked.segment,
        "peak": bool(fit.curvature[0] < 0),
        "component_1": float(fit.peak[0, 0]),
        "component_2": float(fit.peak[0, 1]),
        "inside": bool(inside_hull(points, fit.peak)[0]),
        "share": float(fit.circular_r2[0]),
        "curvature_p_value": float(fit.curvature_p_value[0]),
        "drawn_peak": float(peaked.mean()),
        "ci_low_1": float(limits[0, 0]),
        "ci_high_1": float(limits[1, 0]),
        "ci_low_2": float(limits[0, 1]),
        "ci_high_2": float(limits[1, 1]),
    }


def share_rows(own: pd.DataFrame, points: Array) -> pd.DataFrame:
    """Return `component_1 component_2 share` over a grid among the prototypes.

    Consumers with the same gaps share their points and are fitted together.
    """
    value = own.to_numpy(dtype=float)
    present = np.isfinite(value)
    above = []
    low, high = points.min(axis=0), points.max(axis=0)
    room = REACH * (high - low)
    across, up = np.meshgrid(*(np.linspace(a, b, GRID) for a, b in zip(low - room, high + room, strict=True)))
    places = np.column_stack([across.ravel(), up.ravel()])
    places = places[inside_hull(points, places)]
    for pattern in np.unique(present, axis=0):
        if pattern.sum() < FEWEST_OWN:
            continue
        rows = value[(present == pattern).all(axis=1)][:, pattern]
        fit = fit_plane(points[pattern], rows.T)
        predicted = fit.intercept + places @ fit.slope.T
        above.append(predicted > rows.mean(axis=1))
    if not above or not len(places):
        return pd.DataFrame({name: pd.Series(dtype="float64") for name in ("component_1", "component_2", "share")})
    share = np.hstack(above).mean(axis=1)
    return pd.DataFrame({"component_1": places[:, 0], "component_2": places[:, 1], "share": share})


def sensation_rows(liked: Liked, profile: pd.DataFrame, level: float) -> pd.DataFrame:
    """Return `segment attribute estimate n p_value ci_low ci_high beyond`, prototypes by attributes in `profile`."""
    found = correlations(liked.means()[:, None], profile.to_numpy(dtype=float), level)
    return pd.DataFrame(
        {
            "segment": liked.segment,
            "attribute": pd.Series(profile.columns, dtype="str"),
            "estimate": found.estimate[0],
            "n": found.n[0],
            "p_value": found.p_value[0],
            "ci_low": found.ci_low[0],
            "ci_high": found.ci_high[0],
            "beyond": found.p_value[0] < 1 - level,
        }
    )
