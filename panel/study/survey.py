"""A survey export: which column asks what about which prototype, what its cells answer, and the answers in a study."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from itertools import chain

import pandas as pd

from panel.errors import StudyError
from panel.study.codebooks import (
    Legend,
    ends_as_legend,
    legend_for,
    legend_of,
    lines_as_legend,
    refuse_two_directions,
    with_legend,
)
from panel.study.editing import put_block
from panel.study.file_names import BAR, cards_as_table, sitting
from panel.study.knowledge import (
    FIVE,
    agreement_answers,
    as_answered,
    heading_words,
    known_answers,
    plain_words,
    said_points,
    stated_scale,
    worded,
    wordings,
    yes_and_no,
)
from panel.study.numbers_read import read_numbers
from panel.study.people import one_row_each, people_of_rows, person_column
from panel.study.questions import (
    AGAINST,
    ASKED_KINDS,
    END,
    TOP,
    TRIED,
    asked_kind,
    asked_words,
    choices,
    ends_called,
    is_against,
    is_order,
    is_ranks,
    is_statement,
    is_tried_as,
    is_turned,
    order_asked,
    orders_named,
    pairs_headed,
    stated_steps,
    top_of_scale,
    typed_question,
    whole,
    with_whole_points,
    without_leads,
    without_names,
)
from panel.study.raw_table import NOT_READ, RawTable, filled_rows, is_workbook, raw_table, rows_of_file, table_of_rows
from panel.study.renaming import with_answers_replaced, with_questions_renamed, with_session, words_asked
from panel.study.score_sheets import sheet_of
from panel.study.scores_used import question_words
from panel.study.sheet_keys import (
    TERMS,
    chosen_names,
    ends_in_words,
    items_beside,
    labelled,
    lists_apart,
    named_in_halves,
    sure_agreement,
)
from panel.study.study import RawFile, Study, natural_order
from panel.study.table_cells import filled_in_order, with_questions, without_titles
from panel.words import as_seen, counted, first_few

_CODE = re.compile(  # no number of something, such as 24 h
    r"(?<!\w)[A-Za-z]{0,3}\d{1,4}(?!\w)(?![\s-]?(?:%|(?:h|hrs?|hours?|min|minutes?|s|seconds?|days?|weeks?|times|years?|g|mg|"
    r"ml|mm|cm|std|stunden?|minuten?|tagen?|wochen?|heures?|jours?|horas?|ore|giorni)\b))",
    re.IGNORECASE,
)
KINDS = (*ASKED_KINDS, "paired", "check_all", "position", "person")
NO_PRODUCT = "names no prototype"
_TO_FIVE = "not read: numbers from 1 to 5; say what they are"
_COLUMNS = ("column", "prototype", "question", "kind", "noticed")
_MOSTLY = 0.8  # share of the filled cells that must be known answers; the rest is told


def survey_table(file: RawFile, sheet: str = "") -> RawTable:
    """Return the table of a survey: small ones below each other, names once, headings of two rows, a codebook read."""
    laid_out, told = rows_of_file(file)
    if sheet and laid_out and sheet not in dict(laid_out):
        laid_out, told = rows_of_file(file, sheet)  # says which there are
    legends: list[Legend] = []
    data: list[tuple[str, list[list[str]]]] = []
    for name, rows in sorted(laid_out, key=lambda each: each[0] != sheet):
        legend = None
        with suppress(StudyError):
            made = sheet_of(name, list(filled_rows(rows).items()))
            legend = legend_of(made) if made else None
        legend = None if sheet == name else legend or lines_as_legend(name, rows)
        legends += [legend] if legend else []
        data += [] if legend else [(name, rows)]
    if not data:
        return raw_table(file, sheet)
    (name, rows), *_ = data
    lines, notes = cards_as_table(rows)
    made = None
    with suppress(StudyError):
        made = sheet_of(name, lines or list(filled_rows(rows).items()))
    if made and (lines or any(BAR in head for head in made.header)):
        columns = tuple(zip(*made.rows, strict=True))
        table = RawTable(file.name, made.header, columns, made.lines, (*notes, *made.notes, *told))
    else:
        table = _below_titles(file, rows) or without_titles(raw_table(file, name))
        body, filled = filled_in_order(table.header, list(zip(*table.columns, strict=True)))
        if filled:
            table = replace(table, columns=tuple(zip(*body, strict=True)), notes=(*table.notes, *filled))
    short = table.header
    table = with_questions(table) if legends else table
    legends = [legend_for(legend, short, table.header) for legend in legends]
    alone = [cell for row in rows if sum(map(bool, row)) == 1 for cell in row]
    heads = [*table.header, *chain(*(legend.asked.values() for legend in legends))]
    legends += filter(None, (ends_as_legend(*other, heads) for other in data[1:]))
    refuse_two_directions(legends, [*table.header, *alone])
    table = replace(table, notes=tuple(note for note in table.notes if not note.startswith(NOT_READ)))
    for legend in filter(None, [*legends, ends_as_legend("", [[line] for line in alone], heads)]):
        table = with_legend(table, legend)
    left = [each for each, _ in laid_out if each != name and f"{each!r}" not in " ".join(table.notes)]
    says = {name: point for name, rows in laid_out if name in left and (point := _first_point(rows))}
    named = ", ".join(f"{each} ({says[each]!r} stands there)" if each in says else each for each in left)
    return replace(table, notes=(*table.notes, f"{NOT_READ}: {named}.")) if left else table


def _first_point(rows: Sequence[Sequence[str]]) -> str:
    return next((as_seen(cell) for row in rows for cell in row if said_points(cell)), "")


def _below_titles(file: RawFile, rows: Sequence[list[str]]) -> RawTable | None:
    """Return the table of a text below lines that fill at most half of its columns; None where none stands above."""
    filled = [sum(map(bool, map(str.strip, row))) for row in rows]
    place = next(n for n, cells in enumerate(filled) if 2 * cells > max(filled))
    title = [as_seen(" ".join(filter(None, row))) for row in rows[:place] if any(row)]
    if is_workbook(file) or not title:
        return None
    note = f"Above the headings in line {place + 1} stands: {first_few(title).rstrip('.')}."
    return table_of_rows([[]] * place + [list(row) for row in rows[place:]], file.name, [note])


def read_survey(
    table: RawTable, person: str = "", prototypes: Sequence[str] = (), about: str = ""
) -> tuple[RawTable, pd.DataFrame]:
    """Return a survey with one row per person, and what each of its columns seems to ask, to be confirmed.

    Parameters
    ----------
    person
        Column with the code of the person, where it is known.
    prototypes
        Names of the study that the answers are for.
    about
        The one prototype that all of it is about, where no column or heading names any.

    Returns
    -------
    tuple
        The table; where a column named the prototypes, its columns are now `P1: liking` and so on, and a list of
        ticked words has a column for each word. And a row for each column: `column prototype question kind noticed`.
        The prototype is one named by a column, else of the study, else a short code such as P1 or 417 that several
        headings hold, else the half of a heading that stands beside a question asked more than once, as in
        `Light cream - Liking`, else a word for it with a label (`cream A`), else what was chosen where one of two
        was to be; `kind` is empty where the column seems to ask nothing.

    Raises
    ------
    StudyError
        If a row does not say whose it is or of what, or a person has two rows for a prototype.
    """
    table, person, named = one_row_each(with_whole_points(table), person, prototypes, about)
    about = "" if named else about
    _, tried, _ = choices(table, prototypes)
    header = [name for name in table.header if name not in tried]
    bare = without_leads([asked_words(name) for name in header])
    codes = [code for words in bare for code in _CODE.findall(words)]
    several = {code for code in codes if codes.count(code) > 1}
    own = [name for name in prototypes if any(whole(name).search(head) for head in table.header)]
    apart = named_in_halves(bare)
    by_label = labelled(header)
    each = by_label if len(by_label) == len(several) or not several else set()
    groups = {name.split(BAR)[0] for name in table.header if BAR in name}
    grouped = groups if len(groups) > 1 and not sitting(sorted(groups)) else set()
    known = [] if about else sorted(named or own or grouped or each or several or apart or codes, key=len, reverse=True)
    pairs = pairs_headed(table.header).values()
    words = re.compile("|".join(whole(name).pattern for name in [*pairs, *known]) or r"(?!)")
    table = lists_apart(table, words, about)
    asks = _asks(table.header, words)
    asked = [(name, found[0] if (found := words.search(name)) else about, asks[name]) for name in table.header]
    together: dict[str, list[str]] = {}
    for name, of, question in asked:
        together.setdefault(question if of else f"{name} alone", []).append(name)
    headed = natural_order(chain(*(of.split(AGAINST) for _, of, _ in asked if of)))
    chosen, tried, _ = choices(table, prototypes or headed)
    wanted = {*chosen, *tried, *(name for name in table.header if asked_kind(name) == "preference")}
    products = headed or chosen_names(table, ["preference" if name in wanted else "" for name in table.header])
    told: dict[str, tuple[str, str]] = {}
    beside = _words_beside(table)
    for names in together.values():
        question, columns = asks[names[0]], [table.column(name) for name in names]
        kind, noticed = _kind(names[0], question, list(chain(*columns)), products, beside, chosen=names[0] in chosen)
        order = ("position", "place in the serving order") if is_order(question, columns) else ()
        kind, noticed = order or (kind, order_asked(noticed, question, columns))
        if kind != "preference" and not any(of for name, of, _ in asked if name in names):
            kind, noticed = "", f"not read: {NO_PRODUCT}" if kind else noticed * (names[0] in wanted or noticed == _ONE)
        told |= dict.fromkeys(names, _of_pair(names[0], kind, noticed))
    told |= _as_beside(told)
    told |= _yes_as_beside(table, told, asks)
    rows = [(*row, *told[row[0]]) for row in asked]
    table, orders, made = orders_named(table, products, [head for head in told if not is_ranks(head)])
    rows = [(*row[:4], "says when it was tried") if row[0] in orders else row for row in rows]
    rows += [(name, of, "tried", "position", "place in the serving order") for name, of in made.items()]
    person = person or person_column(table, [row[0] for row in rows if not row[3]])
    rows = [(*row[:3], "person", "says who answered") if row[0] == person else row for row in rows]
    frame = pd.DataFrame(rows, columns=list(_COLUMNS), dtype="str")
    return replace(table, notes=(*table.notes, *_said_nothing(table, frame, person))), frame


def _of_pair(heading: str, kind: str, noticed: str) -> tuple[str, str]:
    """Return what a column of one of several pairs is read as: a choice, or the one tried first."""
    if pairs_headed([heading]) and heading.endswith(f": {TRIED}"):
        return "position", "place in the serving order"
    return ("", _OF_TWO) if pairs_headed([heading]) and kind not in ("", "preference") else (kind, noticed)


def _asks(header: Sequence[str], names: re.Pattern[str]) -> dict[str, str]:
    """Return what each heading asks, without the prototypes in it and what stands before all questions of a form."""
    bare = [without_names(names, words).strip() for words in without_leads([asked_words(name) for name in header])]
    asks = dict(zip(header, map(typed_question, without_leads(bare)), strict=True))
    asks |= items_beside(header, names)
    spelled = {_bare_question(question): question for question in reversed(asks.values())}  # other signs, or none
    return {name: spelled[_bare_question(question)] for name, question in asks.items()}


def _as_beside(told: Mapping[str, tuple[str, str]]) -> dict[str, tuple[str, str]]:
    """Return statements with numbers as agreement where those beside them are in words, or say what 1 stands for."""
    agreed = [(head, noticed) for head, (kind, noticed) in told.items() if kind == "agreement"]
    strong = any(re.search(r"\D [15](?:,|;| and|$)", noticed) or END.search(head) for head, noticed in agreed)
    if not strong or any("turned" in noticed for _, noticed in agreed):
        return {}
    read = "agreement", "1 is strongly disagree and 5 strongly agree, as beside it"
    return {head: read for head, (_, noticed) in told.items() if noticed == _TO_FIVE}


def _yes_as_beside(
    table: RawTable, told: Mapping[str, tuple[str, str]], asks: Mapping[str, str]
) -> dict[str, tuple[str, str]]:
    """Return sentences answered by yes or no as agreement where the same answers beside them are; words are boxes."""
    plain = {head: {*map(plain_words, filter(str.strip, table.column(head)))} for head in told if told[head][0]}
    said = {head: told[head][0] for head, words in plain.items() if yes_and_no(words)}
    boxes = [head for head, kind in said.items() if kind == "check_all" and len(asks[head].split()) > TERMS]
    return dict.fromkeys(boxes if "agreement" in said.values() else [], ("agreement", _YES))


_YES = "words became points of 1 to 5: no 2 and yes 4, as beside it"


def _said_nothing(table: RawTable, asked: pd.DataFrame, person: str) -> Iterator[str]:
    """Return who answered nothing about a prototype of which boxes were ticked: that is not having ticked nothing."""
    people = list(map(as_seen, table.column(person))) if person else [f"line {line}" for line in table.lines]
    for of, rows in asked.loc[(asked["prototype"] != "") & (asked["kind"] != "position")].groupby("prototype"):
        cells = zip(*(table.column(name) for name in rows["column"]), strict=True)
        silent = [who for who, answers in zip(people, cells, strict=True) if not any(map(str.strip, answers))]
        if silent and (rows["kind"] == "check_all").any():
            yield f"Nothing is answered about {of} by {first_few(silent)}; nothing ticked is not counted there."


def _filled(cells: Sequence[str], kind: str = "preference") -> list[bool]:
    """Return which cells answer something; `none of them` does, or `don't know`, `n/a` does not."""
    missing, known = read_numbers([as_seen(cell) for cell in cells]).missing, wordings(kind)
    return [bool(worded(cell, known) or not none) for cell, none in zip(cells, missing, strict=True)]


def _words_beside(table: RawTable) -> list[frozenset[str]]:
    """Return the different answers of each column, in plain words."""
    cells = [set(map(as_seen, column)) for column in table.columns]
    return [frozenset(map(plain_words, each)) for each in cells if len(each) <= _MOST_ANSWERS]


def _known(
    kind: str, heads: Sequence[str], question: str, cells: Iterable[str], beside: Iterable[frozenset[str]]
) -> tuple[Mapping[str, str], tuple[int, int]]:
    """Return what the cells of columns of one question answer by their words, and the ends of the scale."""
    filled = [cell for cell in dict.fromkeys(cells) if cell.strip() and _filled([cell])[0]]
    if kind != "agreement":
        top = top_of_scale(heads[0], kind)
        return known_answers(kind, question, [*filled, *chain(*map(ends_called, heads))]), (1, top)
    found, ends = agreement_answers(filled, beside, stated_steps(heads[0]))
    usual = wordings(kind) if ends == FIVE else {w: at for w, at in wordings(kind).items() if not at.isdecimal()}
    return {**usual, **found}, ends


_MOST_ANSWERS = 20  # of a scale, with slips of it; more are names or texts


def _answer(cell: str, kind: str, heading: str, known: Mapping[str, str], ends: tuple[int, int] = FIVE) -> str:
    """Return an answer as the study keeps it; as it was typed where it is not known."""
    if words := worded(cell, known):
        return words
    if kind == "check_all" and len(plain := plain_words(cell)) > 1 and heading_words(heading).endswith(plain):
        return "1"  # a ticked box may say its own words
    typed, top = cell.strip(), top_of_scale(heading, kind)
    if typed not in map(str, range(1, top + 1)) or (kind == "agreement" and ends != FIVE):
        return typed
    point = top + 1 - int(typed) if is_turned(heading, kind, known) else int(typed)
    side = 2 * point - top - 1  # of more or fewer points than five the sides are kept
    end = 2 if point in (1, top) and top > 3 else 1
    return str(point) if top == TOP[kind] else str(3 + end * ((side > 0) - (side < 0)))


# Which kind of question a column is: from its answers where these are words, else from its heading.


def _kind(
    heading: str,
    question: str,
    cells: Sequence[str],
    prototypes: Sequence[str],
    beside: Sequence[frozenset[str]],
    *,
    chosen: bool,
) -> tuple[str, str]:
    """Return the kind of a question, empty if none is sure, and what to know about how it is read."""
    given = Counter(as_seen(cell) for cell, filled in zip(cells, _filled(cells), strict=True) if filled)
    called = asked_kind(heading)
    if not given:
        return "", "empty"
    names_one = all(cell in prototypes or worded(cell, wordings("preference")) for cell in given)
    if names_one and (chosen or called == "preference") and not is_against(heading):
        return ("preference", "") if len(prototypes) == 2 or pairs_headed([heading]) else ("", f"not read: {_AMONG}")
    if names_one and not is_tried_as(heading) and not any(re.fullmatch(r"\d{1,2}", cell) for cell in given):
        return "", _ONE
    if is_ranks(heading):
        return "", "not read: ranks; ask which of two is preferred"
    boxes = wordings("check_all")
    asks, states = heading.strip().endswith("?"), is_statement(question)
    ticks = {cell: _answer(cell, "check_all", heading, boxes) for cell in given}
    for kind in sorted(TOP, key=lambda each: each != called):
        if kind == "agreement" and not (asks or states) and {*ticks.values()} <= {"0", "1"}:
            continue  # yes and no of a box; of a statement they agree or disagree
        known, (low, high) = _known(kind, [heading], question, [*given], beside)
        points = [*map(str, range(low, high + 1))]
        in_words = [cell for cell in given if worded(cell, known)]
        strange = [cell for cell in given if cell not in in_words and cell not in points]
        if untold := [cell for cell in strange if known.get(plain_words(cell)) == ""]:
            which = " or ".join(map(repr, untold[:2]))
            return "", f"not read: is {which} too much? Name the question after that (oiliness) and choose its kind"
        numbers = [int(cell) for cell in given if cell.isdecimal() and int(cell) < _NONE * high]
        beyond = sum(given[cell] for cell in strange if cell.isdecimal() and int(cell) in numbers)
        if kind == called and beyond > 1:  # one may be a slip
            return "", _other_scale(kind, *(stated_scale(heading)[1] or (min(numbers), max(numbers))))
        enough = sum(given[cell] for cell in strange) <= (1 - _MOSTLY) * given.total()
        if enough and (in_words or kind == called):
            return _scale(heading, kind, (known, (low, high)), given, strange)
    if {*ticks.values()} <= {"0", "1"} and called not in ("liking", "just_about_right"):
        said = [f"{cell!r} is {'' if tick == '1' else 'not '}ticked" for cell, tick in ticks.items()]
        blank = "no answer" if "0" in ticks.values() else "not, of who told anything else of it"
        return "check_all", first_few([*said, f"a blank is {blank}"])
    if called in TOP:
        return "", f"not read as {called.replace('_', ' ')}: {first_few([repr(cell) for cell in given])}"
    if not all(cell.isdecimal() for cell in given):
        return "", "not read: texts"
    to_five = states and not asks and {*map(int, given)} <= {*range(1, 6)}
    return "", _TO_FIVE if to_five else "not read: numbers; say what they are"


_NONE = 5  # times the highest point, from which a number says that there is no answer, as 99 does; it is not understood
_ONE, _AMONG = "not read: names one of them; say preference if that is asked, or paired", "more than two to choose from"
_OF_TWO = "not read: is about two; only which one is chosen is read"
_FULL, _UNLESS = "5 read as full agreement", ", if the ends in the table of questions do not say otherwise"


def _other_scale(kind: str, low: int, high: int) -> str:
    if kind == "agreement":
        ends = f"{min(low, 1)}-{high}"
        return f"not read: numbers from {low} to {high}; write the scale behind it, ({ends}), or say agreement {ends}"
    return f"not read: from {low} to {high}; {kind.replace('_', ' ')} is read from 1 to {TOP[kind]}"


def _scale(
    heading: str,
    kind: str,
    read: tuple[Mapping[str, str], tuple[int, int]],
    given: Mapping[str, int],
    strange: Sequence[str],
) -> tuple[str, str]:
    """Return the kind of a question on a scale, unless its heading or its words say that it is on another one."""
    (known, ends), jar = read, kind == "just_about_right"
    top, stated, own = ends[1], stated_scale(heading)[1], kind == "agreement" and ends != FIVE
    if not own and (stated or (1, top)) not in ((1, top), (top, 1)):
        return "", _other_scale(kind, *(stated or ()))
    if jar and not stated and {*given} in ({"1", "3"}, {"1", "2", "3"}):
        return "", "not read: from 1 to 3 or 1 to 5? Write the scale behind the question, such as (1-3)"
    points: dict[str, set[str]] = {}
    for cell in given:
        if (point := worded(cell, known)) and not cell.isdecimal():
            points.setdefault(point, set()).add(as_answered(cell))
    for point, words in points.items():
        if len(words) > 1 and point.isdecimal() and int(point) != (ends[0] + top) / 2 and not jar:
            return "", f"not read: {first_few(sorted(words))} would be one answer of {top}"
    each = [f"{word} {point}" for point, words in sorted(points.items()) for word in sorted(words)]
    to = ends if own else (1, TOP[kind])
    told = [f"words became points of {to[0]} to {to[1]}: {first_few(each, 7)}"] if each else []
    told += [f"numbers of 1 to {top} became points of 1 to {TOP[kind]}"] if top != to[1] and not each else []
    turned = is_turned(heading, kind, known)
    told += ["turned: its highest number is the least"] if turned and not own else []
    told += [f"kept on its scale of {ends[0]} to {top}, of which the steps beyond the middle agree"] if own else []
    said = any(worded(words, known) for words in ends_called(heading))
    told += [_FULL + _UNLESS * (not said)] if kind == "agreement" and not (each or turned or own) else []
    lost = sum(given[cell] for cell in strange)
    told += [f"{lost} of {sum(given.values())} answers not understood: {first_few(list(strange))}"] if strange else []
    return kind, "; ".join(told)


def as_said(table: RawTable, kind: str, head: str, question: str) -> str:
    """Return what to know of a column of which somebody said the kind."""
    if kind not in TOP:
        return "as was said"
    cells = table.column(head)
    given = Counter(as_seen(cell) for cell, filled in zip(cells, _filled(cells), strict=True) if filled)
    known, (low, high) = _known(kind, [head], question, [*given], _words_beside(table))
    points = [*map(str, range(low, high + 1))]
    strange = [cell for cell in given if not worded(cell, known) and cell not in points]
    noticed = _scale(head, kind, (known, (low, high)), given, strange)[1]
    return f"as was said; {noticed or f'of numbers from 1 to {TOP[kind]} the highest is the most'}"


def with_survey(
    study: Study, table: RawTable, asked: pd.DataFrame, file: RawFile | None = None, session: str = ""
) -> Study:
    """Return a study with the answers of a survey added; blanks are no answers, save of boxes that are only ticked.

    Parameters
    ----------
    asked
        `column prototype question kind`, of which those with a kind are read; of kind `person` is who answered. If
        none is, the rows are numbered C001, C002 and so on. Of kind `position` is when a prototype was tried.
    file
        The file it came from, kept unchanged.
    session
        In which test they answered, such as `hall test` or `home use`.

    Raises
    ------
    StudyError
        If no column is read, one lacks its prototype or question, two ask the same, or a person has two rows.
    """
    held = list(map(str, study.table("answers")["question"].unique()))
    spelled = {plain_words(question_words(study, name)): name for name in held} | {plain_words(n): n for n in held}
    asked = asked.assign(question=[spelled.get(plain_words(name), name) for name in asked["question"].str.strip()])
    asked = asked.assign(said=asked["kind"], kind=asked["kind"].replace("paired", "preference"))  # and read alike
    read = asked.loc[~asked["kind"].isin(("", "position", "person"))]
    if read.empty:
        _refuse_unread(asked.get("noticed", pd.Series(dtype="str")))
    chosen = read["kind"] == "preference"
    _refuse_unclear(read, chosen)
    in_pairs = read["prototype"].str.contains(AGAINST, regex=False)
    people = people_of_rows(study, table, asked.loc[asked["kind"] == "person", "column"].tolist())
    named = natural_order(name for of in read["prototype"] for name in of.strip().split(AGAINST) if name)
    kinds = dict(zip(asked["column"], asked["kind"], strict=True))
    named = named or natural_order({*asked.loc[asked["kind"] == "position", "prototype"]} - {""})
    named = named or chosen_names(table, [kinds.get(name, "") for name in table.header])
    if (chosen & ~in_pairs).any() and len(named) != 2:
        several = counted(len(named), "prototype")
        raise StudyError(f"A preference is read between two prototypes, and the columns name {several}.")
    beside = _words_beside(table)
    each = [_answers(table, row, people, asked, named, beside) for _, row in read.iterrows()]
    answers: pd.DataFrame = pd.concat(each)
    answers = answers.assign(position=_places_of(answers, table, people, asked))
    block = answers.loc[answers["answer"] != ""].reset_index(drop=True).astype("str")
    of = re.compile("|".join(whole(name).pattern for name in [*read.loc[in_pairs, "prototype"], *named]) or r"(?!)")
    called = {asked_: _asks(table.header, of)[head] for head, asked_ in read[["column", "question"]].to_numpy()}
    study = with_questions_renamed(study, block, called, same_file=file in study.raw_files)
    if session:
        study, block = with_session(study, block, session), block.assign(session=session)
    study = study if study.tables else replace(study, tables={"prototypes": study.table("prototypes")})
    study = put_block(study, "prototypes", pd.DataFrame({"prototype": named}, dtype="str"))
    study = put_block(study, "assessors", pd.DataFrame({"assessor": people, "kind": "consumer"}, dtype="str"))
    told = _agreement_told(table, read, beside)
    study = with_answers_replaced(study, block, told)
    for block_ in (ends_in_words(study, table, read), told, words_asked(study, read)):
        study = put_block(study, "questions", block_) if len(block_) else study
    kept = (file,) if file is not None and file not in study.raw_files else ()
    return replace(put_block(study, "answers", block), raw_files=(*study.raw_files, *kept))


def _refuse_unclear(read: pd.DataFrame, chosen: pd.Series) -> None:
    bare = read.loc[((read["prototype"].str.strip() == "") & ~chosen) | (read["question"].str.strip() == ""), "column"]
    if len(bare):
        raise StudyError(f"The column {bare.iloc[0]} needs a prototype and a question.")
    for head in read.loc[read["prototype"].str.contains(AGAINST, regex=False) & ~chosen, "column"]:
        raise StudyError(f"The column {head} is about two: only a preference or a paired comparison is read from it.")
    twice = read.loc[read.duplicated(["prototype", "question", "kind"]), "column"]
    ranks = [name for name in read["column"] if is_ranks(name)]
    if read["kind"].isin(TOP).loc[read["column"].isin(ranks)].any():
        raise StudyError(f"{first_few(ranks)} hold ranks, 1 the best; as points they would count the wrong way round.")
    if len(twice):
        raise StudyError(f"The column {twice.iloc[0]} asks what another one asks. Give it another question.")


def _refuse_unread(noticed: pd.Series) -> None:
    if noticed.str.contains(NO_PRODUCT).any():
        say = "Say which one all of it is about (product=NAME), or add a column Product."
        raise StudyError(f"No column is read: {NO_PRODUCT}. {say}")
    why = dict.fromkeys(words for words in noticed if words.startswith("not read"))
    told = f" ({first_few(list(why))})" if why else ""
    if any(_AMONG in words for words in why):
        raise StudyError(f"No column is read{told}. Of two at a time, name them in a column Pair: P1/P2.")
    raise StudyError(f"No column is read{told}. Say of one at least which kind of question it is.")


def _agreement_told(table: RawTable, read: pd.DataFrame, beside: Sequence[frozenset[str]]) -> pd.DataFrame:
    """Return statements of which words say which end agrees, and the scale of those on another one than 1 to 5."""
    points = wordings("agreement")
    rows = [(question, "agreement", "5", "") for question in sure_agreement(table, read)]
    for question, own in read.loc[read["kind"] == "agreement"].groupby("question", sort=False):
        heads = own["column"].tolist()
        known, (low, high) = _known("agreement", heads, str(question), chain(*map(table.column, heads)), beside)
        said = [(at, worded(cell, points)) for cell, at in known.items() if at.isdecimal()]
        said += [(at, worded(words, points)) for head in heads for at, words in END.findall(head)]
        sides = [(2 * int(at) - low - high) * (int(point) - 3) for at, point in said if point.isdecimal()]
        agrees = str(high) if max(sides, default=0) > 0 else str(low) if min(sides, default=0) < 0 else ""
        rows += [(str(question).strip(), "agreement", agrees, f"{low}-{high}")] if (low, high) != FIVE else []
    told = pd.DataFrame(rows, columns=["question", "kind", "agrees", "scale"], dtype="str")
    return told.drop_duplicates("question", keep="last")


def _places_of(answers: pd.DataFrame, table: RawTable, people: Sequence[str], asked: pd.DataFrame) -> list[str]:
    """Return the place in the serving order of what each answer is about; of two to choose from, of the first."""
    place: dict[tuple[str, str], str] = {}
    for _, row in asked.loc[asked["kind"] == "position"].iterrows():
        cells = map(str.strip, table.column(row["column"]))
        place |= {(who, row["prototype"].strip()): cell for who, cell in zip(people, cells, strict=True)}
    told = []
    for who, of, versus in zip(answers["assessor"], answers["prototype"], answers["versus"], strict=True):
        one, other, own = (place.get((who, each), "") for each in (of, versus, AGAINST.join((of, versus))))
        if versus and not own:
            told.append(str(1 + (int(one) > int(other))) if one.isdecimal() and other.isdecimal() else "")
        else:
            told.append(own or one)
    return told


def _answers(
    table: RawTable,
    row: pd.Series,
    people: Sequence[str],
    asked: pd.DataFrame,
    named: Sequence[str],
    words_beside: Sequence[frozenset[str]],
) -> pd.DataFrame:
    """Return the answers of one column."""
    kind, column, of = row["kind"], row["column"], row["prototype"].strip()
    cells = table.column(column)
    alike = asked.loc[(asked["question"] == row["question"]) & (asked["kind"] == kind), "column"]
    known, ends = _known(kind, [*alike], row["question"], chain(*map(table.column, alike)), words_beside)
    given = [
        _answer(cell, kind, column, known, ends) if filled else ""
        for cell, filled in zip(cells, _filled(cells, kind), strict=True)
    ]
    if untold := [cell for cell in cells if known.get(plain_words(cell)) == ""]:
        raise StudyError(
            f"It cannot be told whether {untold[0]!r} in {column} is too much. Name the question after what it is too "
            "much of, such as oiliness."
        )
    ticked = {_answer(cell, kind, head, known) for head in alike for cell in table.column(head)}
    if kind == "check_all" and "0" not in ticked:
        about = (asked["prototype"] == row["prototype"]) & (asked["kind"] != "position")
        beside = [table.column(head) for head in asked.loc[about, "column"]]
        told = [any(map(str.strip, cells)) for cells in zip(*beside, strict=True)]
        given = [cell or "0" * any_ for cell, any_ in zip(given, told, strict=True)]
    two = (of.split(AGAINST) if AGAINST in of else named) if kind == "preference" else (of, "")
    pair = dict(zip(("prototype", "versus"), two, strict=True))
    frame = pd.DataFrame({"assessor": people, "answer": given})
    return frame.assign(**pair, question=row["question"].strip(), kind=row["said"])


def _bare_question(words: str) -> str:
    """Return words without the signs between them."""
    return re.sub(r"[\W_]+", " ", words).strip()
