"""All that the studies of these tests answer, field by field; numbers as sums: see `tests/as_before.py`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from typing import Any
from zlib import crc32

import numpy as np
import pandas as pd

from panel.answers import DECISION, DIFFERENCES, FORCED_CHOICES, PREDICTION, QUESTIONS, Answers, NoAnswer
from panel.models.consumers.forced_choice import judge_count
from panel.models.decision.decide import decisions_so_far, with_decision
from panel.models.emollients.prediction_model import PredictionModel
from panel.models.emollients.predictions import (
    PredictionRecord,
    WhatIf,
    judge_predictions,
    keep_prediction,
    study_targets,
    what_if,
)
from panel.models.prototypes.differences import find_differences
from tests.as_before import summed, write_lines

FOLDER = Path(__file__).parent / "as_answered"
_FEW = 6  # words of a column that are written down as they are; of more a checksum
_HANDED_ON = 4  # so deep: what was handed on to an answer is an answer of its own


def lines_answered(answers: Answers) -> list[str]:
    """Everything a study answers, or why it does not."""
    apart = asked_apart(answers).items()
    lines = [line for name in QUESTIONS for line in _answered(name, answers)]
    return [line.replace("\n", " / ") for line in (*lines, *(line for each in apart for line in _lines(*each, 1)))]


def asked_apart(answers: Answers) -> dict[str, Any]:
    """What is asked beside the questions: blends that nobody made, what became of them, other settings, a decision."""
    study, found = answers.study, dict[str, Any]()
    if not isinstance(model := answers.ask(PREDICTION), NoAnswer):
        blends = model.level.amounts.to_numpy(dtype=float)
        for part in (0.5, 3.0):  # between two that were made, and far outside
            amounts = np.clip(blends[0] + part * (blends[-1] - blends[0]), 0, None)
            blend = dict(zip(model.level.emollients, amounts * blends[0].sum() / amounts.sum(), strict=True))
            found[f"what if {part}"] = what_if(model, blend, study_targets(study))
        found["what came true"] = _came_true(answers, model, found["what if 0.5"])
    if not isinstance(answers.ask(DIFFERENCES), NoAnswer) and study.scores["position"].notna().all():
        other = str(study.scores["prototype"].iloc[-1])
        found["in order"] = find_differences(study, versus=other, margin=9.0, adjust_for=["position"])
    if not isinstance(answers.ask(DECISION), NoAnswer):
        words = {"reason": "nearest", "not_established": "taste", "who": "B", "date": "2025-04-01"}
        decided = with_decision(study, chosen=study.prototypes[0], **words)
        found["decided"] = decisions_so_far(decided).drop(columns=["data_hash", "seal"])
    if not isinstance(answers.ask(FORCED_CHOICES), NoAnswer):
        kinds = ("paired", "triangle", "duo_trio", "three_afc", "tetrad")
        found |= {f"{kind} counted": judge_count(kind, 19, 36, similar_below=0.3) for kind in kinds}
    return found


def _came_true(answers: Answers, model: PredictionModel, told: WhatIf) -> PredictionRecord:
    """Hold a kept prediction against a prototype that was scored, one it rests on, and one that is not made yet."""
    study = keep_prediction(answers.study, model, told, "N1", "2025-03-20")
    (kept,) = study.facts["predictions"]
    tested, among = study.prototypes[-1], study.prototypes[0]
    others = [each for each in kept["based_on"] if tested not in each.split(" = ")]
    entries = [kept, kept | {"prototype": tested, "based_on": others}, kept | {"prototype": among}]
    return judge_predictions(
        replace(study, facts=dict(study.facts) | {"predictions": entries}), answers.need(DIFFERENCES)
    )


def _answered(name: str, answers: Answers) -> Iterator[str]:
    answer = answers.ask(QUESTIONS[name])
    yield from [f"{name}: {answer.why}"] if isinstance(answer, NoAnswer) else _lines(name, answer, _HANDED_ON)


def _lines(name: str, thing: Any, depth: int) -> Iterator[str]:
    if isinstance(thing, pd.DataFrame):
        for column in thing.columns:
            yield from _lines(f"{name}.{column}", thing[column].to_numpy(), depth)
    elif isinstance(thing, pd.Series | np.ndarray):
        yield _column(name, np.asarray(thing))
    elif is_dataclass(thing):
        for each in fields(thing) if depth else ():
            yield from _lines(f"{name}.{each.name}", getattr(thing, each.name), depth - 1)
    elif isinstance(thing, Mapping):
        for key, each in thing.items() if depth else ():
            yield from _lines(f"{name}.{key}", each, depth - 1)
    elif isinstance(thing, bool | int | float):
        yield summed(name, [thing])
    elif isinstance(thing, tuple | list) and any(map(_deep, thing)):
        for place, each in enumerate(thing) if depth else ():
            yield from _lines(f"{name}.{place}", each, depth - 1)
    elif isinstance(thing, str | tuple | list) or thing is None:
        yield f"{name}: {thing}"


def _deep(thing: Any) -> bool:
    return is_dataclass(thing) or isinstance(thing, pd.DataFrame | np.ndarray | Mapping | tuple | list)


def _column(name: str, values: np.ndarray) -> str:
    if values.dtype.kind in "biuf":
        return summed(name, values)
    words = [str(each) for each in values.ravel()]
    return f"{name}: {words}" if len(words) <= _FEW else f"{name}: {len(words)} words {crc32(' '.join(words).encode())}"


if __name__ == "__main__":
    from tests.models.test_every_answer import STUDIES

    for study, make in STUDIES.items():
        write_lines(FOLDER, study, lines_answered(make()))
