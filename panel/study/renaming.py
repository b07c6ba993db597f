"""How is a prototype, an attribute, a person or a batch given another name, or taken out, everywhere at once?

A name that stands under a seal stays: in a stamped claim, a decision, a sealed serving plan, a locked session. And
which row of the scores is meant where several are named alike?
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

import pandas as pd

from panel.errors import StudyError
from panel.study.editing import LISTS, put_block, put_table, texts_of_table
from panel.study.facts import days_in_each, locked_sessions
from panel.study.knowledge import plain_words
from panel.study.naming import folded_name, labelled, served_again, spellings, worded_alike
from panel.study.people import new_codes, people_in
from panel.study.questions import AGAINST, TOP, as_asked, whole
from panel.study.scores_used import PLACE_COLUMNS, question_words, with_correction
from panel.study.study import Study
from panel.study.table_cells import texts_of_frame
from panel.study.tables import TABLES
from panel.words import counted, first_few

_ALSO = MappingProxyType(
    {"prototype": ("versus", "chosen", "runner_up"), "attribute": (), "assessor": (), "batch": (), "session": ()}
)
"""What a name is to the other columns that hold one."""
_NAME_KEYED_FACTS = MappingProxyType(
    {
        **{
            "stability": "prototype",
            "benchmark_levels": "attribute",
            "tolerance": "attribute",
            "batch_sd": "attribute",
        },
        "dates": "session",
    }
)
_ARTICLE = MappingProxyType({"prototype": "a", "attribute": "an", "assessor": "an", "batch": "a", "session": "a"})
_NAME_LISTS = MappingProxyType({"dominance_attributes": "attribute"})
_CHOSEN_ANSWERS = ("preference", "paired")


def rename(study: Study, kind: str, old: str, new: str, why: str = "") -> Study:
    """Return the study with a prototype, attribute, assessor, batch or session renamed wherever it is named.

    A slip of a name that there is already joins the two, with the reason. The day that was read from the name of a
    session becomes that of the new one.

    Raises
    ------
    StudyError
        If there is none of this name, the new name is empty or another one's, no reason is given to join two or their
        rows collide, or the old one stands under a seal: in a stamped claim, a decision, a sealed serving plan or a
        locked session, which stay as they are.
    """
    new = new.strip()
    _refuse_unknown(study, kind, old, (*LISTS, "session"))
    if not new:
        raise StudyError(f"Write the new name of the {kind} {old}.")
    joins = new != old and new in _names_of(study, kind)
    if joins:
        _refuse_to_join(study, kind, old, new, why)
    if sealed := _under_seal(study, kind, old) or (kind == "session" and joins and _under_seal(study, kind, new)):
        raise StudyError(
            f"{old} cannot be renamed: it stands under a seal ({', '.join(sealed)}). Give it a name in words instead."
        )
    tables = {name: _renamed(frame, kind, old, new) for name, frame in study.tables.items()}
    if kind == "session" and "scores" in tables:
        tables["scores"] = tables["scores"].assign(recorded_at=_days_of_new_name(study, old, new))
    after = replace(study, tables=tables, facts=_renamed_facts(study.facts, kind, old, new))
    return _listed_once(after, LISTS[kind], kind, new) if joins and kind in LISTS else after


def _days_of_new_name(study: Study, old: str, new: str) -> pd.Series:
    """Return when scores were recorded; what is the day in the old name of a session becomes the one in the new."""
    scores = study.table("scores")
    days = days_in_each([*scores["session"].unique(), new])
    was, will = (days[name][0] if len(days.get(name, ())) == 1 else "" for name in (old, new))
    of_name = (scores["session"] == old) & (scores["recorded_at"] == was)
    return scores["recorded_at"].mask(of_name, will) if will else scores["recorded_at"]


def _refuse_to_join(study: Study, kind: str, old: str, new: str, why: str) -> None:
    """Raise StudyError unless one name is a slip of another, no row of theirs collides, and the reason is given."""
    alike = folded_name(old) == folded_name(new) or served_again(old) == new
    alike |= kind == "session" or (kind == "attribute" and worded_alike(old, new))
    if not alike and (labelled(old, new) or not {*spellings(old)} & {*spellings(new)}):
        raise StudyError(f"There is {_ARTICLE[kind]} {kind} {new} already; two would become one. Choose another name.")
    collide = [told for name, frame in study.tables.items() if (told := _both_in(name, frame, kind, old, new))]
    held = {name: study.facts.get(name) for name, of in _NAME_KEYED_FACTS.items() if of == kind}
    keyed = [name for name, value in held.items() if isinstance(value, Mapping) and {old, new} <= {*value}]
    if collide or keyed:
        told = "; ".join([*collide, *(f"the fact {name}" for name in keyed)])
        raise StudyError(
            f"{old} and {new} cannot become one: both are there in {told}. Correct that first, or choose another name."
        )
    if not why.strip():
        raise StudyError(
            f"There is {_ARTICLE[kind]} {kind} {new} already. If {old} is a slip of it, say why (--why REASON): it "
            "joins the two."
        )


_RESULTS = frozenset(("score", "answer", "value", "y", "percent", "phase", "flag", "raw_line", "position")) | frozenset(
    ("recorded_at", "source", "note")
)
"""Columns that say nothing of what a row is about."""


def _both_in(table: str, frame: pd.DataFrame, kind: str, old: str, new: str) -> str:
    """Return where rows of two names would be about the same, or a row names both; empty if nowhere."""
    rows, others = (_naming_rows(frame, kind, name) for name in (old, new))
    if not rows.any() or table in ("corrections", LISTS.get(kind)):
        return ""
    own = PLACE_COLUMNS if table == "scores" else (table in TABLES and TABLES[table].key)
    key = [column for column in own or frame if column in frame and column not in _RESULTS]
    mine, theirs = (
        [*map(tuple, each[key].astype("str").to_numpy())]
        for each in (_renamed(frame, kind, old, new).loc[rows], frame.loc[others])
    )
    shared = [each for each in dict.fromkeys(mine) if each in {*theirs}]
    both = len(shared) + int((rows & others).sum())
    where = f" ({first_few(['/'.join(filter(None, each)) for each in shared])})" if shared else ""
    return f"{counted(both, 'row')} of {table}{where}" if both else ""


def _listed_once(study: Study, table: str, kind: str, name: str) -> Study:
    """Return a study with one row for a name in its list, the rows told together; StudyError if they contradict."""
    texts = texts_of_table(study, table)
    own = texts.loc[texts[kind] == name]
    if len(own) < 2:
        return study
    differ = [column for column in texts if len({*own[column]} - {""}) > 1]
    if differ:
        raise StudyError(
            f"The rows of {table} do not say the same of {name} ({', '.join(map(str, differ))}). Correct one first."
        )
    texts.loc[own.index[0]] = [max(own[column], key=bool) for column in texts]
    return put_table(study, table, texts.drop(index=own.index[1:]).reset_index(drop=True))


def people_by_code(study: Study) -> Study:
    """Return the study with a code for everybody who has none, wherever the name stands; imported files keep theirs.

    StudyError where two names may be one person: with codes nobody would see it any more.
    """
    codes, known = new_codes(study), people_in(study)
    for person in codes:
        if twin := next((each for each in known if each != person and folded_name(each) == folded_name(person)), ""):
            raise StudyError(
                f"{person!r} and {twin!r} may be one person; with codes nobody would see it any more. Do first what "
                "the check says of them: make them one, or give one another name."
            )
    for person, code in codes.items():
        study = rename(study, "assessor", person, code)
    return study


def delete(study: Study, kind: str, name: str, why: str) -> Study:
    """Return the study without a prototype, attribute, assessor or batch, and without what was prepared for it.

    Raises
    ------
    StudyError
        If no reason is given, there is none of this name, or something was collected or put on record about it: that
        stays, and so does the name.
    """
    _refuse_unknown(study, kind, name)
    if not why.strip():
        raise StudyError(f"Write why {name} is taken out; the reason is kept in the journal.")
    counts = {table: int(_naming_rows(frame, kind, name).sum()) for table, frame in study.tables.items()}
    held = {table: rows for table, rows in counts.items() if rows and table not in _PREPARED}
    if held or _under_seal(study, kind, name):
        told = ", ".join(f"{counted(rows, 'row')} of {table}" for table, rows in held.items()) or "a sealed plan"
        raise StudyError(
            f"{name} stays: there are {told} about it. Set its scores aside with a reason, or leave it out of a choice."
        )
    after = study
    for table, rows in counts.items():
        if rows:
            header, columns = texts_of_frame(table, study.tables[table], study.unread)
            texts = pd.DataFrame(dict(zip(header, columns, strict=True)), columns=header, dtype="str")
            gone = _naming_rows(study.tables[table], kind, name).to_numpy()
            after = put_table(after, table, texts[~gone].reset_index(drop=True))
    return replace(after, facts=_facts_without(after.facts, kind, name))


_PREPARED = ("prototypes", "batches", "formulas", "attributes", "assessors", "servings")


def _names_of(study: Study, kind: str) -> list[str]:
    listing = study.table(LISTS.get(kind, "scores"))[kind]
    used = [frame[kind] for name, frame in study.tables.items() if kind in frame and name != "corrections"]
    return list(dict.fromkeys(str(name) for column in (listing, *used) for name in column.unique() if name))


def _refuse_unknown(study: Study, kind: str, name: str, kinds: Iterable[str] = LISTS) -> None:
    if kind not in kinds:
        raise StudyError(f"A {kind!r} has no name that stands in several tables; it is one of {', '.join(kinds)}.")
    names = _names_of(study, kind)
    if name not in names:
        raise StudyError(f"The study has no {kind} {name!r}; it has {', '.join(names) or 'none'}.")


def _naming_rows(frame: pd.DataFrame, kind: str, name: str) -> pd.Series:
    """Return which rows of a table name it."""
    found = pd.Series(data=False, index=frame.index)
    for column in (kind, *_ALSO[kind]):
        if column in frame:
            found |= frame[column] == name
    if kind == "prototype" and {"kind", "answer"} <= set(frame):
        found |= frame["kind"].isin(_CHOSEN_ANSWERS) & (frame["answer"] == name)
    if kind == "prototype" and "competitors" in frame:
        found |= frame["competitors"].map(lambda cell: name in [word.strip() for word in str(cell).split(";")])
    if {"key", "old", "new"} <= set(frame):
        found |= frame["key"].map(lambda cell: f"{kind}={name}" in [word.strip() for word in str(cell).split(";")])
    return found


def _under_seal(study: Study, kind: str, name: str) -> list[str]:
    """Return what names it under a seal, which a new name would break."""
    found = []
    for table, frame in study.tables.items():
        sealed = [frame[column] != "" for column in ("stamp", "seal") if column in frame]
        if sealed and (pd.concat(sealed, axis=1).any(axis=1) & _naming_rows(frame, kind, name)).any():
            found.append(table)
    servings = study.table("servings")
    sealed_plan = any(study.facts.get(fact) for fact in ("key", "locked_sessions"))
    if sealed_plan and kind in servings and (servings[kind] == name).any():
        found.append("the serving plan")
    if kind == "session" and name in {*locked_sessions(study)["session"]}:
        found.append("the record of a locked session")
    return found


def _renamed(frame: pd.DataFrame, kind: str, old: str, new: str) -> pd.DataFrame:
    rows = _naming_rows(frame, kind, old)
    if not rows.any():
        return frame
    changed = {}
    for column in (kind, *_ALSO[kind]):
        if column in frame:
            changed[column] = frame[column].where(frame[column] != old, new)
    if kind == "prototype" and {"kind", "answer"} <= set(frame):
        chosen = frame["kind"].isin(_CHOSEN_ANSWERS) & (frame["answer"] == old)
        changed["answer"] = frame["answer"].where(~chosen, new)
    for column, was, will in (("competitors", old, new), ("key", f"{kind}={old}", f"{kind}={new}")):
        if column in frame and (column == "key" or kind == "prototype"):
            changed[column] = frame[column].map(lambda cell, was=was, will=will: _word_replaced(cell, was, will))
    return frame.assign(**{column: cells.astype("str") for column, cells in changed.items()})


def _word_replaced(cell: str, old: str, new: str) -> str:
    parts = str(cell).split(";")
    return ";".join(part.replace(old, new) if part.strip() == old else part for part in parts)


def _renamed_facts(facts: Mapping[str, Any], kind: str, old: str, new: str) -> dict[str, Any]:
    columns = {kind, *_ALSO[kind]}
    changed = dict(facts)
    for name, value in facts.items():
        if name == "benchmark" and kind == "prototype":
            changed[name] = new if value == old else value
        elif _NAME_KEYED_FACTS.get(name) == kind and isinstance(value, Mapping):
            changed[name] = {new if key == old else key: held for key, held in value.items()}
        elif _NAME_LISTS.get(name) == kind and isinstance(value, list):
            changed[name] = [new if word == old else word for word in value]
        elif isinstance(value, list):
            changed[name] = [
                {key: new if key in columns and held == old else held for key, held in entry.items()}
                if isinstance(entry, Mapping)
                else entry
                for entry in value
            ]
    return changed


def _facts_without(facts: Mapping[str, Any], kind: str, name: str) -> dict[str, Any]:
    """Return the facts without those that were stated about what is gone."""
    columns = {kind, *_ALSO[kind]}
    kept = {fact: value for fact, value in facts.items() if not (fact == "benchmark" and value == name)}
    for fact, value in kept.items():
        if _NAME_KEYED_FACTS.get(fact) == kind and isinstance(value, Mapping):
            kept[fact] = {key: held for key, held in value.items() if key != name}
        elif _NAME_LISTS.get(fact) == kind and isinstance(value, list):
            kept[fact] = [word for word in value if word != name]
        elif fact == "planned_differences" and isinstance(value, list):
            kept[fact] = [
                entry
                for entry in value
                if not (isinstance(entry, Mapping) and any(entry.get(column) == name for column in columns))
            ]
    return kept


# Which row of the scores is meant, where others name the same person, prototype, attribute and sitting?

_APART = ("raw_line", "position", "recorded_at", "batch", "flag", "source")
_NUMBERED = ("raw_line", "position")


def with_row_corrected(study: Study, row: int, *, new: str, who: str, why: str, when: str) -> Study:
    """Return the study with a written correction of the score in one row, numbered as the checks do (the first is 2).

    It names the row as every correction does, and where others are alike by the line of its file or what else differs.

    Raises
    ------
    StudyError
        If there is no such row, another one is alike in everything, or as `with_correction`.
    """
    scores, at = study.scores, row - 2
    if not 0 <= at < len(scores):
        raise StudyError(f"The scores have no row {row}; their rows are 2 to {len(scores) + 1}.")
    place = {column: str(scores[column].iloc[at]) for column in PLACE_COLUMNS}
    alone = replace(study, tables={**study.tables, "scores": scores.iloc[[at]]})
    written = with_correction(alone, place, new=new, who=who, why=why, when=when).table("corrections")
    key = [f"{column}={value.strip()}" for column, value in place.items() if value]
    alike = pd.Series(data=True, index=scores.index)
    for column in (*(name for name in PLACE_COLUMNS if place[name]), *PLACE_COLUMNS, *_APART):
        cells = scores[column].astype("str")
        closer = alike & (cells == cells.iloc[at]) if pd.notna(cells.iloc[at]) else alike
        if closer.sum() < alike.sum() and not place.get(column):
            key.append(f"{column}={cells.iloc[at].removesuffix('.0') if column in _NUMBERED else cells.iloc[at]}")
        alike = closer
    if alike.sum() > 1:
        twin = next(int(each) + 2 for each in alike.to_numpy().nonzero()[0] if each != at)
        raise StudyError(
            f"Rows {row} and {twin} of the scores are alike in everything, so no correction can name one of them. Take "
            "one out of the table scores."
        )
    written.loc[written.index[-1], "key"] = "; ".join(key)
    return replace(study, tables={**study.tables, "corrections": written})


# A question that a survey brings in again under another name is the same question.


_FEWEST_ALIKE = 8  # people who answered alike before two columns of one file are the same


def with_questions_renamed(study: Study, block: pd.DataFrame, called: Mapping[str, str], *, same_file: bool) -> Study:
    """Return a study in which what a survey asks under another name than before has the new name alone.

    It is the same question where it is called or worded as its heading, or where all answered alike in the same
    file.

    Parameters
    ----------
    block
        The answers that are brought in.
    called
        The new name of each question to what its heading asks.

    Raises
    ------
    StudyError
        If a stamped claim rests on the question under its old name.
    """
    words = {new: plain_words(heading) for new, heading in called.items()}
    for new, own in block.groupby("question", sort=False):
        held = study.table("answers")
        others = [str(old) for old in held["question"].unique() if old not in called]
        same = [old for old in others if words[str(new)] in (plain_words(old), plain_words(question_words(study, old)))]
        same = same or [
            old
            for old in others
            if same_file and plain_words(old) not in words.values() and _alike(held.loc[held["question"] == old], own)
        ]
        study = _question_renamed(study, same[0], str(new), {*own["kind"]}) if len(same) == 1 else study
    return study


def _alike(held: pd.DataFrame, own: pd.DataFrame) -> bool:
    """Return whether all who answered one question answered another in the same way."""
    about = ["assessor", "prototype", "versus", "kind", "answer"]
    one, other = (set(frame[about].itertuples(index=False, name=None)) for frame in (held, own))
    return one == other and len({row[0] for row in one}) >= _FEWEST_ALIKE and len({row[-1] for row in one}) > 1


def _question_renamed(study: Study, old: str, new: str, kinds: set[str]) -> Study:
    """Return a study in which a question has another name; answers that were read as another kind are left out."""
    answers, claims = study.table("answers"), study.table("claims")
    if (claims["question"].eq(old) & claims["stamp"].ne("")).any():
        raise StudyError(f"A stamped claim rests on “{old}”. Bring the column in under this name, not as {new}.")
    read = answers["question"].ne(old) | answers["kind"].isin(kinds)
    frames = {"answers": answers.loc[read].reset_index(drop=True), **({"claims": claims} if len(claims) else {})}
    tables = {name: frame.assign(question=frame["question"].replace(old, new)) for name, frame in frames.items()}
    rows = texts_of_table(study, "questions")
    there = bool(rows["question"].eq(new).any())
    keep = rows["question"].ne(old) | (rows["kind"].isin(["", *kinds]) & (not there))
    after = replace(study, tables={**study.tables, **tables})
    if keep.all() and not rows["question"].eq(old).any():
        return after
    return put_block(after, "questions", rows.loc[keep].assign(question=rows["question"].replace(old, new)), whole=True)


def with_answers_replaced(study: Study, block: pd.DataFrame, told: pd.DataFrame) -> Study:
    """Return a study without the answers that a survey gives anew: same person, prototype, question and session.

    Raises
    ------
    StudyError
        If a statement is now answered on another scale (column `scale` of `told`) than others have answered it.
    """
    about = [name for name in ("assessor", "prototype", "versus", "question", "kind", "session") if name in block]
    held = study.table("answers")
    again = pd.MultiIndex.from_frame(held[about]).isin(pd.MultiIndex.from_frame(block[about]))
    kept = held.loc[~again].reset_index(drop=True)
    stated = texts_of_table(study, "questions")
    before = dict(zip(stated["question"], stated["scale"], strict=True)) if "scale" in stated else {}
    scales = dict.fromkeys(block.loc[block["kind"] == "agreement", "question"], "")
    scales |= dict(zip(told["question"], told["scale"], strict=True))
    for question in kept.loc[kept["kind"] == "agreement", "question"].unique():
        if question in scales and scales[question] != before.get(question, ""):
            one, other = (ends or "1-5" for ends in (before.get(question, ""), scales[question]))
            raise StudyError(
                f"“{question}” was answered on {one} before, and here on {other}. Give it another question name here "
                "(QUESTION=NAME=KIND), or take the earlier answers out."
            )
    return replace(study, tables={**study.tables, "answers": kept}) if again.any() else study


def with_session(study: Study, block: pd.DataFrame, session: str) -> Study:
    """Return a study in which the same answers, there already without a session, are of this one."""
    held, about = study.table("answers"), ["assessor", "prototype", "versus", "question", "kind", "answer"]
    same = pd.MultiIndex.from_frame(held[about]).isin(pd.MultiIndex.from_frame(block[about]))
    told = held.assign(session=held["session"].mask(same & (held["session"] == ""), session))
    return replace(study, tables={**study.tables, "answers": told}) if same.any() else study


def words_asked(study: Study, read: pd.DataFrame) -> pd.DataFrame:
    """Return the words of the questions that are called otherwise than their headings, where the study has none."""
    read = read.loc[(read["said"] != "paired") & ~read["prototype"].str.contains(AGAINST, regex=False)]
    names = re.compile("|".join(whole(name).pattern for name in {*read["prototype"]} - {""}) or r"(?!)")
    rows = read.assign(words=as_asked(list(read["column"]), names)).loc[read["kind"].isin([*TOP, "preference"])]
    stated = texts_of_table(study, "questions")
    rows = rows.loc[~rows["question"].isin(stated.loc[stated["words"] != "", "question"])]
    called = [plain_words(name) != plain_words(words) for name, words in rows[["question", "words"]].to_numpy()]
    return rows.loc[called, ["question", "kind", "words"]].drop_duplicates(["question", "kind"])
