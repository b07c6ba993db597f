"""In which units is a panel planned? In those of the scale that all attributes share, else in per cent of each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from panel.errors import ModelError
from panel.study.study import Study

USUAL_DIFFERENCE = 0.08
"""Smallest difference that matters, as a part of the scale, where nobody has stated one; common practice, no source."""

_DIGITS = 9  # of a length: 10.3 - 0.3 is as long as 10 - 0
_ALL = 100.0  # per cent: the length of every scale once each is divided by its own


@dataclass(frozen=True, slots=True)
class PlanningScale:
    """The units of a plan.

    Parameters
    ----------
    length
        From the lowest to the highest possible score, in the units of the plan; 100 where they are per cent.
    units
        Attribute to how many units of the plan are one unit of its own scale: 1 where all attributes share a scale.
    shared
        True if all attributes are on scales of the same length, so that the plan is in their units.
    """

    length: float
    units: Mapping[str, float]
    shared: bool

    @property
    def usual_difference(self) -> float:
        """The usual smallest difference that matters, in the units of the plan."""
        return USUAL_DIFFERENCE * self.length


def without_scale(study: Study) -> tuple[str, ...]:
    """Return the attributes for which the study does not say the lowest and the highest possible score."""
    return tuple(name for name in study.attributes if study.scale(name) is None)


def planning_scale(study: Study, ends: tuple[float, float] | None = None) -> PlanningScale | None:
    """Return the units in which a panel for the attributes of a study is planned; None if they are not known.

    Scales of one length are planned in their own units. Where lengths differ, a point of one attribute is not a point
    of another: everything is then planned in per cent of the scale of each attribute.

    Parameters
    ----------
    ends
        Lowest and highest possible score where the study says nothing; never in place of what it says.

    Raises
    ------
    ModelError
        If a scale ends where it begins, or before.
    """
    names = study.attributes
    scales = {name: study.scale(name) or ends for name in names} if names else {"": _of_the_study(study) or ends}
    known = {name: scale for name, scale in scales.items() if scale is not None}
    if len(known) < len(scales):
        return None
    lengths = {name: round(high - low, _DIGITS) for name, (low, high) in known.items()}
    for name, length in lengths.items():
        if not length > 0:
            of = f" of {name}" if name else ""
            raise ModelError(f"The scale{of} must end above where it begins. Correct its lowest and highest score.")
    if len(set(lengths.values())) == 1:
        return PlanningScale(next(iter(lengths.values())), dict.fromkeys(lengths, 1.0), True)
    return PlanningScale(_ALL, {name: _ALL / length for name, length in lengths.items()}, False)


def _of_the_study(study: Study) -> tuple[float, float] | None:
    """Return the scale that the study states for all attributes, before it lists any."""
    return study.scale("")
