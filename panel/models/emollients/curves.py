"""What do the measured curves of the prototypes reduce to: flow parameters, viscosities in use, firmness, work?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from panel.errors import ModelError, PanelError, StudyError
from panel.stats.comparing.multiplicity import LEVEL
from panel.stats.curves.flow import (
    FLOW_MODELS,
    FlowFit,
    FlowModel,
    akaike_weights,
    apparent_viscosity,
    fit_flow_models,
    needs_yield_stress,
)
from panel.stats.curves.over_time import read_force_curve
from panel.study.numbers_read import convert, read_unit, same_quantity
from panel.study.study import Study
from panel.words import level_words

# Shear rates of use, 1/s. The ends of rubbing in: Brummer and Godersky (1999) Colloids Surf. A 152:89-94 (of the order
# of 500 for creams, 5000 for lotions). Pick-up: common practice, no source.
PICK_UP_RATE, RUB_OUT_RATE_CREAM, RUB_OUT_RATE_LOTION = 10.0, 500.0, 5000.0
_USUAL_RATES = (PICK_UP_RATE, RUB_OUT_RATE_CREAM, RUB_OUT_RATE_LOTION)
_YIELD_STRESS, _FLOW_INDEX = "yield stress", "flow index"
_READING = ["prototype", "measure", "unit", "value", "repeat"]


@dataclass(frozen=True, eq=False, slots=True)
class ReducedCurves:
    """The measured curves of a study, reduced.

    Parameters
    ----------
    flow, force
        What each kind of curve reduces to; their frames are empty where there are no such curves.
    readings
        `prototype measure unit value repeat`: what may be joined to the panel like any reading. Without viscosities
        beyond the measured rates, yield stresses that cannot be told, and consistencies, whose unit hangs on n.
    """

    flow: _FlowCurves
    force: _ForceCurves
    readings: pd.DataFrame
    method: str
    notes: tuple[str, ...]


def reduce_curves(study: Study) -> ReducedCurves:
    """Reduce the table `curves` of `study`, each repeat of each prototype by itself.

    Raises
    ------
    ModelError
        If there are no curves, or none can be reduced.
    """
    table = study.table("curves")
    if table.empty:
        raise ModelError(
            "The study has no measured curves. Add the table curves, one row per point: prototype, kind (flow or "
            "force), x, x_unit, y, y_unit, repeat."
        )
    table = table.loc[table["x"].notna() & table["y"].notna()]
    flow = _flow_curves(table)
    force = _force_curves(table, _speed(study))
    if flow.points.empty and force.points.empty:
        why = "; ".join(dict.fromkeys([*flow.left_out["why"], *force.left_out["why"]]))
        raise ModelError(f"No curve can be reduced. {why or 'The kind of a curve is flow or force.'}")
    return ReducedCurves(
        flow=flow,
        force=force,
        readings=_readings(flow, force),
        method=_method(flow, force),
        notes=(*_notes(flow, force), *flow.notes, *force.notes),
    )


def _speed(study: Study) -> float | None:
    """Return the speed of the probe, which turns curves over time into curves over a way."""
    stated = study.facts.get("probe_speed_mm_s")
    if stated is None:
        return None
    if isinstance(stated, bool) or not isinstance(stated, int | float) or not np.isfinite(stated) or stated <= 0:
        raise ModelError(f"The speed of the probe must be a number of mm/s above zero; it is {stated!r}.")
    return float(stated)


def _readings(flow: _FlowCurves, force: _ForceCurves) -> pd.DataFrame:
    """Return what may be joined to the panel."""
    parts = []
    if len(force.quantities):
        parts.append(force.quantities.loc[force.quantities["used"].astype(bool)].rename(columns={"estimate": "value"}))
    if len(flow.viscosities):
        told = flow.viscosities.loc[~flow.viscosities["extrapolated"].astype(bool)]
        names = pd.Series(
            [f"viscosity at {rate:g} {_RATE_UNIT}" for rate in told["rate"]], index=told.index, dtype="str"
        )
        parts.append(told.assign(measure=names, unit=VISCOSITY_UNIT).rename(columns={"estimate": "value"}))
    if len(flow.parameters):
        seen = flow.yield_stresses.loc[flow.yield_stresses["yield_stress_seen"].astype(bool), ["prototype", "repeat"]]
        stress = flow.parameters.loc[flow.parameters["parameter"] == "yield_stress"].merge(seen)
        index = flow.parameters.loc[flow.parameters["parameter"] == "flow_index"]
        parts.append(stress.assign(measure=_YIELD_STRESS).rename(columns={"estimate": "value"}))
        parts.append(index.assign(measure=_FLOW_INDEX).rename(columns={"estimate": "value"}))
    frame = pd.concat([part[_READING] for part in parts], ignore_index=True)
    return frame.astype({name: "float64" if name == "value" else "str" for name in _READING})


def _method(flow: _FlowCurves, force: _ForceCurves) -> str:
    sentences = []
    if flow.model is not None:
        sentences.append(
            "Flow curves: power law, Casson and Herschel-Bulkley by non-linear least squares on the stresses, "
            "relative errors (weights 1 / stress squared), each curve by itself; one model for all curves "
            f"({MODEL_WORDS[flow.model]}, the smallest AICc summed over the curves). "
            f"{level_words(LEVEL)}s: profile likelihood for the yield stress, t on the logarithm for the rest."
        )
    if len(force.quantities):
        sentences.append(
            "Force curves: straight between the points, crossings of zero interpolated; firmness is the largest force, "
            "stickiness the size of the most negative force after it, work the area above or below zero."
        )
    return " ".join(sentences)


def _notes(flow: _FlowCurves, force: _ForceCurves) -> Iterator[str]:
    for row in pd.concat([flow.left_out, force.left_out]).itertuples():
        yield f"The curve of {row.prototype} {row.repeat} is left out: {row.why}".replace("  ", " ")
    if flow.model is None:
        return
    best = flow.models.loc[flow.models["difference"] == 0]
    others = best.loc[best["model"] != flow.model]
    if len(others):
        named = ", ".join(f"{row.prototype} {row.repeat}".strip() for row in others.itertuples())
        yield f"{len(others)} of {len(best)} curves would by themselves be told by another model: {named}."
    if flow.model != "power_law":
        blind = flow.yield_stresses.loc[~flow.yield_stresses["yield_stress_seen"].astype(bool)]
        yield from (_blind(row) for row in blind.to_dict("records"))
    beyond = sorted(set(flow.viscosities.loc[flow.viscosities["extrapolated"].astype(bool), "rate"]))
    if beyond:
        rates = ", ".join(f"{rate:g}" for rate in beyond)
        yield f"Beyond the measured rates of some curves, so only the model speaks there: {rates} {_RATE_UNIT}."


def _blind(row: Mapping[Any, Any]) -> str:
    name = f"{row['prototype']} {row['repeat']}".strip()
    lowest, useful = float(row["lowest_rate"]), float(row["highest_useful_rate"])
    if lowest > useful:
        return (
            f"The yield stress of {name} cannot be told: it would show below {useful:.3g} {_RATE_UNIT}, and the lowest "
            f"rate is {lowest:.3g} {_RATE_UNIT}. Its interval, from 0 {_STRESS_UNIT} up, is what holds without a model."
        )
    return (
        f"The yield stress of {name} cannot be told from zero: a power law, without one, describes the curve as well."
    )


# Flow curves of the prototypes reduced to one model's parameters and to viscosities at the shear rates of use.


_RATE_UNIT, _STRESS_UNIT, VISCOSITY_UNIT = "1/s", "Pa", "Pa s"
PARAMETER_UNITS = {
    "yield_stress": _STRESS_UNIT,
    "plastic_viscosity": VISCOSITY_UNIT,
    "consistency": "Pa s^n",
    "flow_index": "1",
}
MODEL_WORDS: dict[FlowModel, str] = {
    "power_law": "power law",
    "casson": "Casson",
    "herschel_bulkley": "Herschel-Bulkley",
}
_CURVE = ["prototype", "repeat"]
_LINE_POINTS = 80


@dataclass(frozen=True, eq=False, slots=True)
class _FlowCurves:
    """What the flow curves reduce to; every frame begins with `prototype repeat`.

    Parameters
    ----------
    model
        The one model used for all curves, so that like is compared with like; None without curves.
    models
        `model aicc difference weight residual_sum df n_points`: every model on every curve, the best first.
    totals
        `model aicc difference`: AICc summed over the curves, the best first.
    parameters
        `model parameter unit estimate std_error ci_low ci_high` of the model used.
    yield_stresses
        `yield_stress_seen lowest_rate highest_useful_rate`: whether a yield stress can be told at all.
    viscosities
        `rate estimate ci_low ci_high extrapolated`, in Pa s.
    points, lines
        `rate stress`: measured points, and the fitted curve to be drawn.
    left_out
        `prototype repeat why`.
    notes
        What was done to the points.
    """

    model: FlowModel | None
    models: pd.DataFrame
    totals: pd.DataFrame
    parameters: pd.DataFrame
    yield_stresses: pd.DataFrame
    viscosities: pd.DataFrame
    points: pd.DataFrame
    lines: pd.DataFrame
    left_out: pd.DataFrame
    notes: tuple[str, ...]


_Fits = dict[str, FlowFit]  # every model on one curve


def _flow_curves(curves: pd.DataFrame) -> _FlowCurves:
    """Fit the flow curves among the rows of the table `curves`; points are known to so many per cent of the stress.

    One model serves all curves: the one with the smallest AICc summed over the curves.
    """
    fitted: dict[tuple[str, str], _Fits] = {}
    points: list[pd.DataFrame] = []
    left_out: list[tuple[str, str, str]] = []
    notes: list[str] = []
    for (prototype, repeat), rows in curves.loc[curves["kind"] == "flow"].groupby(_CURVE, sort=False):
        key = (str(prototype), str(repeat))
        try:
            rate, stress = _in_pascal(rows)
            counts = (rate > 0) & (stress > 0)
            fits = fit_flow_models(rate[counts], stress[counts], level=LEVEL)
        except PanelError as error:
            left_out.append((*key, str(error)))
            continue
        fitted[key] = {fit.model: fit for fit in fits}
        points.append(_keyed(key, {"rate": rate[counts], "stress": stress[counts]}))
        if dropped := int((~counts).sum()):
            name = " ".join(key).strip()
            notes.append(f"{dropped} points of {name} do not count: rate or stress is not above zero.")
    totals = _totals(list(fitted.values()))
    chosen = None if totals.empty else next(model for model in FLOW_MODELS if model == totals["model"].iloc[0])
    return _FlowCurves(
        model=chosen,
        models=_stacked([_models(*curve) for curve in fitted.items()]),
        totals=totals,
        parameters=_stacked([_parameters(*curve, str(chosen)) for curve in fitted.items()]),
        yield_stresses=_stacked([_yield_stress(*curve, chosen) for curve in fitted.items() if chosen]),
        viscosities=_stacked(
            [_keyed(key, apparent_viscosity(fits[str(chosen)], _USUAL_RATES, LEVEL)) for key, fits in fitted.items()]
        ),
        points=_stacked(points),
        lines=_stacked([_line(*curve, str(chosen)) for curve in fitted.items()]),
        left_out=pd.DataFrame(left_out, columns=[*_CURVE, "why"], dtype="str"),
        notes=tuple(notes),
    )


def _in_pascal(rows: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Return shear rates in 1/s and shear stresses in Pa; a curve of viscosities becomes one of stresses."""
    rate = np.concatenate([convert([x], unit, _RATE_UNIT) for x, unit in zip(rows["x"], rows["x_unit"], strict=True)])
    stress = []
    for value, unit, own_rate in zip(rows["y"], rows["y_unit"], rate, strict=True):
        if same_quantity(read_unit(unit), VISCOSITY_UNIT):
            stress.append(convert([value], unit, VISCOSITY_UNIT) * own_rate)
        else:
            stress.append(convert([value], unit, _STRESS_UNIT))
    return rate, np.concatenate(stress)


def _totals(fitted: list[_Fits]) -> pd.DataFrame:
    sums = [sum(fits[model].aicc for fits in fitted) for model in FLOW_MODELS]
    frame = pd.DataFrame({"model": pd.Series(FLOW_MODELS, dtype="str"), "aicc": np.array(sums, dtype=float)})
    if not fitted:
        return frame.iloc[:0].assign(difference=pd.Series(dtype="float64"))
    return frame.assign(difference=akaike_weights(sums)[0]).sort_values("aicc", kind="stable", ignore_index=True)


def _models(key: tuple[str, str], fits: _Fits) -> pd.DataFrame:
    each = list(fits.values())
    difference, weight = akaike_weights([fit.aicc for fit in each])
    return _keyed(
        key,
        {
            "model": pd.Series([fit.model for fit in each], dtype="str"),
            "aicc": [fit.aicc for fit in each],
            "difference": difference,
            "weight": weight,
            "residual_sum": [fit.residual_sum for fit in each],
            "df": [fit.df for fit in each],
            "n_points": [fit.n for fit in each],
        },
    )


def _parameters(key: tuple[str, str], fits: _Fits, model: str) -> pd.DataFrame:
    fit = fits[model]
    return _keyed(
        key,
        {
            "model": pd.Series([model] * len(fit.names), dtype="str"),
            "parameter": pd.Series(fit.names, dtype="str"),
            "unit": pd.Series([PARAMETER_UNITS[name] for name in fit.names], dtype="str"),
            "estimate": fit.parameters,
            "std_error": fit.std_errors,
            "ci_low": fit.ci_low,
            "ci_high": fit.ci_high,
        },
    )


def _yield_stress(key: tuple[str, str], fits: _Fits, model: FlowModel) -> pd.DataFrame:
    fit = fits[model]
    return _keyed(
        key,
        {
            "yield_stress_seen": [needs_yield_stress(list(fits.values()), model)],
            "lowest_rate": [fit.lowest_rate],
            "highest_useful_rate": [fit.highest_useful_rate],
        },
    )


def _line(key: tuple[str, str], fits: _Fits, model: str) -> pd.DataFrame:
    fit = fits[model]
    rate = np.geomspace(fit.lowest_rate, fit.highest_rate, _LINE_POINTS)
    return _keyed(key, {"rate": rate, "stress": fit.stress(rate)})


def _keyed(key: tuple[str, str], columns: Mapping[str, object]) -> pd.DataFrame:
    return pd.DataFrame({**dict(zip(_CURVE, key, strict=True)), **columns})


def _stacked(frames: list[pd.DataFrame]) -> pd.DataFrame:
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=_CURVE, dtype="str")


# Force curves of the prototypes reduced to firmness, work and stickiness.


_NOT_ZEROED = 0.05  # force at the first point as a share of the peak; common practice, no source
_COLUMNS = [*_CURVE, "measure", "unit", "estimate", "limits", "used"]


@dataclass(frozen=True, eq=False, slots=True)
class _ForceCurves:
    """What the force curves reduce to; every frame begins with `prototype repeat`.

    Parameters
    ----------
    quantities
        `measure unit estimate limits used`: `limits` is what an area was taken over; `used` marks the work of shear
        that is joined to the panel.
    points
        `along along_unit force force_unit`: way (or time) from the start, never falling, and force.
    peaks
        `peak_at pull_at`: where the peak and the strongest pull lie.
    left_out
        `prototype repeat why`.
    notes
        What to know of the curves.
    """

    quantities: pd.DataFrame
    points: pd.DataFrame
    peaks: pd.DataFrame
    left_out: pd.DataFrame
    notes: tuple[str, ...]


_Units = tuple[str, str, str, float]
"""Units of one curve: of the way or time, of the force, of areas, and what turns an area into that unit."""


def _force_curves(curves: pd.DataFrame, speed_mm_s: float | None) -> _ForceCurves:
    """Read the force curves among the rows of the table `curves`.

    Areas are work in N mm (the same as mJ) where the curve runs over a distance or the speed of the probe is known,
    and otherwise areas over time in g s or N s.
    """
    quantities, points, peaks = [], [], []
    left_out: list[tuple[str, str, str]] = []
    touched: list[str] = []
    timed: list[str] = []
    for (prototype, repeat), rows in curves.loc[curves["kind"] == "force"].groupby(_CURVE, sort=False):
        key = {"prototype": str(prototype), "repeat": str(repeat)}
        name = f"{prototype} {repeat}".strip()
        try:
            x, force, units = _curve(rows, speed_mm_s)
            found = read_force_curve(x, force, time=not same_quantity(read_unit(rows["x_unit"].iloc[0]), "mm"))
        except PanelError as error:
            left_out.append((str(prototype), str(repeat), str(error)))
            continue
        quantities += [{**key, **row} for row in _quantities(found, units)]
        along = {"along": found["along"], "along_unit": units[0], "force": force, "force_unit": units[1]}
        points.append(pd.DataFrame(key | along))
        peaks.append({**key, "peak_at": found["peak_at"], "pull_at": found["pull_at"]})
        touched += [name] if abs(found["start_share"]) > _NOT_ZEROED else []
        timed += [name] if units[0] == "s" else []
    return _ForceCurves(
        quantities=pd.DataFrame(quantities, columns=_COLUMNS),
        points=_stacked(points),
        peaks=pd.DataFrame(peaks, columns=[*_CURVE, "peak_at", "pull_at"]),
        left_out=pd.DataFrame(left_out, columns=[*_CURVE, "why"], dtype="str"),
        notes=tuple(_force_curves_notes(touched, timed)),
    )


def _curve(rows: pd.DataFrame, speed_mm_s: float | None) -> tuple[np.ndarray, np.ndarray, _Units]:
    """Return way (mm) or time (s), force, and the units of what follows."""
    if len(rows[["x_unit", "y_unit"]].drop_duplicates()) > 1:
        raise StudyError("One curve has several units. Give all its points the same units.")
    x_unit, y_unit = read_unit(rows["x_unit"].iloc[0]), read_unit(rows["y_unit"].iloc[0])
    force_unit = y_unit if y_unit in ("g", "N") else "N"
    force = convert(rows["y"], y_unit, force_unit)
    in_newton = float(convert(1.0, force_unit, "N"))
    if same_quantity(x_unit, "mm"):
        return convert(rows["x"], x_unit, "mm"), force, ("mm", force_unit, "N mm", in_newton)
    seconds = convert(rows["x"], x_unit, "s")
    if speed_mm_s is None:
        return seconds, force, ("s", force_unit, f"{force_unit} s", 1.0)
    return seconds * speed_mm_s, force, ("mm", force_unit, "N mm", in_newton)


def _quantities(found: Mapping[str, Any], units: _Units) -> list[dict[str, object]]:
    _, force_unit, area_unit, factor = units
    to_peak, whole = found["area_to_peak"] * factor, found["area_above"] * factor
    rows = [
        ("firmness", force_unit, found["peak_force"], "largest force", True),
        ("work of shear", area_unit, to_peak, "area above zero, from the start to the peak", True),
        ("work of shear", area_unit, whole, "area above zero, over the whole stroke", False),
        ("stickiness", force_unit, found["pull_force"], "size of the most negative force after the peak", True),
        ("work of adhesion", area_unit, found["area_below"] * factor, "area below zero, after the peak", True),
    ]
    return [dict(zip(_COLUMNS[2:], row, strict=True)) for row in rows]


def _force_curves_notes(touched: list[str], timed: list[str]) -> Iterator[str]:
    if timed:
        yield (
            "Areas of force curves are over time, not work, because neither distance nor the speed of the probe is "
            "known; compare them only where the speed was the same. State probe_speed_mm_s among the study's facts."
        )
    if touched:
        yield f"The force is not near zero where the curve begins; check the zero: {', '.join(touched)}."
