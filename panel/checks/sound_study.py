"""A study brought to the form its tables promise, so that no check can stumble over it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from panel.study.facts import read_facts
from panel.study.study import Study
from panel.study.tables import TABLES, Column

SCALE_FACTS = ("scale_min", "scale_max")


class _SoundStudy(Study):
    """A study whose tables have every column, text as text, numbers as finite numbers, and rows counted from 0."""

    __slots__ = ()


def sound_study(study: Study) -> _SoundStudy:
    """Return the study with its known tables in the form that they promise.

    Tables of a study that was read by this package have that form already and are passed on as they are. What is
    no number becomes a missing number, here and among the facts; `check_structure` reports it.
    """
    if isinstance(study, _SoundStudy):
        return study
    tables = {name: _sound_table(name, frame) for name, frame in study.tables.items() if name in TABLES}
    return _SoundStudy(tables, _sound_facts(study.facts), study.unread, study.raw_files)


def _fact_number(facts: Mapping[str, Any], name: str) -> float:
    """Return the fact as a number; NaN if it is absent or no number."""
    value = facts.get(name)
    if isinstance(value, np.generic):
        value = value.item()
    read, _ = read_facts({name: value})
    stated = read.get(name)
    return float(stated) if isinstance(stated, int | float) else float("nan")


def scales(study: Study, attributes: pd.Index) -> tuple[np.ndarray, np.ndarray]:
    """Return the lowest and the highest possible score of each attribute; NaN where none is given or makes sense."""
    general = tuple(_fact_number(study.facts, name) for name in SCALE_FACTS)
    stated = scales_stated(study)
    none, units = (np.nan, np.nan), study.in_units
    ends = np.array([stated.get(name, none if name in units else general) for name in attributes], dtype=float)
    ends = ends.reshape(-1, 2)
    ends[~(ends[:, 0] < ends[:, 1])] = np.nan
    return ends[:, 0], ends[:, 1]


def scales_stated(study: Study) -> dict[str, tuple[float, float]]:
    """Return the scale of each attribute for which the attributes table states a whole one."""
    if "attributes" not in study.tables:
        return {}
    rows = study.table("attributes")[["attribute", *SCALE_FACTS]].drop_duplicates("attribute").dropna()
    return {str(name): (float(lowest), float(highest)) for name, lowest, highest in rows.itertuples(index=False)}


def _sound_facts(facts: Mapping[str, Any]) -> dict[str, Any]:
    numbers = {name: _fact_number(facts, name) for name in SCALE_FACTS if name in facts}
    kept = {name: value for name, value in facts.items() if name not in SCALE_FACTS}
    return kept | {name: value for name, value in numbers.items() if np.isfinite(value)}


def _sound_table(name: str, frame: pd.DataFrame) -> pd.DataFrame:
    if not frame.columns.is_unique:
        frame = frame.loc[:, ~frame.columns.duplicated()]
    if not (isinstance(frame.index, pd.RangeIndex) and frame.index.start == 0 and frame.index.step == 1):
        frame = frame.reset_index(drop=True)
    changed = {}
    for column in TABLES[name].columns:
        sound = _sound_column(frame, column)
        if sound is not None:
            changed[column.name] = sound
    return frame.assign(**changed) if changed else frame


def _sound_column(frame: pd.DataFrame, column: Column) -> pd.Series | None:
    """Return the column in the promised form, or None if it has that form already."""
    is_number = column.kind in ("number", "integer")
    if column.name not in frame.columns:
        return pd.Series(np.nan if is_number else "", index=frame.index, dtype="float64" if is_number else "str")
    values = frame[column.name]
    if is_number:
        numbers = values if values.dtype == np.float64 else pd.to_numeric(values, errors="coerce").astype("float64")
        infinite = np.isinf(numbers.to_numpy())
        numbers = numbers.mask(infinite) if infinite.any() else numbers
        return None if numbers is values else numbers
    if not (isinstance(values.dtype, pd.StringDtype) and values.dtype.na_value is np.nan):
        values = values.astype("str")
    elif not values.hasnans:
        return None
    return values.fillna("")
