"""Which gates must a prototype pass besides the windows? What the study states, understood or refused."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from panel.errors import StudyError
from panel.study.study import Study

GATES, STABILITY = "gates", "stability"
PH, VISCOSITY, SOLID, VOLATILE, COST, FREE_OF = (
    "ph",
    "viscosity_mpa_s",
    "solid_share",
    "volatile_share",
    "cost",
    "free_of",
)
LIMITED = (PH, VISCOSITY, SOLID, VOLATILE, COST)
SHARES = (SOLID, VOLATILE)
PASSED, FAILED, RUNNING = "passed", "failed", "running"
STABILITY_OUTCOMES = (PASSED, FAILED, RUNNING)
_ENTRY = ("outcome", "who", "date", "document")
_EXAMPLE = '{"ph": [5.0, 6.0], "volatile_share": [null, 0.4], "free_of": ["lanolin"], "stability": true}'


@dataclass(frozen=True, slots=True)
class Stability:
    """What a named person stated about the stability of a prototype."""

    outcome: str
    who: str
    date: str
    document: str

    @property
    def complete(self) -> bool:
        """Whether person, day and document are named."""
        return bool(self.who and self.date and self.document)


@dataclass(frozen=True, slots=True)
class GateLimits:
    """The gates of a study.

    Parameters
    ----------
    limits
        Gate to lowest and highest value allowed, NaN where there is no limit on that side; shares from 0 to 1.
    free_of
        Ingredients or allergens that must not be in.
    stability_needed
        Whether a stability record is asked for.
    stability
        Prototype to what was stated of it.
    """

    limits: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    free_of: tuple[str, ...] = ()
    stability_needed: bool = False
    stability: Mapping[str, Stability] = field(default_factory=dict)


def gate_limits(study: Study) -> GateLimits:
    """Return the gates that the study states.

    Raises
    ------
    StudyError
        If a gate cannot be understood: a limit that is not read must never let a prototype pass.
    """
    stated: Any = study.facts.get(GATES, {})
    if not isinstance(stated, dict):
        raise StudyError(f"The fact {GATES!r} is not understood. Write an object such as {_EXAMPLE}.")
    known = (*LIMITED, FREE_OF, STABILITY)
    strange = [str(name) for name in stated if name not in known]
    if strange:
        raise StudyError(f"The fact {GATES!r} has unknown gates: {', '.join(strange)}. Known are {', '.join(known)}.")
    needed = stated.get(STABILITY, False)
    if not isinstance(needed, bool):
        raise StudyError(
            f"The gate {STABILITY!r} is {needed!r}. Write true if a stability record is needed, else false."
        )
    return GateLimits(
        limits={name: _limits(name, stated[name]) for name in LIMITED if name in stated},
        free_of=_free_of(stated.get(FREE_OF, [])),
        stability_needed=needed,
        stability=_stability(study),
    )


def _limits(name: str, value: object) -> tuple[float, float]:
    """Return lowest and highest value allowed."""
    ends = value if isinstance(value, list | tuple) and len(value) == 2 else None
    if ends is None or not all(end is None or _is_number(end) for end in ends):
        raise StudyError(f"The gate {name!r} is {value!r}. Write lowest and highest value, null for none: [5.0, 6.0].")
    low, high = (float("nan") if end is None else float(end) for end in ends)
    if math.isnan(low) and math.isnan(high):
        raise StudyError(f"The gate {name!r} has no limit at all. Give it one, or take the gate out.")
    if low > high:
        raise StudyError(f"The gate {name!r} has its lowest value {low:g} above its highest {high:g}. Exchange them.")
    if name in SHARES and not all(math.isnan(end) or 0 <= end <= 1 for end in (low, high)):
        raise StudyError(
            f"The gate {name!r} is a share of the emollients, from 0 to 1; it says {value!r}. Write 0.4, not 40."
        )
    return low, high


def _free_of(value: object) -> tuple[str, ...]:
    if not isinstance(value, list | tuple) or not all(isinstance(word, str) and word.strip() for word in value):
        raise StudyError(f"The gate {FREE_OF!r} is {value!r}. Write a list of ingredients (INCI) or allergens.")
    return tuple(word.strip() for word in value)


def _stability(study: Study) -> dict[str, Stability]:
    stated: Any = study.facts.get(STABILITY, {})
    if not isinstance(stated, dict):
        raise StudyError(f"The fact {STABILITY!r} is not understood. Write for each prototype {', '.join(_ENTRY)}.")
    found = {}
    for prototype, entry in stated.items():
        outcome = entry.get("outcome") if isinstance(entry, dict) else None
        if outcome not in STABILITY_OUTCOMES:
            raise StudyError(
                f"The stability of {prototype} has the outcome {outcome!r}. Write one of "
                f"{', '.join(STABILITY_OUTCOMES)}."
            )
        found[str(prototype)] = Stability(*(str(entry.get(name) or "").strip() for name in _ENTRY))
    return found


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
