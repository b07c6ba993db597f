"""What an answer holds: every number and every word of its frames, row by row, to set beside what is told of it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields, is_dataclass
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from panel import answers as asked
from panel.answers import Answers, NoAnswer
from panel.models.emollients.predictions import study_targets, what_if
from panel.study.naming import Naming
from panel.study.study import Study
from panel.views.assessors.people import differences_without
from panel.views.assessors.person import person_items
from panel.views.emollients.next_prototype import tell_what_if
from panel.views.emollients.swaps import swap_drawers
from panel.views.told import Shown, Told, drawer
from tests.drawn_studies import DRAWN
from tests.studies import small_study
from tests.views.every_picture import demo_answers, everything_told

NUMBER = re.compile(r"(?<![\w.,–-])[+−]?\d[\d,]*(?:\.\d+)?(?!\w|-[A-Z])")
TWELFTH_DIGIT = 1e-9  # for what was multiplied by 100 and cut


def _answers_of(make: Callable[[], Study]) -> Answers:
    return Answers(make())


# The demo; four formulas with a benchmark; and drawn studies that take other ways.
STUDIES = {
    "demo": demo_answers,
    "four": lambda: Answers(small_study({"benchmark": "P1", "margin": 8.0})),
} | {name: partial(_answers_of, make) for name, make in DRAWN.items()}


def all_told(answers: Answers) -> list[Told]:
    """Everything that is told of a study, also of one person, of the swaps by themselves and of two other blends."""
    told, names = everything_told(answers), answers.names
    if "panel" in told:
        check = told["panel"].result
        who, attribute = str(check.people["assessor"].iloc[0]), str(check.assessors["attribute"].iloc[0])
        left = answers.ask(asked.LEFT_OUT)
        without = () if isinstance(left, NoAnswer) else (Shown(differences_without(who), left, names),)
        items = (*person_items(check, names, who, attribute), *without)
        told["person"] = Told(check, names, f"{who}.", drawers=(drawer(who, *items),))
    if not isinstance(traced := answers.ask(asked.SWAPS), NoAnswer):
        told["swaps"] = Told(traced, names, "The swaps.", drawers=swap_drawers(traced, names))
    if not isinstance(model := answers.ask(asked.PREDICTION), NoAnswer):
        blends = model.level.amounts.to_numpy(dtype=float)
        for part in (0.5, 3.0):  # between two that were made, and far outside
            amounts = np.clip(blends[0] + part * (blends[-1] - blends[0]), 0, None)
            blend = dict(zip(model.level.emollients, amounts * blends[0].sum() / amounts.sum(), strict=True))
            found = what_if(model, blend, study_targets(answers.study))
            told[f"what if {part}"] = tell_what_if(found, names, model.level.base)
    return list(told.values())


def frames(thing: Any, depth: int = 4) -> Iterator[pd.DataFrame]:
    """Every frame that an answer holds, also inside what was handed on to it."""
    if isinstance(thing, pd.DataFrame):
        yield thing
    elif depth and is_dataclass(thing):
        for each in fields(thing):
            yield from frames(getattr(thing, each.name), depth - 1)
    elif depth and isinstance(thing, Mapping):
        yield from (frame for each in thing.values() for frame in frames(each, depth - 1))
    elif depth and isinstance(thing, tuple | list):
        yield from (frame for each in thing for frame in frames(each, depth - 1))


def numbers_in(row: Mapping[Any, Any]) -> np.ndarray:
    """Every number of a row."""
    held = [each for value in row.values() for each in (value if isinstance(value, tuple | list) else (value,))]
    found = [float(each) for each in held if isinstance(each, int | float | np.number) and not isinstance(each, bool)]
    return np.array([each for each in found if np.isfinite(each)])


def words_in(row: Mapping[Any, Any], names: Naming) -> set[str]:
    """Every word of a row, as it stands and as the study says it."""
    own = {str(each) for each in row.values() if isinstance(each, str | int | np.integer)}
    return own | {names.attribute(each) for each in own} | {names.prototype(each) for each in own}


def told_numbers(text: str) -> list[tuple[float, int]]:
    """Every number of a text, with its decimals; a thousand or more may be rounded before the point."""
    found = [each.replace("−", "-").replace("+", "").replace(",", "") for each in NUMBER.findall(text)]
    return [(float(each), len(each.partition(".")[2]) or _noughts(each)) for each in found]


def _noughts(told: str) -> int:
    return len(told.rstrip("0")) - len(told) if abs(float(told)) >= 1000 else 0


def holds(row: np.ndarray, told: float, digits: int, *, cut: bool = False) -> bool:
    """Whether a number told with these decimals is one of those in a row, or one in per cent."""
    room = (1.0 if cut else 0.5) * 10.0**-digits + TWELFTH_DIGIT
    return bool((np.abs(np.concatenate([row, 100 * row]) - told) <= room).any())
