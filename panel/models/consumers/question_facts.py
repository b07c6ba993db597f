"""What does the study say about its consumer questions: wording, ends, attribute, bar, and which one is untrue?"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from panel.study.study import Study

OPPOSITE = "opposite"
_YES = (True, "yes", "true", "1", 1)


@dataclass(frozen=True, slots=True)
class QuestionFacts:
    """What the fact `questions` says about one question; empty, NaN or False where it says nothing.

    Parameters
    ----------
    words
        The wording as people saw it.
    low_end, high_end
        Words at the ends of the scale.
    attribute
        Short name of the scored attribute that goes with it.
    opposite
        True where a low answer goes with a high score of that attribute.
    foil
        True for a sentence that is untrue for the product and measures yes-saying.
    bar
        Share of people, 0 to 1, fixed beforehand that has to be passed.
    """

    words: str = ""
    low_end: str = ""
    high_end: str = ""
    attribute: str = ""
    opposite: bool = False
    foil: bool = False
    bar: float = float("nan")


def question_facts(study: Study, kind: str) -> dict[str, QuestionFacts]:
    """Return what the study says about its questions of one kind, by their short names.

    The fact `questions` is a list of `{question, kind, words, ...}`, or names with `{kind, words, ...}`; an entry
    without a kind holds for every kind. What cannot be read as such is left out.
    """
    given = study.facts.get("questions", [])
    if isinstance(given, Mapping):
        entries = [{"question": name, **_entry(about)} for name, about in given.items()]
    else:
        entries = [_entry(about) for about in given] if isinstance(given, list | tuple) else []
    found: dict[str, QuestionFacts] = {}
    for entry in entries:
        name = str(entry.get("question", ""))
        if name and entry.get("kind", kind) == kind:
            found.setdefault(name, _facts(entry))
    return found


def _entry(about: object) -> dict[str, Any]:
    return {str(name): value for name, value in about.items()} if isinstance(about, Mapping) else {}


def _facts(entry: Mapping[str, Any]) -> QuestionFacts:
    return QuestionFacts(
        words=str(entry.get("words", "")),
        low_end=str(entry.get("low_end", "")),
        high_end=str(entry.get("high_end", "")),
        attribute=str(entry.get("attribute", "")),
        opposite=str(entry.get("attribute_runs", "")) == OPPOSITE,
        foil=entry.get("foil") in _YES,
        bar=share_of_bar(entry.get("bar")),
    )


def share_of_bar(bar: object) -> float:
    """Return a bar in per cent as a share, NaN where it is none: it has to lie between 0 and 100."""
    try:
        percent = float(bar)  # type: ignore[arg-type]  # what is no number raises, and is none
    except (TypeError, ValueError):
        return math.nan
    return percent / 100 if 0 < percent < 100 else math.nan
