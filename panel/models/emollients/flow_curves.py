"""Flow curves of the prototypes reduced to one model's parameters and to viscosities at the shear rates of use."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from panel.errors import PanelError
from panel.stats.curves.apparent_viscosity import apparent_viscosity
from panel.stats.curves.flow import FlowFit, Weighting, akaike_weights, fit_flow_models, needs_yield_stress
from panel.stats.curves.flow_models import FLOW_MODELS, FlowModel
from panel.study.units import convert, read_unit, same_quantity

RATE_UNIT, STRESS_UNIT, VISCOSITY_UNIT = "1/s", "Pa", "Pa s"
PARAMETER_UNITS = {
    "yield_stress": STRESS_UNIT,
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
class FlowCurves:
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


@dataclass(frozen=True, eq=False, slots=True)
class _Fitted:
    key: tuple[str, str]
    rate: np.ndarray
    stress: np.ndarray
    fits: dict[str, FlowFit]
    dropped: int


def flow_curves(
    curves: pd.DataFrame,
    *,
    model: FlowModel | None,
    weighting: Weighting,
    rates: Sequence[float],
    level: float,
) -> FlowCurves:
    """Fit the flow curves among the rows of the table `curves`.

    One model serves all curves: `model`, or else the one with the smallest AICc summed over the curves.
    """
    fitted: list[_Fitted] = []
    left_out: list[tuple[str, str, str]] = []
    for (prototype, repeat), rows in curves.loc[curves["kind"] == "flow"].groupby(_CURVE, sort=False):
        key = (str(prototype), str(repeat))
        try:
            fitted.append(_fit(key, rows, weighting, level))
        except PanelError as error:
            left_out.append((*key, str(error)))
    totals = _totals(fitted)
    chosen = model or (None if totals.empty else next(m for m in FLOW_MODELS if m == totals["model"].iloc[0]))
    return FlowCurves(
        model=chosen if fitted else None,
        models=_stacked([_models(curve) for curve in fitted]),
        totals=totals,
        parameters=_stacked([_parameters(curve, str(chosen)) for curve in fitted]),
        yield_stresses=_stacked([_yield_stress(curve, chosen) for curve in fitted if chosen]),
        viscosities=_stacked([_viscosities(curve, str(chosen), rates, level) for curve in fitted]),
        points=_stacked([_keyed(curve.key, {"rate": curve.rate, "stress": curve.stress}) for curve in fitted]),
        lines=_stacked([_line(curve, str(chosen)) for curve in fitted]),
        left_out=pd.DataFrame(left_out, columns=[*_CURVE, "why"], dtype="str"),
        notes=tuple(
            f"{curve.dropped} points of {' '.join(curve.key).strip()} do not count: rate or stress is not above zero."
            for curve in fitted
            if curve.dropped
        ),
    )


def _fit(key: tuple[str, str], rows: pd.DataFrame, weighting: Weighting, level: float) -> _Fitted:
    rate, stress = _in_pascal(rows)
    kept = (rate > 0) & (stress > 0)
    rate, stress = rate[kept], stress[kept]
    fits = fit_flow_models(rate, stress, weighting, level)
    return _Fitted(key, rate, stress, {fit.model: fit for fit in fits}, int((~kept).sum()))


def _in_pascal(rows: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Return shear rates in 1/s and shear stresses in Pa; a curve of viscosities becomes one of stresses."""
    rate = np.concatenate([convert([x], unit, RATE_UNIT) for x, unit in zip(rows["x"], rows["x_unit"], strict=True)])
    stress = []
    for value, unit, own_rate in zip(rows["y"], rows["y_unit"], rate, strict=True):
        if same_quantity(read_unit(unit), VISCOSITY_UNIT):
            stress.append(convert([value], unit, VISCOSITY_UNIT) * own_rate)
        else:
            stress.append(convert([value], unit, STRESS_UNIT))
    return rate, np.concatenate(stress)


def _totals(fitted: list[_Fitted]) -> pd.DataFrame:
    sums = [sum(curve.fits[model].aicc for curve in fitted) for model in FLOW_MODELS]
    frame = pd.DataFrame({"model": pd.Series(FLOW_MODELS, dtype="str"), "aicc": np.array(sums, dtype=float)})
    if not fitted:
        return frame.iloc[:0].assign(difference=pd.Series(dtype="float64"))
    return frame.assign(difference=akaike_weights(sums)[0]).sort_values("aicc", kind="stable", ignore_index=True)


def _models(curve: _Fitted) -> pd.DataFrame:
    fits = list(curve.fits.values())
    difference, weight = akaike_weights([fit.aicc for fit in fits])
    return _keyed(
        curve.key,
        {
            "model": pd.Series([fit.model for fit in fits], dtype="str"),
            "aicc": [fit.aicc for fit in fits],
            "difference": difference,
            "weight": weight,
            "residual_sum": [fit.residual_sum for fit in fits],
            "df": [fit.df for fit in fits],
            "n_points": [fit.n for fit in fits],
        },
    )


def _parameters(curve: _Fitted, model: str) -> pd.DataFrame:
    fit = curve.fits[model]
    return _keyed(
        curve.key,
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


def _yield_stress(curve: _Fitted, model: FlowModel) -> pd.DataFrame:
    fit = curve.fits[model]
    return _keyed(
        curve.key,
        {
            "yield_stress_seen": [needs_yield_stress(list(curve.fits.values()), model)],
            "lowest_rate": [fit.lowest_rate],
            "highest_useful_rate": [fit.highest_useful_rate],
        },
    )


def _viscosities(curve: _Fitted, model: str, rates: Sequence[float], level: float) -> pd.DataFrame:
    found = apparent_viscosity(curve.fits[model], rates, level)
    return _keyed(
        curve.key,
        {
            "rate": found.rate,
            "estimate": found.viscosity,
            "ci_low": found.ci_low,
            "ci_high": found.ci_high,
            "extrapolated": found.extrapolated,
        },
    )


def _line(curve: _Fitted, model: str) -> pd.DataFrame:
    fit = curve.fits[model]
    rate = np.geomspace(fit.lowest_rate, fit.highest_rate, _LINE_POINTS)
    return _keyed(curve.key, {"rate": rate, "stress": fit.stress(rate)})


def _keyed(key: tuple[str, str], columns: dict[str, object]) -> pd.DataFrame:
    frame = pd.DataFrame(columns)
    names = dict(zip(_CURVE, key, strict=True))
    return frame.assign(**{name: pd.Series(value, index=frame.index, dtype="str") for name, value in names.items()})[
        [*_CURVE, *columns]
    ]


def _stacked(frames: list[pd.DataFrame]) -> pd.DataFrame:
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=_CURVE, dtype="str")
