"""Units of readings and curves: which are known, how they may be written, and how one turns into another.

A texture rig that shows grams shows a force: the weight of that mass at standard gravity. So `g` stands for a mass or
for a force, and what it is turned into decides.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from panel.errors import StudyError

_STANDARD_GRAVITY = 9.80665  # m/s2, exact by definition (CGPM 1901)
_GRAM_FORCE = 1e-3 * _STANDARD_GRAVITY  # N

# What is measured, and each unit as so many SI units of it. Those of no quantity but their own turn into nothing else.
_QUANTITIES: dict[str, dict[str, float]] = {
    "force": {"N": 1.0, "mN": 1e-3, "g": _GRAM_FORCE, "kg": 1e3 * _GRAM_FORCE},
    "mass": {"g": 1e-3, "mg": 1e-6, "µg": 1e-9, "kg": 1.0},
    "force x time": {"N s": 1.0, "mN s": 1e-3, "g s": _GRAM_FORCE},
    "work": {"J": 1.0, "mJ": 1e-3, "N mm": 1e-3, "N m": 1.0, "g mm": 1e-3 * _GRAM_FORCE},
    "viscosity": {"Pa s": 1.0, "mPa s": 1e-3, "cP": 1e-3, "P": 0.1},
    "kinematic viscosity": {"mm2/s": 1e-6, "cSt": 1e-6},
    "stress": {"Pa": 1.0, "kPa": 1e3, "mPa": 1e-3},
    "shear rate": {"1/s": 1.0, "1/min": 1.0 / 60.0},
    "length": {"mm": 1e-3, "0.1 mm": 1e-4, "µm": 1e-6, "cm": 1e-2, "m": 1.0},
    "area": {"mm2": 1e-6, "cm2": 1e-4},
    "speed": {"mm/s": 1e-3, "mm/min": 1e-3 / 60.0},
    "time": {"s": 1.0, "min": 60.0, "h": 3600.0},
    "surface tension": {"mN/m": 1e-3, "N/m": 1.0},
    "density": {"g/mL": 1e3, "kg/m3": 1.0},
    "volume": {"mL": 1e-6, "µL": 1e-9},
    "angle": {"°": 1.0},
    "angular speed": {"°/s": 1.0},
    "gloss": {"GU": 1.0},
    "conductivity": {"S/m": 1.0, "µS/cm": 1e-4, "mS/cm": 0.1},
    "number": {"1": 1.0, "%": 1e-2},
    "pH": {"pH": 1.0},
    "temperature": {"°C": 1.0},
    "share by mass": {"mg/g": 1e-3},
}

_KNOWN_UNITS = tuple(dict.fromkeys(unit for units in _QUANTITIES.values() for unit in units))
# A zero that nature did not set, or a logarithm: ratios and coefficients of variation of these say nothing.
UNITS_WITHOUT_RATIOS = ("pH", "°C")

# Other ways of writing, without dots and spaces. Capitals count: MPa is not mPa, nm is not N m.
_ALSO_WRITTEN = {
    "gf": "g",
    "kgf": "kg",
    "gfs": "g s",
    "gsec": "g s",
    "gfmm": "g mm",
    "mpas": "mPa s",
    "pas": "Pa s",
    "pa": "Pa",
    "cp": "cP",
    "cps": "cP",
    "cst": "cSt",
    "s-1": "1/s",
    "/s": "1/s",
    "1/sec": "1/s",
    "sec-1": "1/s",
    "min-1": "1/min",
    "sec": "s",
    "mms-1": "mm/s",
    "mm/sec": "mm/s",
    "mNm-1": "mN/m",
    "deg": "°",
    "deg/s": "°/s",
    "degC": "°C",
    "C": "°C",
    "um": "µm",
    "ug": "µg",
    "ul": "µL",
    "uL": "µL",
    "ml": "mL",
    "uS/cm": "µS/cm",
    "g/ml": "g/mL",
    "g/cm3": "g/mL",
    "0,1mm": "0.1 mm",
    "1/10mm": "0.1 mm",
    "gu": "GU",
    "ph": "pH",
    "PH": "pH",
    "-": "1",
    "": "1",
}


def _bare(text: str) -> str:
    """Return a unit without spaces, dots between letters and raised figures, one sign for micro."""
    plain = unicodedata.normalize("NFKC", text).replace("−", "-").replace("·", ".").replace("⋅", ".")
    return re.sub(r"[\s^*]|(?<!\d)\.", "", plain)


_AS_WRITTEN = {_bare(name): name for name in _KNOWN_UNITS} | {_bare(text): name for text, name in _ALSO_WRITTEN.items()}


def known_unit(text: str) -> str | None:
    """Return the unit a text stands for, as it is written here, or None if it is not known.

    Spaces, dots between letters and raised figures do not count: `mPa.s`, `mPa·s` and `mPas` are `mPa s`. Capitals do.
    An empty text is `1`, a plain number.
    """
    return _AS_WRITTEN.get(_bare(text))


def read_unit(text: str) -> str:
    """Return the unit a text stands for; StudyError if it is not known."""
    found = known_unit(text)
    if found is None:
        raise StudyError(
            f"The unit {text!r} is not known. Write one of: {', '.join(_KNOWN_UNITS)}. For a plain number write 1."
        )
    return found


def same_quantity(first: str, second: str) -> bool:
    """Return whether one unit can be turned into the other; an unknown unit only into itself."""
    if first == second:
        return True
    known = known_unit(first), known_unit(second)
    return None not in known and _factor(str(known[0]), str(known[1])) is not None


def convert(values: ArrayLike, unit_from: str, unit_to: str) -> NDArray[np.float64]:
    """Return values given in one unit as values in another.

    Raises
    ------
    StudyError
        If a unit is not known, or the two measure different things.
    """
    first, second = read_unit(unit_from), read_unit(unit_to)
    factor = _factor(first, second)
    if factor is None:
        raise StudyError(
            f"{first} cannot be turned into {second}: {_measures(first)} is not {_measures(second)}. Correct the unit."
        )
    return np.asarray(values, dtype=float) * factor


def _factor(first: str, second: str) -> float | None:
    for units in _QUANTITIES.values():
        if first in units and second in units:
            return 1.0 if first == second else units[first] / units[second]
    return None


def _measures(name: str) -> str:
    return " or ".join(quantity for quantity, units in _QUANTITIES.items() if name in units)


def commonest_unit(units: Iterable[str]) -> str:
    """Return the unit that occurs most often, the first of several, as it is written here if it is known."""
    written = [known_unit(text) or text for text in units]
    return max(dict.fromkeys(written), key=written.count)
