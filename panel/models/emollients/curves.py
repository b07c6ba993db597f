"""What do the measured curves of the prototypes reduce to: flow parameters, viscosities in use, firmness, work?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.models.emollients.flow_curves import (
    MODEL_WORDS,
    RATE_UNIT,
    STRESS_UNIT,
    VISCOSITY_UNIT,
    FlowCurves,
    flow_curves,
)
from panel.models.emollients.force_curves import ForceCurves, WorkUntil, force_curves
from panel.stats.curves.flow import Weighting
from panel.stats.curves.flow_models import FlowModel
from panel.study.study import Study

# Shear rates of use, 1/s. The ends of rubbing in: Brummer and Godersky (1999) Colloids Surf. A 152:89-94 (of the order
# of 500 for creams, 5000 for lotions). Pick-up: common practice, no source.
PICK_UP_RATE, RUB_OUT_RATE_CREAM, RUB_OUT_RATE_LOTION = 10.0, 500.0, 5000.0
USUAL_RATES = (PICK_UP_RATE, RUB_OUT_RATE_CREAM, RUB_OUT_RATE_LOTION)
YIELD_STRESS, FLOW_INDEX = "yield stress", "flow index"
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
    level, method, notes
        Level of the intervals, how it was done, and what to know before trusting it.
    """

    flow: FlowCurves
    force: ForceCurves
    readings: pd.DataFrame
    level: float
    method: str
    notes: tuple[str, ...]


def reduce_curves(
    study: Study,
    *,
    model: FlowModel | None = None,
    weighting: Weighting = "relative",
    rates: Sequence[float] = USUAL_RATES,
    work_until: WorkUntil = "peak",
    speed_mm_s: float | None = None,
    level: float = 0.95,
) -> ReducedCurves:
    """Reduce the table `curves` of `study`, each repeat of each prototype by itself.

    Parameters
    ----------
    model
        Model for all flow curves; by default the one with the smallest AICc summed over the curves.
    weighting
        Whether points of a flow curve are known to so many per cent (relative) or so many Pa (equal).
    rates
        Shear rates in 1/s at which viscosities are told.
    work_until
        Where the work of shear ends: at the peak of the force, or with the stroke.
    speed_mm_s
        Speed of the probe, for curves over time; by default the study's fact `probe_speed_mm_s`.

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
    order = study.in_order(table["prototype"])
    table = table.sort_values("prototype", key=lambda names: names.map(order.index), kind="stable")
    flow = flow_curves(table, model=model, weighting=weighting, rates=rates, level=level)
    force = force_curves(table, work_until=work_until, speed_mm_s=_speed(study, speed_mm_s))
    if flow.points.empty and force.points.empty:
        why = "; ".join(dict.fromkeys([*flow.left_out["why"], *force.left_out["why"]]))
        raise ModelError(f"No curve can be reduced. {why or 'The kind of a curve is flow or force.'}")
    return ReducedCurves(
        flow=flow,
        force=force,
        readings=_readings(flow, force),
        level=level,
        method=_method(flow, force, weighting, level, model_given=model is not None),
        notes=(*_notes(flow, force), *flow.notes, *force.notes),
    )


def _speed(study: Study, given: float | None) -> float | None:
    stated = study.facts.get("probe_speed_mm_s") if given is None else given
    if stated is None:
        return None
    if isinstance(stated, bool) or not isinstance(stated, int | float) or not np.isfinite(stated) or stated <= 0:
        raise ModelError(f"The speed of the probe must be a number of mm/s above zero; it is {stated!r}.")
    return float(stated)


def _readings(flow: FlowCurves, force: ForceCurves) -> pd.DataFrame:
    """Return what may be joined to the panel."""
    parts = []
    if len(force.quantities):
        parts.append(force.quantities.loc[force.quantities["used"].astype(bool)].rename(columns={"estimate": "value"}))
    if len(flow.viscosities):
        told = flow.viscosities.loc[~flow.viscosities["extrapolated"].astype(bool)]
        names = pd.Series(
            [f"viscosity at {rate:g} {RATE_UNIT}" for rate in told["rate"]], index=told.index, dtype="str"
        )
        parts.append(told.assign(measure=names, unit=VISCOSITY_UNIT).rename(columns={"estimate": "value"}))
    if len(flow.parameters):
        seen = flow.yield_stresses.loc[flow.yield_stresses["yield_stress_seen"].astype(bool), ["prototype", "repeat"]]
        stress = flow.parameters.loc[flow.parameters["parameter"] == "yield_stress"].merge(seen)
        index = flow.parameters.loc[flow.parameters["parameter"] == "flow_index"]
        parts.append(stress.assign(measure=YIELD_STRESS).rename(columns={"estimate": "value"}))
        parts.append(index.assign(measure=FLOW_INDEX).rename(columns={"estimate": "value"}))
    frame = pd.concat([part[_READING] for part in parts], ignore_index=True)
    return frame.astype({name: "float64" if name == "value" else "str" for name in _READING})


def _method(flow: FlowCurves, force: ForceCurves, weighting: Weighting, level: float, *, model_given: bool) -> str:
    sentences = []
    if flow.model is not None:
        weights = "relative errors (weights 1 / stress squared)" if weighting == "relative" else "errors of equal size"
        why = "chosen by the user" if model_given else "the smallest AICc summed over the curves"
        sentences.append(
            "Flow curves: power law, Casson and Herschel-Bulkley by non-linear least squares on the stresses, "
            f"{weights}, each curve by itself; one model for all curves ({MODEL_WORDS[flow.model]}, {why}). "
            f"{100 * level:g} % intervals: profile likelihood for the yield stress, t on the logarithm for the rest."
        )
    if len(force.quantities):
        sentences.append(
            "Force curves: straight between the points, crossings of zero interpolated; firmness is the largest force, "
            "stickiness the size of the most negative force after it, work the area above or below zero."
        )
    return " ".join(sentences)


def _notes(flow: FlowCurves, force: ForceCurves) -> Iterator[str]:
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
        yield f"Beyond the measured rates of some curves, so only the model speaks there: {rates} {RATE_UNIT}."


def _blind(row: Mapping[Any, Any]) -> str:
    name = f"{row['prototype']} {row['repeat']}".strip()
    lowest, useful = float(row["lowest_rate"]), float(row["highest_useful_rate"])
    if lowest > useful:
        return (
            f"The yield stress of {name} cannot be told: it would show below {useful:.3g} {RATE_UNIT}, and the lowest "
            f"rate is {lowest:.3g} {RATE_UNIT}. Its interval, from 0 {STRESS_UNIT} up, is what holds without a model."
        )
    return (
        f"The yield stress of {name} cannot be told from zero: a power law, without one, describes the curve as well."
    )
