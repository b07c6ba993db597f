"""A small study with something in every table, for tests of reading and writing."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pandas as pd

from panel.study.study import RawFile, Study
from panel.study.tables import TABLES

SHARED = Path(__file__).parents[2] / "shared"
RAW = b"panelist;product;greasy\r\nA01;P1;48,7\r\n"


def shared(name: str) -> pd.DataFrame:
    """Return a shared table as it stands, read by pandas."""
    return pd.read_csv(SHARED / f"{name}.csv", dtype=str, keep_default_na=False)


def frame(name: str, *rows: dict[str, object]) -> pd.DataFrame:
    """Return a table of a study with the columns that the rows use, in the order of the contract."""
    columns = {}
    for column in TABLES[name].columns:
        if any(column.name in row for row in rows):
            number = column.kind in ("number", "integer")
            cells = [row.get(column.name, np.nan if number else "") for row in rows]
            columns[column.name] = pd.Series(cells, dtype="float64" if number else "str")
    return pd.DataFrame(columns)


def small_study() -> Study:
    tables = {
        "prototypes": frame(
            "prototypes",
            {"prototype": "P1", "name": "base", "role": "benchmark", "note": "=1+1"},
            {"prototype": "017", "name": "crème, “riche”", "role": "prototype", "note": "@home\nsecond line"},
        ),
        "batches": frame("batches", {"batch": "B1", "prototype": "P1", "made_on": "2025-03-10", "ph": 5.5}),
        "formulas": frame(
            "formulas",
            {"prototype": "P1", "ingredient": "Aqua", "percent": 100 / 3, "kind": "other"},
            {"prototype": "017", "ingredient": "Squalane", "percent": 0.1 + 0.2, "kind": "emollient"},
        ),
        "attributes": frame(
            "attributes", {"attribute": "GREASY", "stage": "after-feel", "scale_min": 0, "scale_max": 100}
        ),
        "assessors": frame("assessors", {"assessor": "A01", "kind": "trained"}, {"assessor": "A02", "kind": ""}),
        "servings": frame(
            "servings", {"session": "1", "assessor": "A01", "position": 1, "prototype": "P1", "code": "017"}
        ),
        "scores": frame(
            "scores",
            {"assessor": "A01", "prototype": "P1", "attribute": "GREASY", "score": 48.7, "session": "1"},
            {"assessor": "A02", "prototype": "P1", "attribute": "GREASY", "session": "1"},
            {"assessor": "A01", "prototype": "017", "attribute": "GREASY", "score": -0.0, "session": "01"},
        ),
        "answers": frame(
            "answers",
            {"assessor": "A02", "prototype": "P1", "question": "Q1", "kind": "liking", "answer": "+7"},
        ),
        "readings": frame("readings", {"prototype": "P1", "measure": "friction", "unit": "1", "value": 1e-300}),
        "curves": frame(
            "curves", {"prototype": "P1", "kind": "flow", "x": 0.1, "x_unit": "1/s", "y": 12.5, "y_unit": "Pa"}
        ),
        "corrections": frame(
            "corrections",
            {"when": "2025-03-11", "who": "lead", "table": "scores", "key": "assessor=A01", "new": "", "why": "-"},
        ),
        "ingredient_values": frame(
            "ingredient_values",
            {"ingredient": "Squalane", "property": "x", "value": 2, "measured_on": "2025-01-01", "method": "y"},
        ),
        "claims": frame("claims", {"claim": "P1 is less greasy", "kind": "comparison", "prototype": "P1", "bar": 60}),
    }
    tables["scores"]["remark"] = pd.Series(["NA", "", "None"], dtype="str")  # a column the contract does not know
    facts = {
        "title": "Test, with “quotes”",
        "keywords": ["emollient"],
        "version": 3,
        "scale_min": 0,
        "dose_mg": 50.0,
        "note": "5",
        "empty": "",
        "blinded": True,
        "rules": [{"rule": "set_aside_outside_scale", "who": "lead"}],
    }
    return Study(tables, facts, raw_files=(RawFile("panel.csv", hashlib.sha256(RAW).hexdigest(), RAW),))
