"""Does each prototype pass the gates on pH, viscosity, solid and volatile share, cost, contents and stability?

What is not known never passes: it is told as `cannot tell`, with what is missing.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from panel.errors import ModelError, StudyError
from panel.models.emollients.descriptors import COST as COST_WARNING
from panel.models.emollients.descriptors import blend_warnings, find_descriptors
from panel.plan.safety import match_allergens
from panel.study.facts import stated_fact
from panel.study.formulas import all_formulas, formula_lines
from panel.study.knowledge import canonical_ingredient
from panel.study.study import Study

PASSES, FAILS, CANNOT_TELL = "passes", "fails", "cannot tell"
_GATE_COLUMNS = ("prototype", "gate", "low", "high", "value_low", "value_high", "result", "reason")
_ALMOST = 1e-9  # shares are sums of percentages; a value this close to a limit lies on it


@dataclass(frozen=True, slots=True)
class _Value:
    """What is known of one value.

    Parameters
    ----------
    low, high
        The range it lies in, NaN if nothing is known.
    reason
        What is missing; empty if nothing is.
    measured
        True if both ends were measured, False if the range only says what is possible.
    """

    low: float
    high: float
    reason: str = ""
    measured: bool = False


def judge_gates(study: Study, limits: GateLimits, prototypes: tuple[str, ...]) -> pd.DataFrame:
    """Return one row per prototype and gate: `prototype gate low high value_low value_high result reason`.

    Results are `passes`, `fails` and `cannot tell`. A value may be known only as a range: it passes if all of the range
    does. `free_of` has one row per word, `reason` says which ingredient it is about.
    """
    rows: list[tuple[object, ...]] = []
    for gate in (name for name in LIMITED if name in limits.limits):
        values = _values(study, gate, prototypes)
        rows += [(name, gate, *limits.limits[gate], *_judged(limits.limits[gate], values[name])) for name in prototypes]
    for word in limits.free_of:
        rows += [(name, f"{FREE_OF} {word}", *_nothing(4), *told) for name, told in _contents(study, word, prototypes)]
    if limits.stability_needed:
        rows += [(name, STABILITY, *_nothing(4), *_stability(limits, name)) for name in prototypes]
    frame = pd.DataFrame(rows, columns=list(_GATE_COLUMNS))
    return frame.astype(dict.fromkeys(("prototype", "gate", "result", "reason"), "str")).astype(
        dict.fromkeys(("low", "high", "value_low", "value_high"), "float64")
    )


def _nothing(count: int) -> tuple[float, ...]:
    return (float("nan"),) * count


def _judged(limits: tuple[float, float], value: _Value) -> tuple[float, float, str, str]:
    """Return the value, the result and why."""
    low, high = (limit + slack for limit, slack in zip(limits, (-_ALMOST, _ALMOST), strict=True))
    if math.isnan(value.low):
        result = CANNOT_TELL
    elif value.high < low or value.low > high or (value.measured and (value.low < low or value.high > high)):
        return value.low, value.high, FAILS, ""
    elif value.low < low or value.high > high or (value.measured and value.reason):
        result = CANNOT_TELL
    else:
        return value.low, value.high, PASSES, ""
    return value.low, value.high, result, value.reason


def _unknown(reason: str) -> _Value:
    return _Value(float("nan"), float("nan"), reason)


def _values(study: Study, gate: str, prototypes: tuple[str, ...]) -> dict[str, _Value]:
    if gate in (PH, VISCOSITY):
        return {name: _of_batches(study, gate, name) for name in prototypes}
    return _shares(study, gate, prototypes) if gate in SHARES else _costs(study, prototypes)


def _of_batches(study: Study, column: str, prototype: str) -> _Value:
    """Return the range over the batches of a prototype; a batch without the value leaves it open."""
    batches = study.table("batches")
    own = batches.loc[batches["prototype"] == prototype]
    values = own[column].to_numpy(float)
    there = values[np.isfinite(values)]
    if not len(there):
        return _unknown("no batch with this value")
    without = [str(batch) for batch, value in zip(own["batch"], values, strict=True) if not math.isfinite(value)]
    reason = f"not measured on batch {', '.join(without)}" if without else ""
    return _Value(float(there.min()), float(there.max()), reason, measured=True)


def _shares(study: Study, gate: str, prototypes: tuple[str, ...]) -> dict[str, _Value]:
    """Return solid or volatile shares, 0 to 1; what is not known of an ingredient widens the range."""
    missing = dict.fromkeys(prototypes, _unknown("no complete formula"))
    try:
        values = find_descriptors(study).values
    except ModelError:
        return missing
    own = values.loc[values["descriptor"] == gate]
    found = {}
    for row in own.to_dict("records"):
        share, unknown = float(row["value"]) / 100, 1 - float(row["coverage"]) / 100
        reason = f"not known of {100 * unknown:.0f} % of the emollients" if unknown > _ALMOST else ""
        found[str(row["prototype"])] = _Value(share, share + max(unknown, 0.0), reason)
    return {name: found.get(name, missing[name]) for name in prototypes}


def _costs(study: Study, prototypes: tuple[str, ...]) -> dict[str, _Value]:
    """Return the cost of the emollients in 100 units of formula."""
    unpriced = _unknown("the cost of an emollient is not known")
    formulas = all_formulas(study).emollient_percent
    found = {}
    for name in prototypes:
        held = dict(formulas.loc[[name]].iloc[0]) if name in formulas.index else {}
        blend = {str(one): float(amount) for one, amount in held.items() if float(amount) > 0}
        if not blend or any(math.isnan(float(amount)) for amount in held.values()):
            found[name] = _unknown("no complete formula")
            continue
        told = blend_warnings(study, blend, blend)
        cost = told.loc[told["kind"] == COST_WARNING, "value"]
        found[name] = _Value(float(cost.iloc[0]), float(cost.iloc[0])) if len(cost) else unpriced
    return found


def _contents(study: Study, word: str, prototypes: tuple[str, ...]) -> Iterator[tuple[str, tuple[str, str]]]:
    """Yield for each prototype whether it is free of an ingredient or an allergen."""
    ingredient = canonical_ingredient(word)
    judge = _free_of_ingredient if ingredient else _free_of_allergen
    yield from judge(study, ingredient or word, prototypes)


def _free_of_ingredient(study: Study, word: str, prototypes: tuple[str, ...]) -> Iterator[tuple[str, tuple[str, str]]]:
    """Yield whether the formula names the ingredient; a line that is not understood may stand for it."""
    lines = formula_lines(study)
    for name in prototypes:
        held = [str(one) for one in lines.loc[(lines["prototype"] == name) & ~(lines["percent"] == 0), "ingredient"]]
        within = [one for one in held if word.casefold() in one.casefold()]
        strange = [one for one in held if canonical_ingredient(one) is None]
        if not held:
            yield name, (CANNOT_TELL, "no formula")
        elif within:
            yield name, (FAILS, f"holds {', '.join(within)}")
        else:
            yield name, (CANNOT_TELL, f"not known: {', '.join(strange)}") if strange else (PASSES, "")


def _free_of_allergen(study: Study, word: str, prototypes: tuple[str, ...]) -> Iterator[tuple[str, tuple[str, str]]]:
    """Yield what matching the word as something a person avoids says."""
    avoiding = pd.DataFrame({"assessor": ["gate"], "kind": [""], "group": [""], "avoid": [word]}, dtype="str")
    match = match_allergens(replace(study, tables={**study.tables, "assessors": avoiding}))
    understood = match.not_understood.empty
    for name in prototypes:
        held = match.forbidden.loc[match.forbidden["prototype"] == name]
        strange = match.not_known.loc[match.not_known["prototype"] == name, "ingredient"]
        if not understood:
            yield name, (CANNOT_TELL, f"{word!r} is not understood; write an INCI name or an allergen")
        elif (held["ingredient"] != "").any():
            yield name, (FAILS, f"holds {', '.join(dict.fromkeys(held['ingredient']))}")
        elif len(held):
            yield name, (CANNOT_TELL, "no formula")
        else:
            yield name, (CANNOT_TELL, f"not known: {', '.join(strange)}") if len(strange) else (PASSES, "")


def _stability(limits: GateLimits, prototype: str) -> tuple[str, str]:
    """Return what was stated about the stability; the statement counts only with person, day and document."""
    entry = limits.stability.get(prototype)
    if entry is None:
        return CANNOT_TELL, "nothing recorded"
    said = f"{entry.who}, {entry.date}, {entry.document}"
    if entry.outcome == _FAILED:
        return FAILS, said if entry.complete else "recorded as failed"
    if entry.outcome == _RUNNING:
        return CANNOT_TELL, "still running"
    if entry.outcome == _PASSED and entry.complete:
        return PASSES, said
    return CANNOT_TELL, "recorded without person, day or document"


# Which gates must a prototype pass besides the windows? What the study states, understood or refused.


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
_PASSED, _FAILED, _RUNNING = "passed", "failed", "running"
STABILITY_OUTCOMES = (_PASSED, _FAILED, _RUNNING)
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
    stated: Any = stated_fact(study, GATES, {})
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
        stability=_gate_limits_stability(study),
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


def _gate_limits_stability(study: Study) -> dict[str, Stability]:
    stated: Any = stated_fact(study, STABILITY, {})
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
