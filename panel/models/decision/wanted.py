"""What is wanted: a window for each attribute with its weight, and gates on pH, contents, cost and stability.

What is not known never passes a gate: it is told as `cannot tell`, with what is missing.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from panel.errors import ModelError, StudyError
from panel.models.emollients.descriptors import COST as COST_WARNING
from panel.models.emollients.descriptors import blend_warnings, find_descriptors
from panel.models.emollients.predictions import study_targets
from panel.models.prototypes.alike import ONE_PLANNED, Sensitivity
from panel.models.prototypes.verdict import CANNOT_TELL
from panel.plan.safety import match_allergens
from panel.study.facts import stated_fact
from panel.study.formulas import canonical_ingredient, emollient_percents, formula_lines
from panel.study.naming import naming
from panel.study.study import Study
from panel.words import format_typed

BENCHMARK_LEVELS, _TOLERANCE, _READ_AS = "benchmark_levels", "tolerance", "windows_read_as"
PASSES, FAILS = "passes", "fails"
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
    read_as
        `panel` or `benchmark`: the reading that decides.
    """

    wanted: pd.DataFrame
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
    limits = study_targets(study)
    if not limits:
        raise ModelError(
            "No attribute has a target yet. Fill in target_low or target_high in the table of attributes, "
            "best before the scores are looked at."
        )
    rows = study.table("attributes").drop_duplicates("attribute").set_index("attribute").loc[list(limits)]
    for name, (low, high) in limits.items():
        if low > high:
            raise StudyError(
                f"{study.attribute_words(name)}: target_low {format_typed(low)} lies above target_high "
                f"{format_typed(high)}. Exchange them."
            )
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
    return Profile(wanted, tuple(_notes(study, wanted, given, stated=weights is None)), _read_as(study))


def narrow_windows(profile: Profile, sensitivity: Sensitivity, words: Callable[[str], str]) -> tuple[str, ...]:
    """Return a note for each window that is narrower than the smallest difference this panel could have shown."""
    medians = sensitivity.medians
    smallest = medians.loc[medians["family"] == ONE_PLANNED].set_index("attribute")["smallest_difference"]
    told = []
    for row in profile.wanted.to_dict("records"):
        width = float(row["target_high"]) - float(row["target_low"])
        seen = float(smallest.get(row["attribute"], float("nan")))
        if width < seen:
            told.append(
                f"{words(row['attribute'])}: the window is {width:.1f} wide, but a panel like this one shows a single "
                f"planned difference only from about {seen:.1f} on. It cannot say whether a prototype is inside: widen "
                "the window or ask more assessors."
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


def _notes(study: Study, wanted: pd.DataFrame, given: Mapping[str, float], *, stated: bool) -> Iterator[str]:
    words = naming(study).attribute
    if not given:
        yield "Nobody stated weights, so all attributes with a window count the same."
    elif len(given) < len(wanted):
        without = [words(name) for name in wanted["attribute"] if name not in given]
        where = "in the table of attributes" if stated else "here"
        yield f"Without a weight {where}, so counted as 1: {', '.join(without)}."
    if len(wanted) > 1 and wanted["must_have"].all():
        yield "Every attribute is a must-have, so none of them says what matters most."
    for row in wanted.to_dict("records"):
        column = _WRONG_WAY.get(str(row["direction"]), "")
        other = {"target_high": "target_low", "target_low": "target_high"}.get(column, "")
        if column and not math.isnan(row[column]) and math.isnan(row[other]):
            yield (
                f"{words(row['attribute'])}: the direction says {row['direction']!r}, but only {column} is set. Check "
                "which of the two is meant."
            )
    listed = study.table("attributes")
    aimed = listed.loc[(listed["direction"] == "target") & listed[["target_low", "target_high"]].isna().all(axis=1)]
    if len(aimed):
        names = ", ".join(map(words, aimed["attribute"]))
        yield f"Is to hit a target but has no window, so it does not count: {names}."
    if not study.facts.get(_TOLERANCE):
        yield (
            "Desirability falls from 1 at the edge of a window to 0 a quarter of the scale outside it: common "
            f"practice, no source. The fact {_TOLERANCE!r} of the study sets another distance."
        )
        unknown = [words(str(name)) for name in wanted["attribute"] if study.scale(str(name)) is None]
        if unknown:
            yield (
                f"The study does not say where the scale of {', '.join(unknown)} begins and ends: desirability falls "
                "over the range of the prototypes' means there. Fill in scale_min and scale_max."
            )


_GATE_COLUMNS = ("prototype", "gate", "low", "high", "value_low", "value_high", "result", "reason")
_ALMOST = 1e-9  # shares are sums of percentages; a value this close to a limit lies on it


# lowest and highest value (NaN: nothing is known), what is missing, and whether both ends were measured; if not, the
# range only says what is possible
_Value = tuple[float, float, str, bool]


def judge_gates(study: Study, prototypes: tuple[str, ...]) -> pd.DataFrame:
    """Return one row per prototype and gate: `prototype gate low high value_low value_high result reason`.

    Results are `passes`, `fails` and `cannot tell`. A value may be known only as a range: it passes if all of the range
    does. `free_of` has one row per word, `reason` says which ingredient it is about. StudyError: see `_gate_limits`.
    """
    limits, free_of, stability = _gate_limits(study)
    rows: list[tuple[object, ...]] = []
    nothing = (math.nan,) * 4
    for gate in (name for name in LIMITED if name in limits):
        values = _values(study, gate, prototypes)
        rows += [(name, gate, *limits[gate], *_judged(limits[gate], values[name])) for name in prototypes]
    for word in free_of:
        rows += [(name, f"{FREE_OF} {word}", *nothing, *told) for name, told in _contents(study, word, prototypes)]
    if stability is not None:
        rows += [(name, STABILITY, *nothing, *_stability(stability.get(name))) for name in prototypes]
    frame = pd.DataFrame(rows, columns=list(_GATE_COLUMNS))
    return frame.astype(dict.fromkeys(("prototype", "gate", "result", "reason"), "str")).astype(
        dict.fromkeys(("low", "high", "value_low", "value_high"), "float64")
    )


def _judged(limits: tuple[float, float], value: _Value) -> tuple[float, float, str, str]:
    """Return the value, the result and why."""
    low, high = (limit + slack for limit, slack in zip(limits, (-_ALMOST, _ALMOST), strict=True))
    lowest, highest, reason, measured = value
    if math.isnan(lowest):
        return lowest, highest, CANNOT_TELL, reason
    if highest < low or lowest > high or (measured and (lowest < low or highest > high)):
        return lowest, highest, FAILS, ""
    if lowest < low or highest > high or (measured and reason):
        return lowest, highest, CANNOT_TELL, reason
    return lowest, highest, PASSES, ""


def _unknown(reason: str) -> _Value:
    return math.nan, math.nan, reason, False


def _values(study: Study, gate: str, prototypes: tuple[str, ...]) -> dict[str, _Value]:
    if gate in (PH, VISCOSITY):
        return _of_batches(study, gate, prototypes)
    return _shares(study, gate, prototypes) if gate in SHARES else _costs(study, prototypes)


def _of_batches(study: Study, column: str, prototypes: tuple[str, ...]) -> dict[str, _Value]:
    """Return the range over the batches of each prototype; a batch without the value leaves it open."""
    batches = study.table("batches")
    own: dict[str, list[tuple[str, float]]] = {name: [] for name in prototypes}
    rows = (batches[name].tolist() for name in ("prototype", "batch", column))
    for name, batch, value in zip(*rows, strict=True):
        own.setdefault(name, []).append((str(batch), float(value)))
    found = {}
    for name in prototypes:
        there = [value for _, value in own[name] if math.isfinite(value)]
        without = [batch for batch, value in own[name] if not math.isfinite(value)]
        reason = f"not measured on batch {', '.join(without)}" if without else ""
        found[name] = (min(there), max(there), reason, True) if there else _unknown("no batch with this value")
    return found


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
        found[str(row["prototype"])] = (share, share + max(unknown, 0.0), reason, False)
    return {name: found.get(name, missing[name]) for name in prototypes}


def _costs(study: Study, prototypes: tuple[str, ...]) -> dict[str, _Value]:
    """Return the cost of the emollients in 100 units of formula."""
    unpriced = _unknown("the cost of an emollient is not known")
    formulas = emollient_percents(study)
    found = {}
    for name in prototypes:
        held = dict(formulas.loc[[name]].iloc[0]) if name in formulas.index else {}
        blend = {str(one): float(amount) for one, amount in held.items() if float(amount) > 0}
        if not blend or any(math.isnan(float(amount)) for amount in held.values()):
            found[name] = _unknown("no complete formula")
            continue
        told = blend_warnings(study, blend, blend)
        cost = told.loc[told["kind"] == COST_WARNING, "value"]
        found[name] = (float(cost.iloc[0]), float(cost.iloc[0]), "", False) if len(cost) else unpriced
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
    understood = match["not_understood"].empty
    for name in prototypes:
        held = match["forbidden"].loc[match["forbidden"]["prototype"] == name]
        strange = match["not_known"].loc[match["not_known"]["prototype"] == name, "ingredient"]
        if not understood:
            yield name, (CANNOT_TELL, f"{word!r} is not understood; write an INCI name or an allergen")
        elif (held["ingredient"] != "").any():
            yield name, (FAILS, f"holds {', '.join(dict.fromkeys(held['ingredient']))}")
        elif len(held):
            yield name, (CANNOT_TELL, "no formula")
        else:
            yield name, (CANNOT_TELL, f"not known: {', '.join(strange)}") if len(strange) else (PASSES, "")


def _stability(entry: Mapping[str, str] | None) -> tuple[str, str]:
    """Return what was stated about the stability; the statement counts only with person, day and document."""
    if entry is None:
        return CANNOT_TELL, "nothing recorded"
    said, complete = "{who}, {date}, {document}".format(**entry), all(entry.values())
    if entry["outcome"] == _FAILED:
        return FAILS, said if complete else "recorded as failed"
    if entry["outcome"] == _RUNNING:
        return CANNOT_TELL, "still running"
    if entry["outcome"] == _PASSED and complete:
        return PASSES, said
    return CANNOT_TELL, "recorded without person, day or document"


# Which gates must a prototype pass besides the windows? What the study states, understood or refused.


GATES, STABILITY = "gates", "stability"
PH, VISCOSITY, SOLID, VOLATILE, COST = "ph", "viscosity_mpa_s", "solid_share", "volatile_share", "cost"
FREE_OF = "free_of"
LIMITED = (PH, VISCOSITY, SOLID, VOLATILE, COST)
SHARES = (SOLID, VOLATILE)
_PASSED, _FAILED, _RUNNING = "passed", "failed", "running"
STABILITY_OUTCOMES = (_PASSED, _FAILED, _RUNNING)
_ENTRY = ("outcome", "who", "date", "document")
_EXAMPLE = '{"ph": [5.0, 6.0], "volatile_share": [null, 0.4], "free_of": ["lanolin"], "stability": true}'


def _gate_limits(
    study: Study,
) -> tuple[dict[str, tuple[float, float]], tuple[str, ...], dict[str, dict[str, str]] | None]:
    """Return the gates that the study states: limits, what must not be in, and what was stated of the stability.

    Limits are lowest and highest value allowed, NaN where there is none on that side, shares from 0 to 1; what must not
    be in are ingredients or allergens; stability is prototype to `outcome who date document`, None if no record of it
    is asked for.

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
    limits = {name: _limits(name, stated[name]) for name in LIMITED if name in stated}
    stability = _gate_limits_stability(study)
    return limits, _free_of(stated.get(FREE_OF, [])), stability if needed else None


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


def _gate_limits_stability(study: Study) -> dict[str, dict[str, str]]:
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
        found[str(prototype)] = {name: str(entry.get(name) or "").strip() for name in _ENTRY}
    return found
