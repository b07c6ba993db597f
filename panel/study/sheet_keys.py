"""What do codes, points and columns of a file stand for: its key, its ends in words, its study?"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import chain, pairwise

import pandas as pd

from panel.errors import StudyError
from panel.study.file_names import BAR, DESIGN, is_number, is_scored, sitting
from panel.study.knowledge import (
    heading_words,
    is_called,
    is_reckoned,
    named_columns,
    plain_words,
    said_points,
    sided,
    worded,
    wordings,
    yes_and_no,
)
from panel.study.numbers_read import says_none
from panel.study.questions import (
    asked_kind,
    asked_words,
    is_product,
    typed_question,
    without_names,
)
from panel.study.raw_table import UNNAMED, RawTable
from panel.study.study import Study, natural_order
from panel.words import as_seen, counted, first_few


@dataclass(frozen=True, eq=False, slots=True)
class Sheet:
    """One sheet as a table: names of its columns, its rows, the line each stands on, what was done.

    `above` holds what stands above codes in the headings: code and name.
    """

    name: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]
    notes: tuple[str, ...] = ()
    above: tuple[tuple[str, str], ...] = ()

    def cells(self, head: str) -> list[str]:
        """Return the cells of one column."""
        place = self.header.index(head)
        return [row[place] for row in self.rows]


def score_columns(sheet: Sheet, taken: set[str]) -> list[str]:
    """Return the columns that hold numbers and are not about the design."""
    held = named_columns(sheet.header)
    design = {held[role] for role in DESIGN if role in held} | taken
    return [
        head
        for i, head in enumerate(sheet.header)
        if head not in design
        and (BAR in head or not set(named_columns((head,))) & set(DESIGN))
        and not any(is_called(head, role) for role in ("person", "comment", "counter", "code", "conditions"))
        and not is_reckoned(head)
        and is_scored([row[i] for row in sheet.rows])
    ]


def of_means(sheet: Sheet) -> bool:
    """Return True if a sheet is one of means or totals, by its name or its first heading: it comes last."""
    return is_reckoned(sheet.name) or is_reckoned(sheet.header[0])


def ask_of_left_out(first: Sheet, left: Sequence[Sheet]) -> None:
    """Raise StudyError if a sheet is left out that has most of the scored columns, and one column without a heading."""
    scored = {head.casefold() for head in score_columns(first, set())}
    for sheet in left:
        bare = [head for head in sheet.header if UNNAMED.fullmatch(head)]
        if bare and not of_means(sheet) and 2 * len(scored & {*map(str.casefold, sheet.header)}) > len(scored):
            raise StudyError(
                f"The sheet {sheet.name!r} has no heading above {bare[0]}. Write the one of {first.name!r}."
            )


_SHARED = ("assessor", "session", "replicate")  # a code may stand for something else for each of these
_MOSTLY = 0.8
_LISTS = 0.2  # share of the cells from which a sign between words is that of a list, and not of remarks


def key_and_scores(sheets: Sequence[Sheet]) -> tuple[Sheet | None, list[Sheet]]:
    """Return the sheet that says which code is which prototype, and the others."""
    if len(sheets) == 1:
        return None, list(sheets)
    coded = [sheet for sheet in sheets if _held_codes(sheet) and score_columns(sheet, {_held_codes(sheet)})]
    codes = {code for sheet in coded for code in sheet.cells(_held_codes(sheet))} - {""}
    people = {
        name for sheet in coded if (who := named_columns(sheet.header).get("assessor")) for name in sheet.cells(who)
    }
    for sheet in (sheet if sheet in coded else _as_key(sheet, codes, people) for sheet in sheets):
        code, prototype = _code_column(sheet), _prototype_column(sheet)
        if code and prototype and not score_columns(sheet, {code, prototype}):
            return sheet, [other for other in sheets if other.name != sheet.name]
    return None, list(sheets)


def _held_codes(sheet: Sheet) -> str:
    """Return the column of codes of a sheet of scores: called so, or one of prototypes that has numbers."""
    held = _code_column(sheet) or named_columns(sheet.header).get("prototype", "")
    cells = {*sheet.cells(held)} if held else set()
    return held if any(len(cell) > 1 and is_number(cell) for cell in cells) else ""


def _as_key(sheet: Sheet, codes: set[str], people: set[str]) -> Sheet:
    """Return a sheet whose cells are the codes, below names of prototypes, people or sittings, as one of rows."""
    columns = [head for head in sheet.header if _are_codes(sheet.cells(head), codes)]
    others = [head for head in sheet.header if head not in columns]
    named = named_columns(others)
    if "prototype" in named and "assessor" not in named:
        others = [named["prototype"]]  # what else is written beside it says nothing of codes
    if columns and not others[1:] and len(columns) > 1:
        return _matrix_as_key(sheet, columns, others, people)
    if len(columns) == 1 and "prototype" in named and not _code_column(sheet):
        return replace(sheet, header=tuple("code" if head in columns else head for head in sheet.header))
    other = [head for head in others if not (set(named_columns([head])) | _roles_beside(head))]
    if len(columns) == len(others) == len(other) == 1 and len({*sheet.cells(columns[0])}) == len(sheet.rows):
        return replace(sheet, header=tuple("code" if head in columns else "prototype" for head in sheet.header))
    return sheet


ABOUT = ("person", "comment", "counter", "conditions")


def _roles_beside(head: str) -> set[str]:
    return {role for role in ABOUT if is_called(head, role)}


def _are_codes(cells: Sequence[str], codes: set[str]) -> bool:
    filled = [cell for cell in cells if cell]
    return bool(filled) and sum(cell in codes for cell in filled) >= _MOSTLY * len(filled)


def _matrix_as_key(sheet: Sheet, columns: Sequence[str], others: Sequence[str], people: set[str]) -> Sheet:
    """Return a key with a column of codes for each person, prototype or sitting as rows of these, name and code."""
    first = [""] * len(sheet.rows) if not others else sheet.cells(others[0])
    who = bool(others) and ("assessor" in named_columns(others) or {*first} <= people)
    down = "assessor" if who else "prototype"
    across = "prototype" if who else "assessor" if {*columns} <= people else sitting(columns) or "session"
    called = {head: _plain_words(head) for head in columns}
    rows = [(label, called[head], row[sheet.header.index(head)]) for label, row in zip(first, sheet.rows, strict=True)
            for head in columns]  # fmt: skip
    lines = tuple(line for line in sheet.lines for _ in columns)
    return replace(sheet, header=(down, across, "code"), rows=tuple(rows), lines=lines)


def _plain_words(head: str) -> str:
    """Return the heading of a column of codes without the word for them: `Code Tuesday` is of Tuesday."""
    words = [word for word in head.split() if not is_called(word.strip(" :()"), "code")]
    return " ".join(words).strip(" :()-") or head


def _code_column(sheet: Sheet) -> str:
    return next((head for head in sheet.header if is_called(head, "code")), "")


def _prototype_column(sheet: Sheet) -> str:
    others = [head for head in sheet.header if head != _code_column(sheet)]
    return named_columns(others).get("prototype", "")


def ask_of_codes(sheets: Sequence[Sheet], left: Sequence[Sheet], key: Sheet | None) -> None:
    """Raise StudyError if the headings call a code otherwise than the key, or codes stand on a sheet that is not read.

    `left` are the other sheets of the workbook.
    """
    says = dict(zip(key.cells(_code_column(key)), key.cells(_prototype_column(key)), strict=True)) if key else {}
    for sheet in sheets:
        wrong = [(code, name) for code, name in sheet.above if name in says.values() and says.get(code) != name]
        if key and wrong:
            told = first_few([f"{code} {says.get(code, '')}" for code, _ in wrong])
            raise StudyError(
                f"The headings of {sheet.name!r} call {first_few(list(map(' '.join, wrong)))}, and the key in "
                f"{key.name!r} {told}. Find out which is right and correct the other one."
            )
    for sheet in sheets if key is None else ():
        _ask_of_codes_elsewhere(sheet, left)


def _ask_of_codes_elsewhere(sheet: Sheet, left: Sequence[Sheet]) -> None:
    """Raise StudyError if a column of codes stands on another sheet too, which is no key."""
    named = (_code_column(sheet), named_columns(sheet.header).get("prototype", ""))
    for head in (head for head in sheet.header if head in named or UNNAMED.fullmatch(head)):
        codes = {*sheet.cells(head)} - {""}
        labels = len(codes) > 1 and all(len(code) > 1 and is_number(code) for code in codes)
        for other in left if labels else ():
            cells = {cell for row in other.rows for cell in row} | {*other.header}
            if len(codes & cells) >= _MOSTLY * len(codes):
                raise StudyError(
                    f"The codes in {head!r} stand on the sheet {other.name!r} too, and it cannot be told what it says "
                    "of them. Make it a table with a row for each code: Code, Prototype, and Assessor or Session if a "
                    "code is theirs alone."
                )


BLIND_CODE = "blind code"
"""What the column of codes is called once the key has said what they stand for."""


def resolved(sheet: Sheet, key: Sheet | None) -> tuple[Sheet, list[str]]:
    """Return a sheet with the prototype behind each code, as the key of the workbook says."""
    if key is None:
        return sheet, []
    code, prototype = _code_column(key), _prototype_column(key)
    in_key, named = named_columns(key.header), named_columns(sheet.header)
    own = named.get("prototype", "") if _code_column(sheet) != named.get("prototype", "") else ""
    of_key = {*key.cells(code)}
    held = _code_column(sheet) or own
    held = held or next((head for head in sheet.header if _are_codes(sheet.cells(head), of_key)), "")
    if not held:
        return sheet, [f"The sheet {key.name!r} looks like a key of codes, but no column here holds codes."]
    shared = _told_by(key, sheet, [role for role in _SHARED if role in in_key and role in named])
    more = [role for role in ("session", "replicate") if role in in_key and role not in named]
    known: dict[tuple[str, ...], list[str]] = {}
    for n, each in enumerate(key.cells(code)):
        place = (*(_plain(key.cells(in_key[role])[n]) for role in shared), each)
        says = [key.cells(head)[n] for head in (prototype, *(in_key[role] for role in more))]
        if known.setdefault(place, says)[0] != says[0]:
            raise StudyError(f"In the key {place[-1]} stands for two prototypes. Add the session to key and scores.")
        more = more if known[place] == says else []
    columns = [[_plain(cell) for cell in sheet.cells(named[role])] for role in shared]
    places = list(zip(*columns, sheet.cells(held), strict=True))
    strange = list(dict.fromkeys(place[-1] for place in places if place not in known and place[-1]))
    if strange:
        within = f" within its {' and '.join(shared)}, of which key and scores must say the same" if shared else ""
        raise StudyError(
            f"The key in {key.name!r} does not hold the codes {first_few(strange)}{within}. Add them, or correct them "
            "in the scores."
        )
    width = 1 + len(more)
    said = [known.get(place, [""] * width)[:width] for place in places]
    own = own if own != held else ""
    _ask_of_contradicted(sheet, own, [names[0] for names in said])
    rows = tuple((*names, *row) for names, row in zip(said, sheet.rows, strict=True))
    other = {own: "prototype written beside the code", held: BLIND_CODE}
    header = ("prototype", *more, *(other.get(head, head) for head in sheet.header))
    by = f", each within its {' and '.join(shared)}" if shared else ""
    return replace(sheet, header=header, rows=rows), [
        f"Codes were resolved by the key in {key.name!r}: {counted(len(known), 'code')}{by}."
    ]


def _told_by(key: Sheet, sheet: Sheet, roles: list[str]) -> list[str]:
    """Return the roles within which codes stand for something; none where each has one meaning and these are unlike.

    A key may be written by `Tuesday` where the scores say `Tue 3 June`.
    """
    in_key, named = named_columns(key.header), named_columns(sheet.header)
    means = {*zip(key.cells(_code_column(key)), key.cells(_prototype_column(key)), strict=True)}
    if len({code for code, _ in means}) < len(means):
        return roles
    unlike = (
        {*map(_plain, key.cells(in_key[role]))}.isdisjoint(map(_plain, sheet.cells(named[role]))) for role in roles
    )
    return [role for role, other in zip(roles, unlike, strict=True) if not other]


def _ask_of_contradicted(sheet: Sheet, own: str, said: Sequence[str]) -> None:
    """Raise StudyError if rows name another prototype beside the code than the key does."""
    cells = sheet.cells(own) if own else said
    wrong = [n for n, (cell, of) in enumerate(zip(cells, said, strict=True)) if of and cell != of and cell in {*said}]
    if wrong:
        lines = first_few([sheet.lines[n] for n in wrong])
        raise StudyError(
            f"{counted(len(wrong), 'row')} name another prototype than the key has for the code (line {lines}). Find "
            "out which is right and correct the other one."
        )


def _plain(name: str) -> str:
    """Return the number in the name of a sitting, so that `Session 1` is 1; else its words, those for a sitting out."""
    if digits := "".join(re.findall(r"\d+", name)):
        return digits
    words = heading_words(name).split()
    return " ".join(word for word in words if not any(is_called(word, role) for role in ("session", "code"))) or name


def sure_agreement(table: RawTable, read: pd.DataFrame) -> list[str]:
    """Return the questions that a file answers with 5 as full agreement in words, of its cells or of its headings."""
    known, own = wordings("agreement"), read.loc[read["kind"] == "agreement"]
    words = {head: [*table.column(head), *(said for _, said in said_points(head))] for head in own["column"]}
    sides = {head: {worded(cell, known) for cell in cells} & {*"1245"} for head, cells in words.items()}
    beside = own.get("noticed", pd.Series("", index=own.index)).str.contains("as beside it")
    told = beside | own["column"].map(sides).astype(bool)
    return list(dict.fromkeys(own.loc[told, "question"].str.strip()))


def ends_in_words(study: Study, table: RawTable, read: pd.DataFrame) -> pd.DataFrame:
    """Return the ends of just-about-right and yes-or-no questions as people read them, where the study knows none."""
    stated, rows = study.facts.get("questions"), []
    known = {row.get("question") for row in stated if isinstance(row, dict)} if isinstance(stated, list) else set()
    for (question, kind), own in read.groupby([read["question"].str.strip(), "kind"], sort=False):
        plain = {*map(plain_words, filter(str.strip, chain(*map(table.column, own["column"]))))}
        if kind == "agreement" and question not in known and (ends := yes_and_no(plain)):
            rows.append((question, kind, *ends))
        if kind != "just_about_right":
            continue
        sides = sorted((point, cell) for cell, point in sided(str(question), tuple(sorted(plain))).items() if point)
        if question not in known and sides and sides[0][0] < "3" < sides[-1][0]:
            rows.append((question, "just_about_right", sides[0][1], sides[-1][1]))
    return pd.DataFrame(rows, columns=["question", "kind", "low_end", "high_end"], dtype="str")


def refuse_several_studies(table: RawTable, used: Collection[str]) -> None:
    """Raise StudyError if a column says that the rows come from several studies: they are not one."""
    for column in (name for name in table.header if name not in used and is_called(name, "study")):
        rows = Counter(filter(None, map(as_seen, table.column(column))))
        if len(rows) > 1:
            each = first_few([f"{name} ({counted(n, 'row')})" for name, n in rows.most_common()])
            raise StudyError(
                f"{table.name}: the column {column!r} names several studies: {each}. Keep the rows of one, or put the "
                f"column {column!r} under another heading if they belong together."
            )


TERMS = 3
"""Words of a box to tick; more of them are a sentence, or somebody's own words."""


def lists_apart(table: RawTable, names: re.Pattern[str], about: str = "") -> RawTable:
    """Return a table with a column for each word of a column that lists ticked words; all is `about` one, or named."""
    asked: dict[str, list[str]] = {}
    for head in table.header:
        bare = typed_question(without_names(names, asked_words(head)))
        if (about or names.search(head)) and not is_called(bare, "comment"):
            asked.setdefault(names.sub("", head), []).append(head)
    made: dict[str, Sequence[str]] = dict(zip(table.header, table.columns, strict=True))
    notes = list(table.notes)
    for heads in asked.values():
        cells = [cell for head in heads for cell in table.column(head) if cell.strip()]
        if len({point for cell in {*cells} if (point := worded(cell, wordings("agreement"))).isdecimal()}) > 1:
            continue  # the answers to a statement, of which one may have a comma
        sign = _sign_of_lists([cell for cell in cells if not says_none(cell)], names)
        spelled = {part.casefold(): part for cell in reversed(cells) for part in reversed(_parts(cell, sign))}
        times = Counter(part.casefold() for cell in cells for part in _parts(cell, sign))
        terms = [term for term, n in times.items() if ":" not in term and (n > 1 or len(term.split()) <= TERMS)]
        again, lists = sum(n for n in times.values() if n > 1), sum(sign in cell for cell in cells)
        if lists < max(1, _LISTS * len(cells)) or again < _MOSTLY * times.total():
            continue
        if strange := [spelled[term] for term in times if term not in terms]:
            notes.append(f"Left out of what was ticked, as somebody's own words: {first_few(strange)}.")
        for head in heads:
            of = names.search(head)
            ticked = [list(map(str.casefold, _parts(cell, sign))) for cell in made.pop(head)]
            for term in terms:
                made[f"{of[0]}: {spelled[term]}" if of else _free(spelled[term], made)] = [
                    "x" if term in parts else "" for parts in ticked
                ]
    return replace(table, header=tuple(made), columns=tuple(made.values()), notes=tuple(notes))


_SIGNS = (";", "|", "\u2022", "\u00b7", ",", "+", "/", "&")  # between words that were ticked


def _sign_of_lists(cells: Sequence[str], names: re.Pattern[str]) -> str:
    """Return what stands between ticked words: the sign of most cells whose pieces are words, and no prototypes."""
    often = Counter(sign for cell in cells for sign in _SIGNS if sign in cell)
    for sign, _ in sorted(often.items(), key=lambda each: (each[0] != ";", -each[1], _SIGNS.index(each[0]))):
        parts = {part for cell in cells for part in _parts(cell, sign)}
        if sign in ";," or all(re.search(r"[^\W\d]{2}", part) and not names.fullmatch(part) for part in parts):
            return sign
    return ","


def _free(term: str, taken: Collection[str]) -> str:
    return _free(f"ticked: {term}", taken) if term in taken else term


def _parts(cell: str, sign: str) -> list[str]:
    return [part for each in cell.split(sign) if re.search(r"\w", part := as_seen(each))]


# Which names of prototypes do headings hold?


_LABEL = re.compile(r"[A-Z]|\d{1,3}")


def items_beside(header: Sequence[str], products: re.Pattern[str]) -> dict[str, str]:
    """Return heading to question where all of a product begin with the same words: `Think of P1. Is it - greasy`."""
    halves = {name: parts for name in header if products.search(name) and len(parts := name.rsplit(" - ", 1)) == 2}
    leads = {typed_question(without_names(products, lead)) for lead, _ in halves.values()}
    items = [item for _, item in halves.values() if not products.search(item)]
    if len(leads) != 1 or not leads.pop() or len(items) < len(halves) or len({*items}) == 1:
        return {}
    return {name: typed_question(asked_words(item)) for name, (_, item) in halves.items()}


_HALVES = re.compile(r"\s*(?:[:|/]|\s[-\u2013\u2014])\s+")  # between what is asked and of what


def named_in_halves(header: Sequence[str]) -> set[str]:
    """Return what stands beside a question that is asked of several: on the side where no heading words a question."""
    halves = [half for name in header if len(half := _HALVES.split(asked_words(name).strip())) == 2]
    asked = [[half[1 - side] for half in halves] for side in (0, 1)]
    side = max((0, 1), key=lambda one: sum(bool(asked_kind(words)) for words in asked[one]))
    return {half[side] for half in halves if asked[side].count(half[1 - side]) > 1}


def chosen_names(table: RawTable, kinds: Iterable[str]) -> list[str]:
    """Return what was chosen where a preference was asked, no preference left out."""
    none = wordings("preference")
    cells = chain(*(cells for cells, kind in zip(table.columns, kinds, strict=True) if kind == "preference"))
    return natural_order({seen for cell in cells if (seen := as_seen(cell)) and not worded(seen, none)})


def labelled(header: Sequence[str]) -> set[str]:
    """Return words for a prototype with a label of their own, such as `cream A`, if headings hold more than one."""
    words = {name: re.sub(r"[\[\](){}]|[?!.,:;]+(?= |$)", " ", name).split() for name in header}
    pairs = ((name, *pair) for name in header for pair in pairwise(words[name]))
    found = {
        f"{word} {label}"
        for name, word, label in pairs
        if _LABEL.fullmatch(label) and is_product(word) and f"{word} {label}" in name
    }
    return found if len(found) > 1 else set()


def product_column(table: RawTable, prototypes: Collection[str], asks: Collection[str]) -> str:
    """Return the column each cell of which is a prototype of the study, whatever its heading; empty if none surely is.

    Columns that `asks` names ask which one was chosen or tried first. Prototypes called by one or two figures could be
    answers: they count only below a heading that says so.
    """
    known = {as_seen(name).casefold() for name in prototypes if not re.fullmatch(r"\d{1,2}", name)}
    cells = {name: [*map(_folded, table.column(name))] for name in table.header if name not in asks}
    found = [name for name, given in cells.items() if given and {*given} <= known]
    return found[0] if found and all(cells[name] == cells[found[0]] for name in found) else ""


def kind_column(table: RawTable, asks: Collection[str]) -> str:
    """Return the one column of words below a word such as Balm, in which each stands several times."""
    kinds = [head for head in table.header if head not in asks and is_called(head, "product_kind")]
    rows = [Counter(map(_folded, table.column(head))) for head in kinds]
    alone = len(kinds) == 1 and not is_scored(table.column(kinds[0])) and min(rows[0].values(), default=0) > 1
    return kinds[0] if alone and "" not in rows[0] else ""


def _folded(cell: str) -> str:
    return as_seen(cell).casefold()


def as_product(table: RawTable, column: str, prototypes: Collection[str], *, called: bool) -> RawTable:
    """Return a survey whose products are spelled as the study spells them, and that said.

    It is said too that a column holds them which is not `called` so. StudyError if the study has two such spellings.
    """
    spelled: dict[str, list[str]] = {}
    for name in dict.fromkeys(prototypes):
        spelled.setdefault(_folded(name), []).append(name)
    cells = []
    for cell in map(as_seen, table.column(column)):
        meant = [cell] if cell in prototypes else spelled.get(_folded(cell), [cell])
        if len(meant) > 1:
            raise StudyError(
                f"{table.name}: {cell!r} in {column!r} may be {' or '.join(meant)}. Write it as one of them, or join "
                "them in the study first (rename)."
            )
        cells += meant
    other = dict.fromkeys(
        as_seen(old) for old, new in zip(table.column(column), cells, strict=True) if as_seen(old) != new
    )
    notes = (
        [] if called else [f"{column!r} was read as the column of the product: {first_few(natural_order({*cells}))}."]
    )
    notes += [f"Read as the study spells it, in {column!r}: {first_few(list(other))}."] if other else []
    columns = [cells if head == column else own for head, own in zip(table.header, table.columns, strict=True)]
    return replace(table, columns=tuple(map(tuple, columns)), notes=(*table.notes, *notes))


def refuse_other_products(table: RawTable, column: str, about: str, prototypes: Collection[str]) -> None:
    """Raise StudyError if a column of products names others than the one that all of it is said to be about."""
    named = {*map(as_seen, table.column(column))} - {"", about}
    if about and named and (named & {*prototypes} or len(named) > 1):
        raise StudyError(
            f"The column {column!r} names {first_few(natural_order(named))}, so not all is about {about}. "
            "Leave out product=NAME: the product is read from that column."
        )
