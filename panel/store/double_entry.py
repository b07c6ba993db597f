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
    """Return where two typed grids do not agree.

    Numbers agree when they are the same number, however written (`48.7` and `48,7`).

    Parameters
    ----------
    first, second
        Grids of text: `session assessor position code` and a column for each attribute; `x` stands for
        `cannot judge`.

    Returns
    -------
    DataFrame
        `session assessor position code attribute first second what`; `what` is `different`, `only first`,
        `only second`, `not typed` (empty in both) or `not a number`. Empty if both agree everywhere.

    Raises
    ------
    StudyError
        If the grids have not the same servings and attributes.
    """
    attributes = [name for name in first.columns if name not in PLACE]
    one, other = (_by_place(grid, attributes) for grid in (first, second))
    if set(one.index) != set(other.index) or list(other.columns) != list(one.columns):
        raise StudyError("The two grids have not the same servings and attributes; type both for the same session.")
    other = other.loc[one.index]
    values = [read_number_columns({name: grid[name].tolist() for name in attributes}) for grid in (one, other)]
    rows = []
    for name in attributes:
        texts = (one[name].tolist(), other[name].tolist())
        numbers = (values[0][name].values, values[1][name].values)
        for place, (left, right) in enumerate(zip(*texts, strict=True)):
            what = _what(left.strip(), right.strip(), numbers[0][place], numbers[1][place])
            if what:
                rows.append((*one.index[place], name, left, right, what))
    table = pd.DataFrame(rows, columns=[*PLACE, "attribute", "first", "second", "what"], dtype="str")
    order = {place: number for number, place in enumerate(one.index)}
    ranks = [order[place] for place in table[list(PLACE)].itertuples(index=False, name=None)]
    return table.iloc[np.argsort(ranks, kind="stable")].reset_index(drop=True)


def _by_place(grid: pd.DataFrame, attributes: list[str]) -> pd.DataFrame:
    missing = [name for name in (*PLACE, *attributes) if name not in grid.columns]
    if missing:
        raise StudyError(f"A grid lacks the column {missing[0]!r}; keep the columns of the grid as they are.")
    text = grid.astype("str").map(str.strip)
    placed = text.set_index(list(PLACE))
    if placed.index.has_duplicates:
        raise StudyError(
            f"A grid has the serving {placed.index[placed.index.duplicated()][0]} twice; keep one of them."
        )
    return placed[[name for name in grid.columns if name not in PLACE]]


def _what(left: str, right: str, one: float, other: float) -> str:
    """Return how two cells differ, or what is wrong with both; empty if they agree and are typed."""
    if not left and not right:
        return "not typed"
    if not left or not right:
        return "only second" if right else "only first"
    if left.casefold() == right.casefold() == _CANNOT_JUDGE_TYPED:
        return ""
    odd = [
        text
        for text, value in ((left, one), (right, other))
        if np.isnan(value) and text.casefold() != _CANNOT_JUDGE_TYPED
    ]
    if odd:
        return "not a number"
    return "" if one == other else "different"


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
    """Keep the cells of a grid that differ from what was typed before; return how many.

    Parameters
    ----------
    grid
        As `typed_grid` gives it, all of it or some rows.
    second
        True for the second typing.

    Raises
    ------
    StudyError
        If nobody is named, the same person did the other typing, or the session is locked.
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
    with store.writing() as connection:
        for assessor, entries in changed.items():
            place = {"collection": collection, "session": session, "assessor": assessor}
            key = f"{TYPED_KINDS[second]} {collection} {session} {assessor} {who} {written(at)}"
            add_entries(connection, entries, place, submission=key, at=at, who=who, why=PAPER)
    return sum(len(entries) for entries in changed.values())


def typed_differences(store: Store, collection: int, session: str) -> pd.DataFrame:
    """Return where the two typings differ, as `_compare_entries` tells it, for the ballots that anybody has begun."""
    first, second = _both(store, collection, session)
    return _compare_entries(first, second)


def take_over_typed(store: Store, collection: int, session: str, *, at: datetime, line_mm: float | None = None) -> int:
    """Make answers of what both typed alike, and return how many; doing it again changes nothing.

    Parameters
    ----------
    line_mm
        Length of the printed line if millimetres were typed; None if scores were.

    Raises
    ------
    StudyError
        If the typings differ or nothing is typed, a value is off its line, a sample was answered on a phone as well,
        or the session is locked.
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
    with store.writing() as connection:
        for assessor, entries in answers.items():
            place = {"collection": collection, "session": session, "assessor": assessor}
            key, who = f"paper {collection} {session} {assessor}", " and ".join(people)
            add_entries(connection, entries, place, submission=key, at=at, who=who, why=PAPER)
    return sum(len(entries) for entries in answers.values())


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
