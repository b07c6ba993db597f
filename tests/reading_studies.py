"""Readings and curves with known truth for the tests: the eight hand creams of three swaps, measured."""

import numpy as np
import pandas as pd

from panel.study.study import Study
from tests.formula_studies import hand_cream_formulas, study_of, table

PROTOTYPES = [f"P{number}" for number in range(1, 9)]
RUNS = np.array([[run >> slot & 1 for slot in range(3)] for run in range(8)])
# Base, and what each of the three swaps multiplies it by.
MEASURES = {
    "firmness": ("g", 62.0, (0.88, 0.95, 1.45)),
    "film tack": ("g", 21.0, (0.88, 0.78, 1.12)),
    "paper blot": ("mg", 3.4, (0.55, 0.80, 1.15)),
    "gloss": ("GU", 18.5, (0.78, 0.90, 0.96)),
}


def true_readings(measure):
    _, base, factors = MEASURES[measure]
    return base * np.prod(np.power(factors, RUNS), axis=1)


def readings_table(rows):
    """Rows (dicts) as a readings table."""
    return table("readings", rows)


def measured(rng, *, spread=0.05, batch_spread=0.03, repeats=3, measures=tuple(MEASURES)):
    """Readings of the hand creams: batches and repeats scatter in proportion."""
    rows = []
    for measure in measures:
        for prototype, true in zip(PROTOTYPES, true_readings(measure), strict=True):
            centre = true * np.exp(rng.normal(0, batch_spread))
            rows += [
                {
                    "prototype": prototype,
                    "measure": measure,
                    "unit": MEASURES[measure][0],
                    "value": centre * np.exp(rng.normal(0, spread)),
                    "batch": f"{prototype}-1",
                    "repeat": f"{repeat + 1}",
                    "temperature_c": 25.0,
                }
                for repeat in range(repeats)
            ]
    return readings_table(rows)


def hand_cream_readings(readings, **tables) -> Study:
    return study_of(hand_cream_formulas(), readings=readings, **tables)


def curves_table(*parts) -> pd.DataFrame:
    return table("curves", [row for part in parts for row in part])


def curve(kind, prototype, x, x_unit, y, y_unit, repeat="1"):
    """Points of one curve as rows of the table curves."""
    return [
        {"prototype": prototype, "kind": kind, "x": a, "x_unit": x_unit, "y": b, "y_unit": y_unit, "repeat": repeat}
        for a, b in zip(x, y, strict=True)
    ]


def flow_rows(rng, prototype, *, repeat="1", yield_stress=20.0, consistency=5.0, index=0.45, lowest=0.1, scatter=0.02):
    """A Herschel-Bulkley flow curve with relative scatter, in Pa by 1/s."""
    rates = np.geomspace(lowest, 1000, 16)
    stress = (yield_stress + consistency * rates**index) * np.exp(rng.normal(0, scatter, rates.size))
    return curve("flow", prototype, rates, "1/s", stress, "Pa", repeat)


def force_rows(prototype, *, size=60.0, pull=20.0, repeat="1", unit="g", along="mm"):
    """A probe that goes 10 mm in (force rises to `size` in a straight line) and 10 mm out (a triangle of `pull`)."""
    x = [0.0, 10.0, 11.0, 12.0, 20.0]
    position = x if along == "s" else [0.0, 10.0, 9.0, 8.0, 0.0]
    return curve("force", prototype, position, along, [0.0, size, 0.0, -pull, 0.0], unit, repeat)


def curve_study(*parts, facts=None, **tables) -> Study:
    """Return a study of nothing but curves and the prototypes they belong to."""
    curves = curves_table(*parts)
    names = pd.DataFrame({"prototype": list(dict.fromkeys(curves["prototype"]))})
    return Study(tables={"prototypes": names.astype("str"), "curves": curves, **tables}, facts=facts or {})
