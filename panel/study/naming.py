"""What the things of a study are called on pictures and in tables."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Set
from dataclasses import dataclass, field

from panel.study.study import Study
from panel.words import format_number

_SHORT_SCALE = 15.0  # such as 0 to 10, 1 to 9, or 15 cm
_SHORTEST_SCALE = 1.5  # such as 0 to 1


@dataclass(frozen=True, slots=True)
class Naming:
    """Words for attributes and prototypes, the stage of each attribute, and the scale scores are on.

    Parameters
    ----------
    attributes
        Short name to words; what is not there keeps its short name.
    stages
        Short name of the attribute to its stage of use.
    prototypes
        Every prototype in the order of the study: short name to the name in words, empty where there is none.
    scale
        Such as `0 to 100`; empty where attributes have several scales or the study does not say.
    digits
        Decimals for scores and their differences: 1, 2 on short scales, 3 on one of 0 to 1.
    """

    attributes: Mapping[str, str] = field(default_factory=dict)
    stages: Mapping[str, str] = field(default_factory=dict)
    prototypes: Mapping[str, str] = field(default_factory=dict)
    scale: str = ""
    digits: int = 1

    def attribute(self, attribute: str) -> str:
        """Words for an attribute."""
        return self.attributes.get(attribute) or attribute

    def stage(self, attribute: str) -> str:
        """Stage of use in which an attribute is judged; empty if the study does not say."""
        return self.stages.get(attribute, "")

    def prototype(self, prototype: str) -> str:
        """Short name of a prototype, followed by its name in words if that says more."""
        words = self.prototypes.get(prototype, "")
        return f"{prototype} ({words})" if words and words != prototype else prototype

    def with_scale(self, heading: str) -> str:
        """Return a column heading with the scale behind it: `Mean (0 to 100)`."""
        return f"{heading} ({self.scale})" if self.scale else heading


def naming(study: Study) -> Naming:
    """Return the words of a study; attributes with the same words are told apart by their short names."""
    attributes, prototypes = study.table("attributes"), study.table("prototypes")
    listed = dict(zip(reversed(attributes["attribute"].tolist()), reversed(attributes["name"].tolist()), strict=True))
    words = {attribute: str(listed.get(attribute) or attribute) for attribute in study.attributes}
    used = Counter(words.values())
    scales = set(study.scales(words))
    return Naming(
        attributes={
            attribute: f"{text}, {attribute}" if used[text] > 1 and text != attribute else text
            for attribute, text in words.items()
        },
        stages=dict(zip(attributes["attribute"], attributes["stage"], strict=True)),
        prototypes=dict.fromkeys(study.prototypes, "")
        | dict(zip(prototypes["prototype"], prototypes["name"], strict=True)),
        scale=_scale(scales),
        digits=decimals(_longest(scales)),
    )


def decimals(length: float) -> int:
    """Return the decimals for scores on a scale of this length."""
    return 3 if length <= _SHORTEST_SCALE else 2 if length <= _SHORT_SCALE else 1


def _scale(scales: Set[tuple[float, float] | None]) -> str:
    known = next(iter(scales)) if len(scales) == 1 else None
    if known is None:
        return ""
    return " to ".join(format_number(end, 0 if end == round(end) else 1) for end in known)


def _longest(scales: Set[tuple[float, float] | None]) -> float:
    return max((scale[1] - scale[0] for scale in scales if scale is not None), default=float("inf"))
