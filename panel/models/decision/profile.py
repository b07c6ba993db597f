"""What is wanted of each attribute, how much does it count, and what must be?"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from panel.errors import ModelError, StudyError
from panel.models.emollients.predictions import study_targets
from panel.models.prototypes.sensitivity import ONE_PLANNED, Sensitivity
from panel.study.facts import stated_fact
from panel.study.study import Study

BENCHMARK_LEVELS, _TOLERANCE, _READ_AS = "benchmark_levels", "tolerance", "windows_read_as"
PANEL, BENCHMARK = "panel", "benchmark"
"""How windows are read: on the scale of this panel, or as differences from the benchmark."""
_PART_OF_SCALE = 0.25  # of the scale outside a window a mean counts for nothing; common practice, no source
_WRONG_WAY = {"more": "target_high", "less": "target_low"}


@dataclass(frozen=True, eq=False, slots=True)
class Profile:
    """The target profile of a study.

    Parameters
    ----------
    wanted
        `attribute direction target_low target_high weight must_have benchmark_level tolerance`: one row per attribute
        with a window; NaN where there is no limit on that side. `benchmark_level` is where the benchmark stood when the
        windows were set, NaN if the study does not say. `tolerance` is how far outside the window a mean counts for
        nothing, NaN where neither the study nor the scale tells.
    weights_stated
        False if nobody stated a weight, so that all count the same.
    read_as
        `panel` or `benchmark`: the reading that decides.
    """

    wanted: pd.DataFrame
    weights_stated: bool
    notes: tuple[str, ...]
    read_as: str = PANEL

    @property
    def attributes(self) -> tuple[str, ...]:
        """Attributes with a window, in the order of the study."""
        return tuple(str(name) for name in self.wanted["attribute"])

    @property
    def has_windows_both_sides(self) -> bool:
        """Whether some window is closed on both sides."""
        return bool(self.wanted[["target_low", "target_high"]].notna().all(axis=1).any())


def target_profile(study: Study, weights: Mapping[str, float] | None = None) -> Profile:
    """Return what the study wants.

    Parameters
    ----------
    weights
        Weights by attribute, in place of those of the attributes table.

    Raises
    ------
    ModelError
        If no attribute has a window.
    StudyError
        If a window is upside down, a weight is negative or none is positive, or a fact cannot be understood.
    """
    limits = study_targets(study).limits
    if not limits:
        raise ModelError(
            "The study wants nothing: no attribute has a target window. Fill in target_low or target_high in the table "
            "of attributes, before the scores are looked at."
        )
    rows = study.table("attributes").drop_duplicates("attribute").set_index("attribute").loc[list(limits)]
    for name, (low, high) in limits.items():
        if low > high:
            raise StudyError(f"{name}: target_low {low:g} lies above target_high {high:g}. Exchange them.")
    stated = {str(name): float(value) for name, value in rows["weight"].items() if not math.isnan(float(value))}
    given = stated if weights is None else {str(name): float(value) for name, value in weights.items()}
    levels = _levels(study)
    reach = _tolerance(study)
    wanted = pd.DataFrame(
        {
            "attribute": pd.Series(list(limits), dtype="str"),
            "direction": rows["direction"].tolist(),
            "target_low": [low for low, _ in limits.values()],
            "target_high": [high for _, high in limits.values()],
            "weight": _checked_weights(given, list(limits)),
            "must_have": (rows["must_have"] == "yes").tolist(),
            "benchmark_level": [levels.get(name, float("nan")) for name in limits],
            "tolerance": [reach or _from_scale(study, name) for name in limits],
        }
    )
    return Profile(wanted, bool(given), tuple(_notes(study, wanted, given, stated=weights is None)), _read_as(study))


def narrow_windows(profile: Profile, sensitivity: Sensitivity) -> tuple[str, ...]:
    """Return a note for each window that is narrower than the smallest difference this panel could have shown."""
    medians = sensitivity.medians
    smallest = medians.loc[medians["family"] == ONE_PLANNED].set_index("attribute")["smallest_difference"]
    told = []
    for row in profile.wanted.to_dict("records"):
        width = float(row["target_high"]) - float(row["target_low"])
        seen = float(smallest.get(row["attribute"], float("nan")))
        if width < seen:
            told.append(
                f"{row['attribute']}: the window is {width:.1f} wide, but a panel like this one shows a single planned "
                f"difference only from about {seen:.1f} on. It cannot say whether a prototype is inside: widen the "
                "window or ask more assessors."
            )
    return tuple(told)


def _checked_weights(given: Mapping[str, float], attributes: list[str]) -> list[float]:
    unknown = [name for name in given if name not in attributes]
    if unknown:
        raise StudyError(
            f"A weight is given for {', '.join(unknown)}, which has no target window. Choose among "
            f"{', '.join(attributes)}, or give it a window first."
        )
    for name, value in given.items():
        if not math.isfinite(value) or value < 0:
            raise StudyError(f"The weight of {name} is {value:g}. Write a number that is 0 or more.")
    used = [given.get(name, 1.0) for name in attributes]
    if not sum(used) > 0:
        raise StudyError("All weights are 0, so nothing counts. Give at least one attribute a weight above 0.")
    return used


def _levels(study: Study) -> dict[str, float]:
    stated: Any = stated_fact(study, BENCHMARK_LEVELS, {})
    if not isinstance(stated, dict) or not all(_is_number(value) for value in stated.values()):
        raise StudyError(
            f"The fact {BENCHMARK_LEVELS!r} is not understood. Write for each attribute the level of the benchmark "
            'when the windows were set, such as {"AF_GREASE": 52}.'
        )
    return {str(name): float(value) for name, value in stated.items()}


def _tolerance(study: Study) -> float | None:
    stated: Any = stated_fact(study, _TOLERANCE)
    if stated is None:
        return None
    if not _is_number(stated) or stated <= 0:
        raise StudyError(
            f"The fact {_TOLERANCE!r} is {stated!r}. Write how far outside its window a mean counts for nothing, a "
            "number above 0 in scale units."
        )
    return float(stated)


def _read_as(study: Study) -> str:
    stated: Any = stated_fact(study, _READ_AS) or PANEL
    if stated not in (PANEL, BENCHMARK):
        raise StudyError(
            f"The fact {_READ_AS!r} is {stated!r}. Write {PANEL!r} where windows lie on this panel's scale, or "
            f"{BENCHMARK!r} where they are differences from the benchmark."
        )
    return str(stated)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _from_scale(study: Study, attribute: str) -> float:
    scale = study.scale(attribute)
    return float("nan") if scale is None else _PART_OF_SCALE * (scale[1] - scale[0])


def _notes(study: Study, wanted: pd.DataFrame, given: Mapping[str, float], *, stated: bool) -> list[str]:
    notes = []
    if not given:
        notes.append("Nobody stated weights, so all attributes with a window count the same.")
    elif len(given) < len(wanted):
        without = [name for name in wanted["attribute"] if name not in given]
        where = "in the table of attributes" if stated else "here"
        notes.append(f"Without a weight {where}, so counted as 1: {', '.join(without)}.")
    if len(wanted) > 1 and wanted["must_have"].all():
        notes.append("Every attribute is a must-have, so none of them says what matters most.")
    for row in wanted.to_dict("records"):
        column = _WRONG_WAY.get(str(row["direction"]), "")
        other = {"target_high": "target_low", "target_low": "target_high"}.get(column, "")
        if column and not math.isnan(row[column]) and math.isnan(row[other]):
            notes.append(
                f"{row['attribute']}: the direction says {row['direction']!r}, but only {column} is set. Check which "
                "of the two is meant."
            )
    listed = study.table("attributes")
    aimed = listed.loc[(listed["direction"] == "target") & listed[["target_low", "target_high"]].isna().all(axis=1)]
    if len(aimed):
        notes.append(f"Is to hit a target but has no window, so it does not count: {', '.join(aimed['attribute'])}.")
    if not study.facts.get(_TOLERANCE):
        notes.append(
            "Desirability falls from 1 at the edge of a window to 0 a quarter of the scale outside it: common "
            f"practice, no source. The fact {_TOLERANCE!r} of the study sets another distance."
        )
        unknown = [str(name) for name in wanted["attribute"] if study.scale(str(name)) is None]
        if unknown:
            notes.append(
                f"The study does not say where the scale of {', '.join(unknown)} begins and ends: desirability falls "
                "over the range of the prototypes' means there. Fill in scale_min and scale_max."
            )
    return notes
