"""How do paper ballots become answers? Two people type them, each alone; every difference goes back to the paper.

Every cell is kept as it was typed, by whom and when, so that typing can be left and gone on with on any day.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd
from sqlalchemy import select

from panel.errors import StudyError
from panel.store.database import Store, written
from panel.store.events import Entry, add_entries
from panel.store.tables import EVENT, PAPER, QUESTION, SCORE_KINDS, SERVING, TYPED_KINDS
from panel.study.numbers_read import read_number_columns, typed_number

PLACE = ("session", "assessor", "position", "code")
_CANNOT_JUDGE_TYPED = "x"
"""Typed where `cannot judge` is ticked: an empty cell is one that nobody has typed yet."""


def _compare_entries(first: pd.DataFrame, second: pd.DataFrame) -> pd.DataFrame:
    """Return where two typed grids of the same servings do not agree, in the order of the servings.

    Columns: `session assessor position code attribute first second what`; `what` is `different`, `only first`, `only
    second`, `not typed` (empty in both) or `not a number`. Numbers agree when they are the same number, however written
    (`48.7` and `48,7`).
    """
    attributes = _attributes(first)
    grids = [grid.map(str.strip).reset_index(drop=True) for grid in (first, second)]
    numbers = [read_number_columns({name: grid[name].tolist() for name in attributes}) for grid in grids]
    rows = []
    for place, row in enumerate(first[list(PLACE)].itertuples(index=False, name=None)):
        for name in attributes:
            texts = [str(grid.loc[place, name]) for grid in grids]
            if what := _what(texts, [float(each[name].values[place]) for each in numbers]):
                rows.append((*row, name, *texts, what))
    return pd.DataFrame(rows, columns=[*PLACE, "attribute", "first", "second", "what"], dtype="str")


def _what(texts: list[str], numbers: list[float]) -> str:
    """Return how two cells differ, or what is wrong with both; empty if they agree and are typed."""
    if not all(texts):
        return "only first" if texts[0] else "only second" if texts[1] else "not typed"
    marks = [text.casefold() == _CANNOT_JUDGE_TYPED for text in texts]
    if all(marks):
        return ""
    if any(np.isnan(number) and not mark for number, mark in zip(numbers, marks, strict=True)):
        return "not a number"
    return "" if numbers[0] == numbers[1] else "different"


def typed_grid(store: Store, collection: int, session: str, *, second: bool = False) -> pd.DataFrame:
    """Return what was typed so far, as text: a row for each serving, a column for each attribute, empty if not typed.

    Columns: `session assessor position code` and the attributes; the index is the number of the serving.
    """
    with store.reading() as connection:
        here = (SERVING.c.collection == collection, SERVING.c.session == session)
        wanted = select(SERVING).where(*here).order_by(SERVING.c.assessor, SERVING.c.position)
        servings = [row._mapping for row in connection.execute(wanted)]
        asked = select(QUESTION.c.attribute).where(QUESTION.c.collection == collection, QUESTION.c.session == session)
        attributes = list(connection.execute(asked.order_by(QUESTION.c.place)).scalars())
        events = select(EVENT.c.serving, EVENT.c.attribute, EVENT.c.text).where(
            EVENT.c.collection == collection, EVENT.c.session == session, EVENT.c.kind == TYPED_KINDS[second]
        )
        cells = {(row[0], row[1]): row[2] for row in connection.execute(events.order_by(EVENT.c.event))}
    rows = [
        [*(str(row[name]) for name in PLACE), *(cells.get((row["serving"], name), "") for name in attributes)]
        for row in servings
    ]
    index = pd.Index([row["serving"] for row in servings], name="serving")
    return pd.DataFrame(rows, index=index, columns=[*PLACE, *attributes], dtype="str")


def keep_typed(
    store: Store, collection: int, session: str, grid: pd.DataFrame, *, second: bool, who: str, at: datetime
) -> int:
    """Keep the cells of a grid, or of some of its rows, that differ from what was typed before; return how many.

    StudyError if nobody is named, the same person did the other typing, or the session is locked.
    """
    who = who.strip()
    if not who:
        raise StudyError("Write who types the ballots.")
    if who.casefold() in {name.casefold() for name in _typists(store, collection, session, second=not second)}:
        raise StudyError(f"{who} did the other typing. The two are done by two people, each alone.")
    before = typed_grid(store, collection, session, second=second)
    kept = before.to_dict("index")
    changed: dict[str, list[Entry]] = {}
    for serving, row in grid.iterrows():
        for name in _attributes(before):
            text = str(row[name]).strip()
            if text != kept[serving][name]:
                entry = Entry(TYPED_KINDS[second], int(str(serving)), name, text=text)
                changed.setdefault(str(row["assessor"]), []).append(entry)
    place = {"collection": collection, "session": session}
    return _add(store, place, changed, (TYPED_KINDS[second], f" {who} {written(at)}"), who, at)


def _add(
    store: Store, place: dict[str, Any], of: dict[str, list[Entry]], key: tuple[str, str], who: str, at: datetime
) -> int:
    """Add the entries of each assessor, `key` being what theirs begins with and ends in; return how many there are."""
    with store.writing() as connection:
        for assessor, entries in of.items():
            own = {**place, "assessor": assessor}
            name = f"{key[0]} {' '.join(map(str, own.values()))}{key[1]}"
            add_entries(connection, entries, own, submission=name, at=at, who=who, why=PAPER)
    return sum(map(len, of.values()))


def typed_differences(store: Store, collection: int, session: str) -> pd.DataFrame:
    """Return where the two typings differ, as `_compare_entries` tells it, for the ballots that anybody has begun."""
    return _compare_entries(*_both(store, collection, session))


def take_over_typed(store: Store, collection: int, session: str, *, at: datetime, line_mm: float | None = None) -> int:
    """Make answers of what both typed alike, and return how many; doing it again changes nothing.

    `line_mm` is the length of the printed line if millimetres were typed, None if scores were. StudyError if the
    typings differ or nothing is typed, a value is off its line, a sample was answered on a phone too, or the session is
    locked.
    """
    differences = typed_differences(store, collection, session)
    if len(differences):
        row = differences.iloc[0]
        raise StudyError(
            f"The two typings do not agree yet in {len(differences)} cells, first for {row['assessor']}, code "
            f"{row['code']}, {row['attribute']}: {row['what']}. Look at the paper, correct the cells, compare again."
        )
    grid, _ = _both(store, collection, session)
    if grid.empty:
        raise StudyError(f"No paper ballots of session {session} are typed yet.")
    _refuse_phones(store, grid)
    scales = _scales(store, collection, session)
    answers: dict[str, list[Entry]] = {}
    for serving, row in grid.iterrows():
        answers.setdefault(row["assessor"], []).extend(_answers(int(str(serving)), row, scales, line_mm))
    people = [", ".join(_typists(store, collection, session, second=second)) for second in (False, True)]
    place = {"collection": collection, "session": session}
    return _add(store, place, answers, ("paper", ""), " and ".join(people), at)


def _attributes(grid: pd.DataFrame) -> list[str]:
    return [name for name in grid.columns if name not in PLACE]


def _both(store: Store, collection: int, session: str) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return both grids, without the servings that nobody has begun to type."""
    grids = [typed_grid(store, collection, session, second=second) for second in (False, True)]
    attributes = _attributes(grids[0])
    begun = ((grids[0][attributes] != "") | (grids[1][attributes] != "")).any(axis=1)
    return grids[0].loc[begun], grids[1].loc[begun]


def _typists(store: Store, collection: int, session: str, *, second: bool) -> list[str]:
    here = (EVENT.c.collection == collection, EVENT.c.session == session, EVENT.c.kind == TYPED_KINDS[second])
    with store.reading() as connection:
        return sorted(connection.execute(select(EVENT.c.who).where(*here).distinct()).scalars())


def _refuse_phones(store: Store, grid: pd.DataFrame) -> None:
    answered = select(EVENT.c.serving).where(EVENT.c.kind.in_(SCORE_KINDS), EVENT.c.why != PAPER).distinct()
    with store.reading() as connection:
        phones = set(connection.execute(answered.where(EVENT.c.serving.in_(list(grid.index)))).scalars())
    for serving, row in grid.iterrows():
        if serving in phones:
            raise StudyError(
                f"{row['assessor']}, code {row['code']}, has answers that did not come from paper; nothing was taken "
                "over. Empty the cells of this sample in both typings, or type only what was answered on paper."
            )


def _scales(store: Store, collection: int, session: str) -> dict[str, tuple[float, float]]:
    here = (QUESTION.c.collection == collection, QUESTION.c.session == session)
    wanted = select(QUESTION.c.attribute, QUESTION.c.scale_min, QUESTION.c.scale_max).where(*here)
    with store.reading() as connection:
        return {row[0]: (float(row[1]), float(row[2])) for row in connection.execute(wanted)}


def _answers(serving: int, row: Any, scales: dict[str, tuple[float, float]], line_mm: float | None) -> Iterator[Entry]:
    for name, (low, high) in scales.items():
        text = row[name].strip()
        if text.casefold() == _CANNOT_JUDGE_TYPED:
            yield Entry("cannot_judge", serving, name, text=text)
            continue
        typed = typed_number(text, name)
        score = None if typed is None else typed if line_mm is None else low + typed / line_mm * (high - low)
        if score is None or not low <= score <= high:
            raise StudyError(
                f"{row['assessor']}, code {row['code']}, {name}: {text} lies off the line. Look at the paper."
            )
        yield Entry("answer", serving, name, score, text=text)
