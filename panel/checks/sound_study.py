"""A study brought to the form its tables promise, so that no check can stumble over it, and to the names it means."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from panel.study.facts import read_facts
from panel.study.naming import folded_name, labelled, served_again, spellings, worded_alike
from panel.study.sittings import sessions_alike
from panel.study.study import Study, kept
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


# Which names are most likely slips of others?


_PROTOTYPE_TABLES = ("batches", "formulas", "servings", "scores", "answers", "readings", "curves", "claims")
REFERENCES = (
    ("prototypes", "prototype", (*((table, "prototype") for table in _PROTOTYPE_TABLES), ("claims", "versus"))),
    ("attributes", "attribute", (("scores", "attribute"), ("claims", "attribute"))),
    ("assessors", "assessor", tuple((table, "assessor") for table in ("servings", "scores", "answers"))),
    ("batches", "batch", (("scores", "batch"), ("readings", "batch"))),
)
"""A table and the column that lists names; the tables and columns that may use only these names."""

NEARLY = "are spelled nearly alike, and no sample was scored under both"


def under_two_names(study: Study) -> dict[str, str]:
    """Return which sessions of scores are called otherwise by the servings, or by more scores: `Session 1` for `1`."""
    scored = study.scores["session"].value_counts().index
    return sessions_alike([*study.table("servings")["session"].unique(), *scored], scored)


@kept
def slips(study: Study) -> tuple[tuple[str, str, str, str, str], ...]:
    """Return the list, column and name of what is most likely a slip, which one it is of, and how the two are alike."""
    found = []
    for target, column, tables in REFERENCES:
        names = study.table(target)[column]
        held = [(table, name) for table, name in tables if table in study.tables]
        often = pd.concat([study.table(table)[name] for table, name in held] or [names]).value_counts()
        known: dict[str, str] = {}
        for name in sorted(set(names) - {""}, key=lambda name: (-int(often.get(name, 0)), name)):
            other, how = known.setdefault(folded_name(name), name), "differ only in capitals, accents, signs or zeros"
            near = [known.setdefault(key, name) for key in spellings(name)] if other == name else []
            near += [
                each for each in dict.fromkeys(known.values()) if column == "attribute" and worded_alike(name, each)
            ]
            if near := [each for each in near if each != name and _never_both(study, column, name, each)]:
                other, how = near[0], NEARLY
            if other == name and (again := served_again(name)) in known.values():
                other, how = again, "look like one served again"
            if other != name:
                found.append((target, column, name, other, how))
    return tuple(found)


def _never_both(study: Study, column: str, name: str, other: str) -> bool:
    """Return True if both were scored, nobody scored the same sample under both, and no label tells them apart."""
    scores = study.table("scores")
    keys = [key for key in ("assessor", "prototype", "attribute", "session", "replicate") if key != column]
    if column not in scores or labelled(name, other):
        return False
    first, second = (scores.loc[scores[column] == each, keys] for each in (name, other))
    return len(first) > 0 < len(second) and first.merge(second, on=keys).empty


def with_one_name_each(study: Study) -> Study:
    """Return the study with one name for each session, and for what a slip named, so that the rest is told as meant."""
    sessions, named = under_two_names(study), [slip[:4] for slip in slips(study) if slip[4] == NEARLY]
    tables = {**study.tables, "scores": study.scores.replace({"session": sessions}) if sessions else study.scores}
    for target, column, name, other in named:
        scores, listed = tables["scores"], tables[target]
        tables["scores"] = scores.assign(**{column: scores[column].where(scores[column] != name, other)})
        tables[target] = listed[listed[column] != name]
    return replace(study, tables=tables) if sessions or named else study
