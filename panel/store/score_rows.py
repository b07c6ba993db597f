"""How do collected answers become scores of a study? Here each code is looked up in the serving plan."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import pandas as pd
from sqlalchemy import Connection, delete, insert, select

from panel.errors import StudyError
from panel.plan.protocol import read_protocol
from panel.store.database import Store, local, written
from panel.store.double_entry import CANNOT_JUDGE_TYPED, PLACE, compare_entries
from panel.store.events import Entry, Sent, add_entries
from panel.store.tables import COLLECTION, EVENT, PAPER, QUESTION, SCORE_KINDS, SERVING, SESSION, TYPED_KINDS
from panel.study.numbers_read import typed_number
from panel.study.study import REHEARSED, Study, is_rehearsed
from panel.study.tables import CANNOT_JUDGE

BALLOT, TYPED = "ballot", "typed"
_NUMBERS = ("score", "position")


@dataclass(frozen=True, eq=False, slots=True)
class Collected:
    """What a session brought.

    Parameters
    ----------
    servings
        (assessor, position) to the code on the cup.
    answers
        The last answer to each question: `assessor position code attribute value flag kind at why`.
    corrections
        Corrections that came after those answers: the same, and `text` (the value before) and `who`.
    """

    session: str
    rehearsal: bool
    servings: Mapping[tuple[str, int], str]
    answers: tuple[Mapping[str, Any], ...]
    corrections: tuple[Mapping[str, Any], ...]


def with_collected(study: Study, collected: Collected) -> Study:
    """Return the study with the answers as scores and the corrections as corrections; those it holds are not repeated.

    Raises
    ------
    StudyError
        If the serving plan is not the one the ballots were made from, other scores of the same servings are there
        already, or rehearsed scores would stand beside real ones.
    """
    _keep_apart(study, collected)
    prototypes = _prototypes(study, collected)
    batches = _only_batch(study)
    rows = [_score_row(row, collected, prototypes, batches) for row in collected.answers]
    scores = _not_there_yet(study, pd.DataFrame(rows), collected.session)
    tables = dict(study.tables)
    tables["scores"] = _below(study.table("scores"), scores)
    known = study.table("corrections").to_dict("records")
    rows = [_correction_row(row, collected, prototypes) for row in collected.corrections]
    rows = [row for row in rows if not any(row.items() <= other.items() for other in known)]
    if rows:
        tables["corrections"] = _below(study.table("corrections"), pd.DataFrame(rows, dtype="str"))
    return replace(study, tables=tables)


def _keep_apart(study: Study, collected: Collected) -> None:
    rehearsed = is_rehearsed(study)
    if collected.rehearsal and not rehearsed and len(study.scores):
        raise StudyError(
            "This session was rehearsed, and the study holds real scores; nothing was written. "
            "Write a rehearsal into a copy of the study without scores."
        )
    if rehearsed and not collected.rehearsal:
        raise StudyError(
            "The study in this folder is a rehearsal; real scores do not go into it. Choose the folder of the real one."
        )


def _prototypes(study: Study, collected: Collected) -> dict[tuple[str, int], str]:
    """Return (assessor, position) to the prototype; StudyError if a code on a cup is not the one in the plan."""
    plan = study.table("servings")
    plan = plan.loc[plan["session"] == collected.session]
    keys = zip(plan["assessor"], plan["position"], strict=True)
    planned = dict(zip(keys, zip(plan["code"], plan["prototype"], strict=True), strict=True))
    found = {}
    for (assessor, position), code in collected.servings.items():
        now, prototype = planned.get((assessor, float(position)), ("", ""))
        if now != code or not prototype:
            raise StudyError(
                f"Session {collected.session}, {assessor}, position {position}: the cup had the code {code}, the "
                f"serving plan now says {now or 'nothing'}. Put the plan back as it was when the ballots were made."
            )
        found[assessor, position] = str(prototype)
    return found


def _only_batch(study: Study) -> dict[str, str]:
    """Return prototype to batch, for prototypes that have one batch."""
    batches = study.table("batches")
    alone = batches.drop_duplicates("prototype", keep=False)
    return dict(zip(alone["prototype"], alone["batch"], strict=True))


def _score_row(
    row: Mapping[str, Any],
    collected: Collected,
    prototypes: Mapping[tuple[str, int], str],
    batches: Mapping[str, str],
) -> dict[str, Any]:
    prototype = prototypes[row["assessor"], row["position"]]
    value = row["value"]
    return {
        "assessor": row["assessor"],
        "prototype": prototype,
        "attribute": row["attribute"],
        "score": float("nan") if value is None else float(value),
        "session": collected.session,
        "position": float(row["position"]),
        "batch": batches.get(prototype, ""),
        "recorded_at": local(row["at"]),
        "source": REHEARSED if collected.rehearsal else TYPED if row["why"] == PAPER else BALLOT,
        "flag": CANNOT_JUDGE if row["kind"] == "cannot_judge" else row["flag"],
    }


def _correction_row(
    row: Mapping[str, Any], collected: Collected, prototypes: Mapping[tuple[str, int], str]
) -> dict[str, str]:
    place = {
        "assessor": row["assessor"],
        "session": collected.session,
        "prototype": prototypes[row["assessor"], row["position"]],
        "attribute": row["attribute"],
        "position": str(float(row["position"])),
    }
    return {
        "when": local(row["at"]),
        "who": row["who"],
        "table": "scores",
        "key": "; ".join(f"{name}={value}" for name, value in place.items()),
        "old": row["text"],
        "new": "" if row["value"] is None else _plain(float(row["value"])),
        "why": row["why"],
    }


def _plain(value: float) -> str:
    text = repr(value)
    return f"{text}0" if len(text.partition(".")[2]) == 3 else text  # 1.234 could be read as a thousand and more


def refuse_scored(study: Study, session: str) -> None:
    """Raise StudyError if a session that is about to begin has scores in the study: locking would refuse it."""
    served = study.table("servings")
    people = set(served.loc[served["session"] == session, "assessor"])
    scores = study.scores
    there = scores.loc[(scores["session"] == session) & scores["assessor"].isin(people), "assessor"]
    if len(there):
        who = ", ".join(sorted(set(there)))
        raise StudyError(
            f"The study already holds scores of session {session} ({who}); what its ballots say could not be taken in. "
            "Name another session with --session, or give the sitting a new session name in the serving plan."
        )


def _not_there_yet(study: Study, scores: pd.DataFrame, session: str) -> pd.DataFrame:
    """Return the scores that the study does not hold; StudyError if it holds others of the same samples.

    A study may hold its own rows of the session already: an earlier version could be stopped between two files.
    """
    there = study.scores.loc[study.scores["session"] == session]
    place = ["assessor", "prototype", "attribute", "position"]
    said = ["score", "recorded_at", "source", "flag"]
    kept = {_cells(row, place): _cells(row, said) for row in there.to_dict("records")}
    own = [(_cells(row, place), _cells(row, said)) for row in scores.to_dict("records")]
    others = sorted({str(where[0]) for where, cells in own if kept.get(where, cells) != cells})
    if others:
        raise StudyError(
            f"The study already holds scores of session {session} for the same samples ({', '.join(others)}); nothing "
            "was written. Remove one of the two first."
        )
    return scores.loc[[where not in kept for where, _ in own]]


def _cells(row: Mapping[Any, Any], names: list[str]) -> tuple[Any, ...]:
    """Return cells of a row in a form that can be compared: a missing one is the empty text."""
    return tuple("" if pd.isna(row.get(name)) else row[name] for name in names)


def _below(table: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    """Return a table with rows below it; text that is missing on either side is empty."""
    columns = list(dict.fromkeys([*table.columns, *rows.columns]))
    parts = [_complete(part.reindex(columns=columns)) for part in (table, rows) if len(part)]
    return pd.concat(parts, ignore_index=True)


def _complete(part: pd.DataFrame) -> pd.DataFrame:
    text = [name for name in part.columns if name not in _NUMBERS]
    filled = {name: part[name].astype("object").where(part[name].notna(), "").astype("str") for name in text}
    return part.assign(**filled, **{name: part[name].astype("float64") for name in _NUMBERS if name in part.columns})


# How do paper ballots become answers? Two people type them, each alone; what both typed alike is taken over.
#
# Every cell is kept as it was typed, by whom and when, so that typing can be left and gone on with on any day.


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
            add_entries(connection, entries, place, Sent(key, at, who, PAPER))
    return sum(len(entries) for entries in changed.values())


def typed_differences(store: Store, collection: int, session: str) -> pd.DataFrame:
    """Return where the two typings differ, as `compare_entries` tells it, for the ballots that anybody has begun."""
    first, second = _both(store, collection, session)
    return compare_entries(first, second)


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
            sent = Sent(f"paper {collection} {session} {assessor}", at, " and ".join(people), PAPER)
            add_entries(connection, entries, place, sent)
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
        if text.casefold() == CANNOT_JUDGE_TYPED:
            yield Entry("cannot_judge", serving, name, text=text)
            continue
        typed = typed_number(text, name)
        score = None if typed is None else typed if line_mm is None else low + typed / line_mm * (high - low)
        if score is None or not low <= score <= high:
            raise StudyError(
                f"{row['assessor']}, code {row['code']}, {name}: {text} lies off the line. Look at the paper."
            )
        yield Entry("answer", serving, name, score, text=text)


# How does a study get ready for its ballots? Codes, questions and times are copied, prototypes are left out.
#
# What was copied for a session stays as it is from its first event on, whatever happens to the study meanwhile.


_STAGES = ("appearance", "pick-up", "rub-out", "after-feel", "later after-feel", "any", "")
_WORDS = ("attribute", "name", "stage", "definition", "procedure", "low_end", "high_end")


@dataclass(frozen=True, slots=True)
class Collection:
    """One collecting of ballots for one study: the real one, or a rehearsal, which stays a rehearsal for ever."""

    number: int
    study: str
    rehearsal: bool
    sessions: tuple[str, ...]


def prepare(store: Store, study: Study, name: str, *, at: datetime, rehearsal: bool = False) -> Collection:
    """Copy the sessions of a study's serving plan that are not in the record yet; return the collection.

    A study has one real collection; each rehearsal is one of its own. Consumers get no ballot here: they are never
    asked for intensities.

    Parameters
    ----------
    name
        What the study is called in the record: always the same for the same study.

    Raises
    ------
    StudyError
        If the study has no servings for trained assessors or no attributes, if it does not say the ends of a scale,
        if a serving is incomplete or a code is used twice for one person in a session, if a session that has begun
        differs from the plan, or if real ballots are asked for in a study that was rehearsed.
    """
    if is_rehearsed(study) and not rehearsal:
        raise StudyError("This study is a rehearsal and stays one. Open the ballots of the study it was made from.")
    questions = _questions(study)
    sessions = _servings(study)
    with store.writing() as connection:
        number = None if rehearsal else _real_collection(connection, name)
        if number is None:
            row = {"study": name, "rehearsal": int(rehearsal), "started_at": written(at)}
            number = connection.execute(insert(COLLECTION).values(row).returning(COLLECTION.c.collection)).scalar_one()
        for session, servings in sessions.items():
            _copy_session(connection, number, session, servings, questions)
    return Collection(number, name, rehearsal, tuple(sessions))


def _real_collection(connection: Connection, name: str) -> int | None:
    wanted = select(COLLECTION.c.collection).where(COLLECTION.c.study == name, COLLECTION.c.rehearsal == 0)
    return connection.execute(wanted).scalar_one_or_none()


def _copy_session(
    connection: Connection, number: int, session: str, servings: list[dict[str, Any]], questions: list[dict[str, Any]]
) -> None:
    """Copy one session; if it has begun, make sure that the copy still is what the study says."""
    place = {"collection": number, "session": session}
    of_session = [SESSION.c.collection == number, SESSION.c.session == session]
    if connection.execute(select(SESSION.c.session).where(*of_session)).first() is None:
        connection.execute(insert(SESSION).values(place))
    changed = _changed(connection, number, session, servings, questions)
    begun = select(EVENT.c.event).where(EVENT.c.collection == number, EVENT.c.session == session).limit(1)
    if changed and connection.execute(begun).first() is not None:
        raise StudyError(
            f"The {changed} of session {session} changed after its ballots had begun; what was answered would no "
            f"longer fit. Put the {changed} back as before, or give the changed part a new session name."
        )
    if changed:
        for table in (SERVING, QUESTION):
            connection.execute(delete(table).where(table.c.collection == number, table.c.session == session))
        connection.execute(insert(SERVING), [place | serving for serving in servings])
        connection.execute(insert(QUESTION), [place | question for question in questions])


def _changed(
    connection: Connection, number: int, session: str, servings: list[dict[str, Any]], questions: list[dict[str, Any]]
) -> str:
    """Return what differs between the copy of a session and the study, in words; empty if nothing does."""
    for table, wanted, what in ((SERVING, servings, "serving plan"), (QUESTION, questions, "attributes")):
        columns = [table.c[name] for name in wanted[0]]
        rows = select(*columns).where(table.c.collection == number, table.c.session == session)
        if {tuple(row) for row in connection.execute(rows)} != {tuple(row.values()) for row in wanted}:
            return what
    return ""


def _servings(study: Study) -> dict[str, list[dict[str, Any]]]:
    """Return session to the servings of its trained assessors, without the prototypes."""
    people = study.table("assessors")
    consumers = set(people.loc[people["kind"] == "consumer", "assessor"])
    table = study.table("servings")
    sessions: dict[str, list[dict[str, Any]]] = {}
    seen: set[tuple[str, ...]] = set()
    for row, (session, assessor, position, code, site) in enumerate(
        zip(*(table[name] for name in ("session", "assessor", "position", "code", "site")), strict=True)
    ):
        if assessor in consumers:
            continue
        if not (session and assessor and code) or math.isnan(position):
            raise StudyError(f"servings.csv, line {row + 2}: session, assessor, position or code is missing; add it.")
        for key in ((session, assessor, f"position {position:g}"), (session, assessor, f"code {code}")):
            if key in seen:
                raise StudyError(f"servings.csv, line {row + 2}: {assessor} has {key[2]} twice in session {session}.")
            seen.add(key)
        serving = {"assessor": str(assessor), "position": int(position), "code": str(code), "site": str(site)}
        sessions.setdefault(str(session), []).append(serving)
    if not sessions:
        raise StudyError("The study has no servings for trained assessors. Make a serving plan first.")
    return sessions


def _questions(study: Study) -> list[dict[str, Any]]:
    """Return the attributes in the order in which they are judged."""
    table = study.table("attributes")
    if table.empty:
        raise StudyError("The study has no attributes to ask for. Fill its table of attributes first.")
    ends = {name: scale for name in table["attribute"] if (scale := study.scale(name)) is not None}
    unknown = [name for name in table["attribute"] if name not in ends]
    if unknown:
        raise StudyError(
            f"The study does not say where the scale of {', '.join(unknown)} begins and ends. Fill in scale_min and "
            "scale_max in the table attributes: a line without ends cannot be marked."
        )
    times = read_protocol(study).times
    rows: list[dict[str, Any]] = []
    for row, (minutes, earliest, latest) in zip(
        table.to_dict("records"), times[["minutes", "earliest", "latest"]].to_numpy().tolist(), strict=True
    ):
        low, high = ends[row["attribute"]]
        if not low < high:
            raise StudyError(f"The scale of {row['attribute']} goes from {low:g} to {high:g}; correct its ends.")
        words = {name: str(row[name]) for name in _WORDS}
        words["name"] = words["name"] or words["attribute"]
        timed = {"minutes": _or_none(minutes), "earliest": _or_none(earliest), "latest": _or_none(latest)}
        rows.append(words | timed | {"scale_min": low, "scale_max": high})
    rows.sort(key=lambda question: (float(question["minutes"] or 0.0), _stage_rank(str(question["stage"]))))
    return [{"place": place} | question for place, question in enumerate(rows)]


def _or_none(minutes: float) -> float | None:
    return None if math.isnan(minutes) else float(minutes)


def _stage_rank(stage: str) -> int:
    return _STAGES.index(stage) if stage in _STAGES else len(_STAGES)
