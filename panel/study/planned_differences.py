"""Which differences between prototypes were planned before the scores were seen? The study's fact of that name."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from panel.study.study import Study

PLANNED_DIFFERENCES = "planned_differences"
HOW = (
    'Write it in datapackage.json under "afterfeel" as "planned_differences": '
    '[{"prototype": "P2", "versus": "P1", "attribute": "AF_GREASE"}]; without an attribute it holds for all.'
)
_KEYS = ("prototype", "versus", "attribute")


@dataclass(frozen=True, slots=True)
class PlannedDifference:
    """One difference, prototype minus versus; `attribute` is empty where it was planned on every attribute."""

    prototype: str
    versus: str
    attribute: str = ""


@dataclass(frozen=True, slots=True)
class StatedDifferences:
    """What the study states: the differences that can be read; of the others what is wrong, and what to do."""

    differences: tuple[PlannedDifference, ...]
    problems: tuple[tuple[str, str], ...] = ()


def stated_differences(study: Study) -> StatedDifferences:
    """Return the differences that `study` says were planned; nothing in them makes it raise."""
    stated = study.facts.get(PLANNED_DIFFERENCES, [])
    if not isinstance(stated, list):
        return StatedDifferences((), (("The planned differences are not a list, so none is read.", HOW),))
    kept: list[PlannedDifference] = []
    problems = []
    for number, entry in enumerate(stated, start=1):
        why, advice = _why_not(study, entry, kept)
        if why:
            problems.append((f"Planned difference {number} is not read: {why}.", advice))
        else:
            kept.append(_difference(entry))
    return StatedDifferences(tuple(kept), tuple(problems))


def _difference(entry: dict[str, Any]) -> PlannedDifference:
    return PlannedDifference(*(str(entry.get(key, "")) for key in _KEYS))


def _why_not(study: Study, entry: Any, kept: list[PlannedDifference]) -> tuple[str, str]:
    """Return why an entry cannot be read and what to do, both empty if it can."""
    if not isinstance(entry, dict):
        return "it is no object with a prototype and a versus", HOW
    unknown = [str(key) for key in entry if key not in _KEYS]
    if unknown:
        return f"{unknown[0]!r} has no meaning here", "Use prototype, versus and, if need be, attribute."
    needed = {key: entry.get(key, "" if key == "attribute" else None) for key in _KEYS}
    wrong = [key for key, value in needed.items() if not isinstance(value, str) or (key != "attribute" and not value)]
    if wrong:
        return f"its {wrong[0]} is missing or no text", HOW
    found = _difference(entry)
    for name in (found.prototype, found.versus):
        if name not in study.prototypes:
            return f"the study has no prototype {name!r}", f"Choose among {', '.join(study.prototypes)}."
    if found.prototype == found.versus:
        return f"{found.prototype} is compared with itself", "Name another prototype under versus."
    if found.attribute and found.attribute not in study.attributes:
        return f"the study has no attribute {found.attribute!r}", f"Choose among {', '.join(study.attributes)}."
    if any(_same(found, earlier) for earlier in kept):
        return "it is stated before, and counts once", "Take one of the two out."
    return "", ""


def _same(one: PlannedDifference, other: PlannedDifference) -> bool:
    """Return whether two differences ask the same, either way round, or one holds the other."""
    pair = {one.prototype, one.versus} == {other.prototype, other.versus}
    return pair and (one.attribute == other.attribute or not one.attribute or not other.attribute)
