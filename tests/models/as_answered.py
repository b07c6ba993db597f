"""All that the studies of these tests answer, field by field; numbers as sums: see `tests/as_before.py`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any
from zlib import crc32

import numpy as np
import pandas as pd

from panel.answers import QUESTIONS, Answers, NoAnswer
from tests.as_before import summed, write_lines

FOLDER = Path(__file__).parent / "as_answered"
_FEW = 6  # words of a column that are written down as they are; of more a checksum
_HANDED_ON = 4  # so deep: what was handed on to an answer is an answer of its own


def lines_answered(answers: Answers) -> list[str]:
    """Everything a study answers, or why it does not."""
    return [line.replace("\n", " / ") for name in QUESTIONS for line in _answered(name, answers)]


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
