"""Small studies with formulas for the tests: an invented hand cream, and any formulas or scores one wants."""

import numpy as np
import pandas as pd

from panel.study.study import Study, empty_table

BASE = {
    "Aqua": 71.85,
    "Glycerin": 6.00,
    "Xanthan Gum": 0.30,
    "Disodium EDTA": 0.10,
    "Glyceryl Stearate Citrate": 3.00,
    "Cetearyl Alcohol": 2.50,
    "Tocopherol": 0.20,
    "Phenoxyethanol": 0.90,
    "Ethylhexylglycerin": 0.10,
    "Citric Acid": 0.05,
}
CARBONATE, ALKANE = "Dicaprylyl Carbonate", "C13-15 Alkane"
TRIGLYCERIDE, ISOSTEARATE = "Caprylic/Capric Triglyceride", "Isopropyl Isostearate"
ALMOND, SHEA = "Prunus Amygdalus Dulcis (Sweet Almond) Oil", "Butyrospermum Parkii (Shea) Butter"
# Slot by slot: what the base holds, what the swap puts in its place, per cent by mass.
SLOTS = ((CARBONATE, ALKANE, 6.0), (TRIGLYCERIDE, ISOSTEARATE, 5.0), (ALMOND, SHEA, 4.0))
ARROW = {f"{removed} → {added}": percent for removed, added, percent in SLOTS}


def table(name, rows):
    """Rows (dicts) as a study table: text as str, numbers as float, what is not given empty."""
    blank = empty_table(name)
    frame = pd.DataFrame(rows).reindex(columns=blank.columns)
    return pd.DataFrame(
        {
            column: frame[column].astype("float64")
            if dtype == "float64"
            else frame[column].astype("str").fillna("").replace("nan", "")
            for column, dtype in blank.dtypes.items()
        }
    )


def formulas_table(formulas, kinds=None, phase="B"):
    """A formulas table from {prototype: {ingredient: per cent}}; an ingredient's kind is blank unless given."""
    return table(
        "formulas",
        [
            {
                "prototype": prototype,
                "ingredient": ingredient,
                "percent": percent,
                "phase": phase,
                "kind": (kinds or {}).get(ingredient, ""),
            }
            for prototype, lines in formulas.items()
            for ingredient, percent in lines.items()
        ],
    )


def study_of(formulas, kinds=None, **tables):
    """A study with these formulas and any other tables given as lists of dicts."""
    listed = [{"prototype": prototype} for prototype in formulas]
    made = {name: table(name, rows) for name, rows in ({"prototypes": listed} | tables).items()}
    return Study({"formulas": formulas_table(formulas, kinds), **made})


def hand_cream_formulas():
    """The eight formulas of the invented hand cream: every combination of three swaps, P1 (none) to P8 (all)."""
    return {
        f"P{run + 1}": BASE
        | {(added if run >> slot & 1 else removed): percent for slot, (removed, added, percent) in enumerate(SLOTS)}
        for run in range(8)
    }


def scores_of(values, prototypes, attributes=None, sessions=None):
    """Score rows from an array assessors x sessions x attributes x prototypes; NaN gives no row."""
    _, n_sessions, n_attributes, _ = values.shape
    attributes = attributes or [f"T{number + 1}" for number in range(n_attributes)]
    sessions = sessions or [str(number + 1) for number in range(n_sessions)]
    return [
        {
            "assessor": f"A{a + 1:02d}",
            "session": sessions[s],
            "attribute": attributes[t],
            "prototype": prototypes[p],
            "score": values[a, s, t, p],
        }
        for a, s, t, p in np.ndindex(values.shape)
        if not np.isnan(values[a, s, t, p])
    ]
