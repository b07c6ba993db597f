"""Does each prototype meet its windows, and with what chance: as they stand, and as differences from the benchmark?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import stdtrit

from panel.models.decision.panel_draws import PanelDraws
from panel.models.decision.profile import Profile
from panel.stats.formulas.desirability import overall_desirability, window_wanted

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
_TOLERANCE_OF_SPREAD = 1.0  # without a scale: the spread of the means themselves


@dataclass(frozen=True, eq=False, slots=True)
class Windows:
    """What the windows say of the prototypes; arrays are (attributes, prototypes) or (draws, prototypes).

    Parameters
    ----------
    rows
        One row per attribute with a window and prototype: `attribute prototype estimate std_error df ci_low ci_high
        target_low target_high weight must_have desirability met chance`, and read as differences from the benchmark
        `versus difference difference_low difference_high versus_low versus_high met_versus chance_versus
        chance_better`. `met` is True if the estimate lies inside; NaN where it is not known. `chance_better` is the
        chance to lie on the wanted side of the benchmark; NaN for windows closed on both sides.
    desirability, drawn_desirability
        (prototypes,) overall, and (draws, prototypes).
    chance_all, chance_all_versus
        (prototypes,) chance to meet all windows at once; NaN where one of them is not known.
    single, weights
        (attributes, prototypes) desirabilities of the estimates, and (attributes,).
    """

    rows: pd.DataFrame
    desirability: Floats
    drawn_desirability: Floats
    chance_all: Floats
    chance_all_versus: Floats
    single: Floats
    weights: Floats


def judge_windows(profile: Profile, drawn: PanelDraws, benchmark: str | None, level: float) -> Windows:
    """Hold the means and their draws against the windows of `profile`; intervals at `level`."""
    wanted = profile.wanted.set_index("attribute").loc[list(drawn.attributes)].reset_index()
    low, high = (wanted[[name]].to_numpy(float) for name in ("target_low", "target_high"))
    weights = wanted["weight"].to_numpy(float)
    reach = _reach(wanted, drawn.estimate)
    single = _single(drawn.estimate, low, high, reach)
    base = None if benchmark not in drawn.prototypes else drawn.prototypes.index(str(benchmark))
    half = stdtrit(drawn.df, (1 + level) / 2) * drawn.std_error
    known = np.isfinite(drawn.estimate)
    met = _inside(drawn.drawn, low, high)
    columns = {
        "estimate": drawn.estimate,
        "std_error": drawn.std_error,
        "df": drawn.df,
        "ci_low": drawn.estimate - half,
        "ci_high": drawn.estimate + half,
        **{
            name: np.broadcast_to(wanted[[name]].to_numpy(float), known.shape) for name in ("target_low", "target_high")
        },
        "weight": np.broadcast_to(weights[:, None], known.shape),
        "desirability": single,
        "met": np.where(known, _inside(drawn.estimate, low, high), np.nan),
        "chance": np.where(known, met.mean(axis=0), np.nan),
    }
    versus, met_versus = _versus(wanted, drawn, base, level)
    everything = known.all(axis=0)
    return Windows(
        rows=_long(wanted, drawn, columns | versus, benchmark if base is not None else ""),
        desirability=_overall(single, weights),
        drawn_desirability=_overall(_single(drawn.drawn, low, high, reach), weights),
        chance_all=np.where(everything, met.all(axis=1).mean(axis=0), np.nan),
        chance_all_versus=_all_versus(met_versus, known, base),
        single=single,
        weights=weights,
    )


def window_distance(estimate: Floats, low: Floats, high: Floats) -> Floats:
    """Return how far each mean lies outside its window, scale units; 0 inside, NaN where it is not known."""
    below = np.where(np.isnan(low), 0.0, low - estimate)
    above = np.where(np.isnan(high), 0.0, estimate - high)
    return np.asarray(np.maximum(np.maximum(below, above), 0.0) + 0.0 * estimate)


def _inside(values: Floats, low: Floats, high: Floats) -> Flags:
    """Return which values lie inside; a missing limit is none, a missing value is never inside."""
    return np.asarray(~(values < low) & ~(values > high) & np.isfinite(values))


def _reach(wanted: pd.DataFrame, estimate: Floats) -> Floats:
    """Return how far outside its window a mean counts for nothing, (attributes, 1)."""
    reach = wanted[["tolerance"]].to_numpy(float)
    spread = np.nanmax(estimate, axis=1, keepdims=True) - np.nanmin(estimate, axis=1, keepdims=True)
    return np.asarray(np.where(np.isnan(reach), np.where(spread > 0, spread, _TOLERANCE_OF_SPREAD), reach))


def _single(values: Floats, low: Floats, high: Floats, reach: Floats) -> Floats:
    start, end = np.where(np.isnan(low), -np.inf, low), np.where(np.isnan(high), np.inf, high)
    return window_wanted(values, start - reach, start, end, end + reach)


def _overall(single: Floats, weights: Floats) -> Floats:
    """Return the overall desirability over the attributes, the last axis but one."""
    return overall_desirability(np.moveaxis(single, -2, -1), weights)


def _versus(
    wanted: pd.DataFrame, drawn: PanelDraws, base: int | None, level: float
) -> tuple[dict[str, Floats], Flags | None]:
    """Return the windows read as differences from the benchmark, and which draws meet them."""
    names = ("difference", "difference_low", "difference_high", "versus_low", "versus_high", "met_versus")
    shape = drawn.estimate.shape
    if base is None:
        return {name: np.full(shape, np.nan) for name in (*names, "chance_versus", "chance_better")}, None
    own = drawn.estimate[:, [base]]
    stated = wanted[["benchmark_level"]].to_numpy(float)
    zero = np.where(np.isnan(stated), own, stated)
    low, high = (wanted[[name]].to_numpy(float) - zero for name in ("target_low", "target_high"))
    difference, differences = drawn.estimate - own, drawn.drawn - drawn.drawn[:, :, [base]]
    tail = (1 - level) / 2
    with np.errstate(invalid="ignore"):
        ends = np.quantile(differences, [tail, 1 - tail], axis=0)
    known = np.isfinite(difference)
    met = _inside(differences, low, high)
    side = np.where(np.isnan(high) & ~np.isnan(low), 1.0, np.where(np.isnan(low) & ~np.isnan(high), -1.0, np.nan))
    better = ((differences * side) > 0).mean(axis=0)
    better = np.where(np.isnan(side), np.nan, better)
    better[:, base] = np.nan
    found = (difference, *ends, *(np.broadcast_to(end, shape) for end in (low, high)), _inside(difference, low, high))
    columns = {name: np.where(known, values, np.nan) for name, values in zip(names, found, strict=True)}
    return columns | {
        "chance_versus": np.where(known, met.mean(axis=0), np.nan),
        "chance_better": np.where(known, better, np.nan),
    }, met


def _all_versus(met: Flags | None, known: Flags, base: int | None) -> Floats:
    if met is None or base is None:
        return np.full(known.shape[1], np.nan)
    return np.asarray(np.where((known & known[:, [base]]).all(axis=0), met.all(axis=1).mean(axis=0), np.nan))


def _long(wanted: pd.DataFrame, drawn: PanelDraws, columns: dict[str, Floats], versus: str | None) -> pd.DataFrame:
    q, k = drawn.estimate.shape
    frame = pd.DataFrame(
        {
            "attribute": pd.Series(np.repeat(list(drawn.attributes), k), dtype="str"),
            "prototype": pd.Series(list(drawn.prototypes) * q, dtype="str"),
            **{name: np.asarray(values, dtype=float).ravel() for name, values in columns.items()},
        }
    )
    return frame.assign(must_have=np.repeat(wanted["must_have"].to_numpy(bool), k), versus=versus or "")
