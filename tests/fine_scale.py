"""The demo as it would be had its panel scored on a finer scale: nothing that is said may depend on it.

An invariance: dividing by 64 changes no digit of a number in a computer, so a word that changes was put by the unit.
"""

import re
from dataclasses import replace

from panel.study.study import Study

PART = 1 / 64


def finer(study: Study) -> Study:
    """The study as it would be had all its scores been given on a scale of a sixty-fourth of the length."""
    ends = ["scale_min", "scale_max", "target_low", "target_high"]
    attributes, claims, facts = study.table("attributes"), study.table("claims"), study.facts
    tables = {
        "scores": study.scores.assign(score=study.scores["score"] * PART),
        "claims": claims.assign(margin=claims["margin"] * PART, bar_panel=claims["bar_panel"] * PART),
        "attributes": attributes.assign(**{end: attributes[end] * PART for end in ends}),
    }
    told = {name: facts[name] * PART for name in ("scale_max", "margin") if name in facts}
    if levels := facts.get("benchmark_levels"):
        told["benchmark_levels"] = {name: level * PART for name, level in levels.items()}
    return replace(study, tables={**study.tables, **tables}, facts={**facts, **told})


def without_numbers(text: object) -> str:
    """A text with a sign in place of each number: a number may be nought to its last digit shown, or have no sign.

    An end of an interval that is nought to its last digit says on which side of nought it lies.
    """
    return re.sub(r"(?:above |below )?[−+]?\d[\d.,]*", "#", str(text))
