"""How does a study leave the house without its people, and how does one person leave a study?"""

from __future__ import annotations

import random
import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import count
from typing import Any

import numpy as np
import pandas as pd

from panel.errors import StudyError
from panel.study.facts import STATED
from panel.study.knowledge import heading_words, is_called, named_columns, numbers_one, people_asked, worded, wordings
from panel.study.questions import asked_kind, choices, headed_by_pairs, is_product, is_tried_as, ordinal, pairs_apart
from panel.study.raw_table import RawTable
from panel.study.sheet_keys import Sheet, as_product, kind_column, product_column, refuse_other_products
from panel.study.study import IMPORTED_ROW, SOURCES, RawFile, Study, natural_order
from panel.study.table_cells import with_questions, without_other_rows
from panel.study.tables import TABLES
from panel.words import as_seen, counted, first_few

_NOT_TOLD = "not told"
WITHOUT_PEOPLE, REMOVED = "without_people", "removed_people"
WHO_MAY_SEE = (
    "Allergies and skin reactions are health data: they are for the panel leader and the safety assessor only. Show "
    "this to nobody else, and give a study away without people."
)
_NAMES = ("who", "seen_by", "owner", "stamped_by")
_DROPPED = ("unblindings", "decisions")  # each row carries a name, and a seal over it
_NOT_HANDED_ON = {"people", "locked_sessions", "deviations", "import", "key", REMOVED}
_EMPTIED = {
    "assessors": {"avoid": ""},
    "reactions": {"assessor": "", "session": "", "signs": _NOT_TOLD, "action": _NOT_TOLD, "document": ""},
    "safety": {"document": "", "note": ""},
    "corrections": {"why": _NOT_TOLD},
    "claims": {"stamp": "", "stamped_at": ""},
}
_FREE = ("note", "why", "what", "action", "reason", "not_established", "document", "claim")
_KEYS = ("corrections", "key")
_PEOPLE = "assessor|panel+ist|panel member|judge|taster|tester|person|participant|subject|volunteer|consumer|respondent"
_CODED = re.compile(
    r"(?P<key>\bassessor\s*=)(?P<code>[^;]*)"
    rf"|(?P<people>\b(?:{_PEOPLE})s?\b\s*(?:(?:no|nr|number|code|is|was)\b)?[\s:#.=]*\d+\b(?!\.\d)"
    r"(?:\s*(?:,|;|&|/|\+|-|–|and|or|to)\s*\d+\b)*)"
    r"|(?P<word>[\w.@-]+)",
    re.IGNORECASE,
)
_DIGITS = re.compile(r"\d+")
_HAS_LETTER = re.compile(r"[^\W\d_]")
_GONE = "(removed)"


def without_people(study: Study, shuffled: random.Random | None = None) -> Study:
    """Return a study to give away: every person has a new code, and nothing says who somebody is or what ails them.

    Left out are allergies, what was seen on whose skin, names of those who signed, decided or corrected, imported
    files, cells that could not be read, and columns and facts that this program does not know. Analyses of scores and
    answers give what they gave before.

    Parameters
    ----------
    shuffled
        Gives the order of the new codes; one that nobody can repeat if none is given.
    """
    people = people_in(study)
    order = list(range(1, len(people) + 1))
    (shuffled or random.SystemRandom()).shuffle(order)
    width = max(2, len(str(len(people))))
    codes = {person: f"H{number:0{width}}" for person, number in zip(people, order, strict=True)}
    tables = {}
    for name, frame in study.tables.items():
        if name in TABLES and name not in _DROPPED:
            tables[name] = _nameless(name, frame, codes)
    known = {fact.name for fact in STATED} - _NOT_HANDED_ON
    facts = {name: _without_names(value, codes) for name, value in study.facts.items() if name in known}
    return Study(tables, facts | {WITHOUT_PEOPLE: True})


def people_in(study: Study) -> tuple[str, ...]:
    """Return the codes of all people in a study, in the order in which they come."""
    columns = [frame["assessor"].unique() for frame in study.tables.values() if "assessor" in frame]
    return tuple(dict.fromkeys(str(code) for column in columns for code in column if code))


_NAME = re.compile(r"(?=.*[^\W\d_]{3})[^\W\d_]+(?:[ ,.'\u2019-]+[^\W\d_]+)*\.?")
_NO_NAMES = (
    "assessor",
    "judge",
    "panelist",
    "panellist",
    "person",
    "prufer",
    "prüfer",
    "juge",
    "juez",
    "giudice",
    "user",
)
_FEWEST_NAMED = 0.5  # share of the people that must look named: one word among codes is a code


def names_of_people(study: Study) -> dict[str, str]:
    """Return who stands under a name if people of a study seem to, each with a free code instead.

    They seem to where half of them look like it, which is common practice, no source: words of three letters or more
    without a digit, not all in capitals.
    """
    people = people_in(study)
    named = [
        person
        for person in people
        if _NAME.fullmatch(person) and not person.isupper() and person.split()[0].casefold() not in _NO_NAMES
    ]
    return new_codes(study) if people and len(named) >= _FEWEST_NAMED * len(people) else {}


def new_codes(study: Study) -> dict[str, str]:
    """Return a free code for everybody in a study who has none: a letter, or a number behind nothing like a name."""
    people = people_in(study)
    named = [person for person in people if not _is_code(person)]
    free = (code for number in count(1) if (code := f"A{number:02}") not in people)
    return dict(zip(named, free, strict=False))


def _is_code(person: str) -> bool:
    words = re.fullmatch(r"([^\W\d_]*)[\W_]*\d[\w.-]*", person)
    known = words and (not words[1] or words[1].islower() or words[1].isupper() or words[1].casefold() in _NO_NAMES)
    return len(person) < _SHORTEST_NAME or bool(known or (words and is_called(words[1], "assessor")))


def left_as_codes(study: Study) -> str:
    """Return a sentence on who keeps the name in the study as a code, where others get one; empty if nobody does."""
    new = new_codes(study)
    kept = [person for person in people_in(study) if person not in new] if new else []
    return f"Left as they are, for they look like codes: {first_few(kept)}. Rename one that is a name." if kept else ""


_SHORTEST_NAME = 2  # letters


def _nameless(name: str, frame: pd.DataFrame, codes: Mapping[str, str]) -> pd.DataFrame:
    """Return a table with new codes, without names and without columns that are not known."""
    kept = frame[[column.name for column in TABLES[name].columns if column.name in frame]].copy()
    for column in kept:
        if column in _EMPTIED.get(name, {}):
            kept[column] = pd.Series(_EMPTIED[name][column], index=kept.index, dtype="str")
        elif column == "source":  # a file may be called by the name of a person
            kept[column] = kept[column].where(kept[column].isin(SOURCES), IMPORTED_ROW)
        elif column in _NAMES:
            kept[column] = kept[column].where(kept[column] == "", _NOT_TOLD)
        elif column == "assessor":
            kept[column] = kept[column].map(lambda code: codes.get(code, "")).astype("str")
        elif column in _FREE or (name, column) == _KEYS:
            kept[column] = kept[column].map(lambda text: _said(str(text), codes)).astype("str")
    return kept


def _said(text: str, codes: Mapping[str, str]) -> str:
    """Return a text in which the code of a person is another word, after `assessor=` or where it stands by itself.

    A code without letters may be any number, so it is one only after a word for people: assessor 12, judges 3 and 7.
    """

    def other(found: re.Match[str]) -> str:
        if found["key"]:
            return found["key"] + (codes.get(found["code"].strip()) or _said(found["code"], codes))
        if found["people"]:
            return _DIGITS.sub(lambda number: codes.get(number[0], number[0]), found["people"])
        return codes.get(found[0], found[0]) if _HAS_LETTER.search(found[0]) else found[0]

    return _CODED.sub(other, text)


def _without_names(value: Any, codes: Mapping[str, str], within: str = "") -> Any:
    """Return a fact with other codes, and without entries that name somebody."""
    if isinstance(value, str):
        return codes.get(value, value) if within == "assessor" else _said(value, codes)
    if isinstance(value, list):
        return [_without_names(each, codes, within) for each in value]
    if isinstance(value, dict):
        return {name: _without_names(each, codes, name) for name, each in value.items() if name not in (*_NAMES, "by")}
    return value


def without_person(
    study: Study, person: str, *, who: str, why: str, when: str
) -> tuple[Study, dict[str, int], list[str]]:
    """Return a study from which all that is known of one person is gone; the reason stays, and what it did.

    With it come the number of rows taken out of each table, and the names of the imported files taken out.

    Entries about skin reactions stay, for they are about the batch, but no longer say whose skin it was. Imported
    files that hold the code are taken out whole.

    Parameters
    ----------
    who, why, when
        Who removes it, for which reason, and when (ISO 8601); none of them is to name the person.

    Raises
    ------
    StudyError
        If `who` or `why` is missing or names the person, or the study does not know the person.
    """
    person = person.strip()
    if not who.strip() or not why.strip():
        raise StudyError("Data are removed by somebody, for a reason. Write who removes them, and why.")
    if person not in people_in(study):
        raise StudyError(f"Nobody in this study has the code {person!r}; the codes are {', '.join(people_in(study))}.")
    if _GONE in _said(f"{why} {who}", {person: _GONE}):
        raise StudyError("Write the reason without the code of the person: it is what stays.")
    tables: dict[str, pd.DataFrame] = {}
    rows: dict[str, int] = {}
    for name, frame in study.tables.items():
        tables[name], gone = _without_rows_of(name, frame, person)
        free = [column for column in _FREE if column in frame]
        told = {column: tables[name][column].map(lambda text: _said(str(text), {person: _GONE})) for column in free}
        tables[name] = tables[name].assign(**{column: texts.astype("str") for column, texts in told.items()})
        rows |= {name: gone} if gone else {}
    named = files_naming(study, (person,))
    entry = {"when": when, "who": who.strip(), "why": why.strip(), "rows": rows, "files": [f.sha256 for f in named]}
    facts = {name: _without_entries_of(value, person) for name, value in study.facts.items()}
    if isinstance(record := facts.get("import"), dict) and "remarks" in record:  # theirs stood beside their scores
        lines = {*tables["scores"]["raw_line"]} if "scores" in tables else set()
        facts["import"] = record | {"remarks": [each for each in record["remarks"] if each.get("line") in lines]}
    before = facts.get(REMOVED)
    facts[REMOVED] = [*(before if isinstance(before, list) else []), entry]
    unread = study.unread.loc[~study.unread["table"].isin(list(rows))]  # their rows have other numbers now
    kept = tuple(file for file in study.raw_files if file not in named)
    left = replace(study, tables=tables, facts=facts, unread=unread.reset_index(drop=True), raw_files=kept)
    return left, rows, [file.name for file in named]


def _without_rows_of(name: str, frame: pd.DataFrame, person: str) -> tuple[pd.DataFrame, int]:
    """Return a table without what is about a person, and how many rows that was."""
    if "assessor" in frame:
        theirs = (frame["assessor"] == person).to_numpy()
    elif name == "corrections":
        theirs = np.array([person in _values_of_key(str(key)) for key in frame["key"]], dtype=bool)
    else:
        return frame, 0
    if name == "reactions":
        gone = {"assessor": "", "session": "", "signs": _NOT_TOLD, "seen_by": "", "document": ""}
        changed = {column: frame[column].mask(theirs, words) for column, words in gone.items() if column in frame}
        return (frame.assign(**changed), int(theirs.sum())) if theirs.any() else (frame, 0)
    return (frame.loc[~theirs].reset_index(drop=True), int(theirs.sum())) if theirs.any() else (frame, 0)


def _values_of_key(key: str) -> list[str]:
    return [pair.partition("=")[2].strip() for pair in key.split(";")]


def _without_entries_of(value: Any, person: str) -> Any:
    """Return a fact without the entries of its lists that name a person by the code, and without it in its texts."""
    if isinstance(value, str):
        return _said(value, {person: _GONE})
    if isinstance(value, list):
        return [_without_entries_of(each, person) for each in value if person not in _texts(each)]
    if isinstance(value, dict):
        return {name: _without_entries_of(each, person) for name, each in value.items() if name != person}
    return value


def _texts(value: Any) -> Iterable[str]:
    if isinstance(value, dict):
        return [text for each in value.values() for text in _texts(each)]
    return [value] if isinstance(value, str) else []


def files_naming(study: Study, people: Iterable[str]) -> list[RawFile]:
    """Return the imported files that hold the name or code of one of these people, or may."""
    return [file for file in study.raw_files if any(_holds(file.content, person) for person in people)]


def _holds(content: bytes, person: str) -> bool:
    """Return True if a file holds a code as a word, or may: what is packed cannot be looked into, so it counts."""
    packed = content.startswith(b"PK")
    written = {person.encode(code, "ignore") for code in ("utf-8", "cp1252", "utf-16-le", "utf-16-be")} - {b""}
    return packed or any(re.search(rb"(?<![\w-])" + re.escape(each) + rb"(?![\w-])", content) for each in written)


def people_of_rows(study: Study, table: RawTable, columns: Sequence[str]) -> list[str]:
    """Return the code of each row of a survey; one that somebody of the panel has gets a C before it."""
    if len(columns) > 1:
        raise StudyError(f"{first_few(list(columns))} cannot all say who answered. Choose one.")
    people = (
        list(map(as_seen, table.column(columns[0]))) if columns else [f"C{n + 1:03d}" for n in range(len(table.lines))]
    )
    if "" in people or len(set(people)) < len(people):
        raise StudyError(
            f"The column {columns[0]} does not name each person once. Choose another one, or number the rows."
        )
    known = study.table("assessors")
    panel = set(known.loc[known["kind"] != "consumer", "assessor"]) | set(study.table("scores")["assessor"])
    people = [f"C{who}" for who in people] if panel & set(people) else people
    if panel & set(people):
        raise StudyError(
            f"{first_few(sorted(panel & set(people)))} scored already in the panel. Give the consumers other codes."
        )
    return people


# Who answered a survey: which column says it?


_ABOUT_ROW = ("person", "recorded_at", "session", "comment", "position")  # of the person or the moment, no name


def names_people(table: RawTable, prototype: str, pairs: Mapping[str, set[tuple[str, ...]]]) -> list[str]:
    """Return the one column called a code, else the first, that names somebody for each `prototype` of the rows.

    `pairs` is column to what stands in it beside the prototype.
    """
    several = [n for n in table.header if n != prototype and len({*map(as_seen, table.column(n))}) < len(table.lines)]
    once = [name for name in several if len(pairs[name]) == len(table.lines)]  # no count of rows
    coded = [name for name in once if is_called(name, "code") or is_called(name, "counter")]
    if coded:
        return coded if len(coded) == 1 else []
    first = [name for name in once if name == table.header[0] and not any(is_called(name, r) for r in _ABOUT_ROW)]
    cells = [cell.strip() for name in first for cell in table.column(name)]
    return first if all(cells) and not all(map(str.isdecimal, cells)) else []


def person_column(table: RawTable, free: Sequence[str]) -> str:
    """Return the column that names each person once: called so, called a number, or the first one."""
    called = [*people_asked(free), *(name for name in free if is_called(name, "counter"))]
    first = [name for name in table.header[:1] if not any(is_called(name, role) for role in _ABOUT_ROW)]
    each = [name for name in (*called, *first) if name in free and len(set(table.column(name))) == len(table.lines)]
    found = next((name for name in each if all(map(str.strip, table.column(name)))), "")
    if not found:
        _refuse_repeated(table, named_columns(table.header).get("assessor", ""))
    return found


def _refuse_repeated(table: RawTable, column: str) -> None:
    """Raise StudyError if a column names people in several rows each: numbered rows would be people who are not."""
    people = list(map(as_seen, table.column(column))) if column and not is_called(column, "given_name") else []
    if people and "" not in people and len({*people}) < len(people):
        raise StudyError(
            f"{table.name} has {len(people)} rows of {counted(len({*people}), 'person', 'people')} ({column}), and no "
            "column says what each row is about. Add a column Product, or keep one row for each person."
        )


# A survey with one row for each person, whatever a row of the file is.


_WHICH = r"(?:which|what|welche[srn]?|quel(?:le)?s?|cual|que|quale|che) "
_BEFORE_PRODUCT = re.compile(  # from memory
    r"of|the|th[eo]se|this|our|your|one|two|three|four|d[aei][esr]|des|den|diese[nr]|beiden|zwei|drei|von|ces|deux|trois|de"
    r"|l[ao]s?|dos|tres|dell[ae]|dei|due|tre"
)


def _asks_which_product(table: RawTable, heading: str, prototypes: Sequence[str]) -> bool:
    """Return True if a heading asks which product: `Which of the two creams?`, and not which words describe it.

    What is only ticked below it, 0 and 1 or x and blank, is no product, unless the study has such.
    """
    words = heading_words(heading).split()
    place = next((n for n, word in enumerate(words) if is_product(word)), 0)
    between = [word for word in words[1:place] if not _BEFORE_PRODUCT.fullmatch(word)]
    numbered = any(word in _NUMBER_WORDS or is_called(word, "code") for word in between)
    if not place or not re.match(_WHICH, " ".join(words)) or (between[1:] and not numbered):
        return False
    cells, boxes = {*map(as_seen, table.column(heading))}, wordings("check_all")
    ticked = all(worded(cell, boxes) or words[-1] == heading_words(cell) for cell in cells - {""})
    return not ticked or cells <= {*prototypes}


def _with_choices_spelled(table: RawTable, prototypes: Sequence[str]) -> tuple[RawTable, list[str]]:
    """Return a table with what was chosen or tried spelled as the study spells it, and where one was chosen."""
    chosen, _, named_in = choices(table, prototypes)
    for name in named_in:
        table = as_product(table, name, prototypes, called=True)
    return table, chosen


def one_row_each(
    table: RawTable, person: str, prototypes: Sequence[str], about: str
) -> tuple[RawTable, str, list[str]]:
    """Return a survey with one row per person, the column of the person, and the prototypes if a column named them."""
    table = headed_by_pairs(without_other_rows(with_questions(table)), prototypes)
    if apart := pairs_apart(table, person, prototypes):
        return *apart, []
    table, chosen = _with_choices_spelled(table, prototypes)
    named = named_columns(table.header)
    words = {name: heading_words(name) for name in table.header}
    asks = [name for name in words if asked_kind(name) or is_tried_as(name) or name in chosen]
    which = [name for name in words if name not in asks and _asks_which_product(table, name, prototypes)]
    asks += [name for name in words if name.strip().endswith("?")]
    own = product_column(table, prototypes, asks)
    prototype = own or named.get("prototype") or next(iter(which), "") or kind_column(table, asks)
    if not prototype or len(set(table.column(prototype))) >= len(table.lines):
        return table, person, []
    table = as_product(table, prototype, prototypes, called=prototype == named.get("prototype") or prototype in which)
    refuse_other_products(table, prototype, about, prototypes)
    cells = {name: list(map(as_seen, table.column(name))) for name in table.header}
    when = [named["session"]] if named.get("session") and len(set(cells[named["session"]])) > 1 else []
    pairs = {name: set(zip(*(cells[each] for each in (name, prototype, *when)), strict=True)) for name in words}
    who = named.get("assessor", "") if named.get("assessor") != prototype else ""
    who = who or next(iter(people_asked([n for n in words if n not in (*which, prototype)])), "")
    person = person or who or next(iter(names_people(table, prototype, pairs)), "")
    if not person and len({*cells[prototype]}) == 1:
        person = person_column(table, [name for name in words if name != prototype])
    if not person:
        say = "Say which column holds the person; by command: --assessor COLUMN."
        raise StudyError(f"{table.name} has a row for each {prototype.rstrip(' ?')!r}. {say}")
    spelled: dict[str, str] = {}  # one person may be typed with other capitals
    cells[person] = [spelled.setdefault(cell.casefold(), cell) for cell in cells[person]]
    answer, question = named.get("score", ""), named.get("attribute", "")
    of_row = [prototype, question] if answer and question else [prototype]  # a row may be one answer
    twice = len(set(zip(cells[person], *(cells[each] for each in of_row), strict=True))) < len(table.lines)
    of_row += when if twice else []
    place = _places(table, list(zip(*(cells[name] for name in (person, *of_row)), strict=True)))
    first = {key[0]: row for key, row in reversed(place.items())}
    people = sorted(first, key=first.__getitem__)
    columns: dict[str, Sequence[str]] = {person: people}
    rest = [name for name in table.header if name not in (person, *of_row)]
    for name in [answer] if answer and question else rest:
        for of in dict.fromkeys(key[1:] for key in place):
            rows = [place.get((who, *of)) for who in people]
            head = ": ".join(of if name == answer else (*of, name))
            columns[head] = ["" if row is None else cells[name][row] for row in rows]
    lines = [table.lines[first[who]] for who in people]
    made = RawTable(table.name, tuple(columns), tuple(columns.values()), lines, table.notes)
    return made, person, natural_order(dict.fromkeys(cells[prototype]))


def _places(table: RawTable, keys: Sequence[tuple[str, ...]]) -> dict[tuple[str, ...], int]:
    """Return the row of each person and prototype, both named and there once."""
    place: dict[tuple[str, ...], int] = {}
    for row, key in enumerate(keys):
        if "" in key or key in place:
            what = "is a second one of {} for {}" if key in place else "does not say whose it is, or of what"
            say = "Correct it, or make a file of each session."
            raise StudyError(f"Line {table.lines[row]} of {table.name} {what.format(*key)}. {say}")
        place[key] = row
    return place


# Who scored, and what each person tried first, where no heading says it.


def fill_last_name(table: RawTable, known: dict[str, str], texts: list[str]) -> None:
    """If only the assessor or only the prototype is missing and one column of repeated texts is left, take it."""
    missing = [role for role in ("assessor", "prototype") if role not in known]
    repeated = []
    for column in (column for column in texts if column not in known.values()):
        cells = [*map(as_seen, table.column(column))]
        remarks = 2 * cells.count("") > len(cells)
        if 1 < len({*cells}) <= len(cells) / 2 and not remarks:
            repeated.append(column)
    if len(missing) == 1 and len(repeated) == 1:
        known[missing[0]] = repeated[0]


def number_of_people(table: RawTable, known: dict[str, str]) -> None:
    """If nobody is named and one column counts, each number for several rows of other prototypes, it counts people."""
    if "assessor" in known or "prototype" not in known:
        return
    design = [
        [*map(as_seen, table.column(known[role]))]
        for role in ("prototype", "session", "replicate", "attribute")
        if role in known
    ]
    for column in table.header:
        ids = [*map(as_seen, table.column(column))]
        keys = set(zip(ids, *design, strict=True))
        if is_called(column, "person_id") and column not in known.values() and 1 < len({*ids}) < len(ids) == len(keys):
            known["assessor"] = column
            return


def who_judged(table: RawTable, known: dict[str, str], fixed: Collection[str]) -> None:
    """Let the assessor, unless `fixed`, be the column of who judged, not of who typed the rows, of several called so.

    That one names the same person on every line, or a few who would have tried each prototype again and again, and
    beside it stands one of more people, each of whom tried several prototypes.
    """
    own = [role for role in ("prototype", "session", "replicate", "attribute", "moment") if role in known]
    if not {"assessor", "prototype"} <= {*known} or "assessor" in fixed:
        return
    rows = pd.DataFrame({role: [*map(as_seen, table.column(known[role]))] for role in own})
    called = table.column(known["assessor"])
    times, alone = _times_tried(rows, called), len({*map(as_seen, called)} - {""}) == 1
    for other in table.header:
        if other in known.values() or not is_called(other, "assessor"):
            continue
        people = rows.assign(who=_down(table.column(other))).groupby("who")["prototype"].nunique()
        again = _times_tried(rows, table.column(other))
        parts = again < times if alone else _TOO_OFTEN * again <= times
        if parts and "" not in people and (people > 1).mean() >= _OFTEN:
            known["assessor"] = other
            return


_TOO_OFTEN = 5  # times: sittings that nothing tells apart are fewer


def _times_tried(rows: pd.DataFrame, who: Iterable[str]) -> float:
    """Return how many rows there are for each person and what was tried."""
    return len(rows) / len(rows.assign(who=_down(who)).drop_duplicates())


def _down(cells: Iterable[str]) -> pd.Series:
    """Return names of which a blank is the one above."""
    seen = pd.Series([*map(as_seen, cells)], dtype="str")
    return seen.where(seen != "").ffill().fillna("")


def note_on_people(table: RawTable, assessor: str) -> Iterator[str]:
    """Return which column called so was not read as who judged, and that one person gave all of several rows."""
    people, called = {*map(as_seen, table.column(assessor))}, named_columns(table.header).get("assessor", assessor)
    if called != assessor and len(own := {*map(as_seen, table.column(called))} - {""}) < len(people):
        yield (
            f"{assessor!r} was read as who judged, and not {called!r} ({first_few(natural_order(own))}). To say it "
            "otherwise: --assessor."
        )
    if len(people) == 1 < len(table.lines):
        yield f"All rows were read as those of one person, {people.pop()} ({assessor!r}). --assessor names another one."


def served_place(table: RawTable, held: Mapping[str, str]) -> dict[str, str]:
    """Return the column that numbers what each person tried in a sitting, 1 to the last, each once, as the position.

    Its heading says that it numbers something. Not where it is one number for each prototype, or there is a position.
    """
    own = [role for role in ("assessor", "session", "replicate", "attribute", "moment") if role in held]
    if "position" in held or not {"assessor", "prototype"} <= {*held}:
        return {}
    rows = pd.DataFrame({role: [*map(as_seen, table.column(held[role]))] for role in [*own, "prototype"]})
    for name in (name for name in table.header if name not in held.values()):
        if not numbers_one(name) and not {*heading_words(name).split()} & _NUMBER_WORDS:
            continue
        rows["number"] = [*map(as_seen, table.column(name))]
        each = rows.groupby(own)["number"].agg(list)
        whole = each.map(lambda numbers: {*numbers} == {str(n + 1) for n in range(len(numbers))} and len(numbers) > 1)
        most = np.average(whole, weights=each.map(len)) >= _OFTEN
        if most and rows.groupby("prototype")["number"].nunique().max() > 1:
            return {"position": name}
    return {}


_NUMBER_WORDS = frozenset(("no", "nr", "num", "number", "nummer", "numero", "turn", "tour", "turno", "turnus", "giro"))
_OFTEN = 0.8  # share of the rows of people whose numbers run from 1 to the last


# A sheet beside the scores with the order of each person: a column for the first, one for the second.


def with_order_beside(table: Sheet, others: list[Sheet]) -> tuple[Sheet, list[str], list[Sheet]]:
    """Return a sheet of scores with the place of each sample where another sheet has it, that said, and the rest.

    It has a row for each person, of each session if there are several, and below `1st`, `2nd` what was tried then.
    """
    held = named_columns(table.header)
    if "position" in held or not {"assessor", "prototype"} <= {*held}:
        return table, [], others
    products = {*table.cells(held["prototype"])} - {""}
    for sheet in others:
        places = {place: head for head in sheet.header if (place := _place_called(head))}
        own = named_columns([head for head in sheet.header if head not in places.values()])
        shared = [role for role in ("assessor", "session", "replicate") if role in held and role in own]
        apart = [role for role in ("session", "replicate") if role in held and len({*table.cells(held[role])}) > 1]
        tried = {cell for head in places.values() for cell in sheet.cells(head)} - {""}
        if not tried or not tried <= products or [*places] != [n + 1 for n in range(len(places))]:
            continue
        keys = list(zip(*(sheet.cells(own[role]) for role in shared), strict=True))
        if not {"assessor", *apart} <= {*shared} or len({*keys}) < len(keys):
            lacks = first_few(["assessor", *apart])
            return (
                table,
                [f"The sheet {sheet.name!r} was not read as the order: it needs a row for each {lacks}."],
                others,
            )
        order = {(*key, of): n for n, head in places.items() for key, of in zip(keys, sheet.cells(head), strict=True)}
        asked = zip(*(table.cells(held[role]) for role in (*shared, "prototype")), strict=True)
        position = [str(order.get(each, "")) for each in asked]
        rows = tuple((*row, place) for row, place in zip(table.rows, position, strict=True))
        note = f"The order was read from the sheet {sheet.name!r}, for {sum(map(bool, position))} of {len(rows)} rows."
        return (
            replace(table, header=(*table.header, "position"), rows=rows),
            [note],
            [each for each in others if each is not sheet],
        )
    return table, [], others


def _place_called(heading: str) -> int:
    """Return which place a heading is for, 1 of `1st`, `First`, `Sample 1`; 0 for none."""
    found = re.fullmatch(
        r"(?:[^\W\d]+\.?[ _]?)?(\d{1,2})(?:st|nd|rd|th|\.|er?|re|\u00e8me|[\u00aa\u00ba])?(?: [^\W\d]+)?", heading, re.I
    )
    return int(found[1]) if found else ordinal(heading)
