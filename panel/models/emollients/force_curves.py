"""Force curves of the prototypes reduced to firmness, work and stickiness."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from panel.errors import PanelError, StudyError
from panel.stats.curves.force_curve import ForceCurve, read_force_curve
from panel.study.units import convert, read_unit, same_quantity

WorkUntil = Literal["peak", "whole stroke"]
FIRMNESS, WORK_OF_SHEAR, STICKINESS, WORK_OF_ADHESION = "firmness", "work of shear", "stickiness", "work of adhesion"
NOT_ZEROED = 0.05  # force at the first point as a share of the peak; common practice, no source
_FORCES_SHOWN = ("g", "N")
_LIMITS = {"peak": "from the start to the peak", "whole stroke": "over the whole stroke"}
_CURVE = ["prototype", "repeat"]
_COLUMNS = [*_CURVE, "measure", "unit", "estimate", "limits", "used"]


@dataclass(frozen=True, eq=False, slots=True)
class ForceCurves:
    """What the force curves reduce to; every frame begins with `prototype repeat`.

    Parameters
    ----------
    quantities
        `measure unit estimate limits used`: `limits` is what an area was taken over; `used` marks the work of shear
        that is joined to the panel.
    points
        `along along_unit force force_unit`: way (or time) from the start, never falling, and force.
    peaks
        `peak_at end_of_work pull_at`: where the peak and the strongest pull lie, and where the work of shear ends.
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


@dataclass(frozen=True, eq=False, slots=True)
class _Units:
    """Units of one curve: of the way or time, of the force, of areas, and what turns an area into that unit."""

    along: str
    force: str
    area: str
    factor: float


def force_curves(curves: pd.DataFrame, *, work_until: WorkUntil, speed_mm_s: float | None) -> ForceCurves:
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
            found = read_force_curve(x, force, time=units.along == "s" or speed_mm_s is not None)
        except PanelError as error:
            left_out.append((str(prototype), str(repeat), str(error)))
            continue
        quantities += [{**key, **row} for row in _quantities(found, units, work_until)]
        points.append(
            pd.DataFrame({"along": found.along, "force": force}).assign(
                **key, along_unit=units.along, force_unit=units.force
            )
        )
        end = found.peak_at if work_until == "peak" else float(found.along[-1])
        peaks.append({**key, "peak_at": found.peak_at, "end_of_work": end, "pull_at": found.pull_at})
        touched += [name] if abs(found.start_share) > NOT_ZEROED else []
        timed += [name] if units.along == "s" else []
    return ForceCurves(
        quantities=pd.DataFrame(quantities, columns=_COLUMNS),
        points=_points(points),
        peaks=pd.DataFrame(peaks, columns=[*_CURVE, "peak_at", "end_of_work", "pull_at"]),
        left_out=pd.DataFrame(left_out, columns=[*_CURVE, "why"], dtype="str"),
        notes=tuple(_notes(touched, timed)),
    )


def _curve(rows: pd.DataFrame, speed_mm_s: float | None) -> tuple[np.ndarray, np.ndarray, _Units]:
    """Return way (mm) or time (s), force, and the units of what follows."""
    if len(rows[["x_unit", "y_unit"]].drop_duplicates()) > 1:
        raise StudyError("One curve has several units. Give all its points the same units.")
    x_unit, y_unit = read_unit(rows["x_unit"].iloc[0]), read_unit(rows["y_unit"].iloc[0])
    force_unit = y_unit if y_unit in _FORCES_SHOWN else "N"
    force = convert(rows["y"], y_unit, force_unit)
    in_newton = float(convert(1.0, force_unit, "N"))
    if same_quantity(x_unit, "mm"):
        return convert(rows["x"], x_unit, "mm"), force, _Units("mm", force_unit, "N mm", in_newton)
    seconds = convert(rows["x"], x_unit, "s")
    if speed_mm_s is None:
        return seconds, force, _Units("s", force_unit, f"{force_unit} s", 1.0)
    return seconds * speed_mm_s, force, _Units("mm", force_unit, "N mm", in_newton)


def _quantities(found: ForceCurve, units: _Units, work_until: WorkUntil) -> list[dict[str, object]]:
    areas = {"peak": found.area_to_peak, "whole stroke": found.area_above}
    rows = [(FIRMNESS, units.force, found.peak_force, "largest force", True)]
    rows += [
        (WORK_OF_SHEAR, units.area, area * units.factor, f"area above zero, {_LIMITS[until]}", until == work_until)
        for until, area in areas.items()
    ]
    rows += [
        (STICKINESS, units.force, found.pull_force, "size of the most negative force after the peak", True),
        (WORK_OF_ADHESION, units.area, found.area_below * units.factor, "area below zero, after the peak", True),
    ]
    return [dict(zip(_COLUMNS[2:], row, strict=True)) for row in rows]


def _points(points: list[pd.DataFrame]) -> pd.DataFrame:
    columns = [*_CURVE, "along", "along_unit", "force", "force_unit"]
    return pd.concat(points, ignore_index=True)[columns] if points else pd.DataFrame(columns=columns)


def _notes(touched: list[str], timed: list[str]) -> list[str]:
    notes = []
    if timed:
        notes.append(
            "Areas of force curves are over time, not work, because neither distance nor the speed of the probe is "
            "known; compare them only where the speed was the same. State probe_speed_mm_s among the study's facts."
        )
    if touched:
        notes.append(f"The force is not near zero where the curve begins; check the zero: {', '.join(touched)}.")
    return notes
