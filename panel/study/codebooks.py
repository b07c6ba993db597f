"""What does a codebook say that the columns of a survey ask, and the numbers in them stand for?"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import chain, pairwise
from typing import NamedTuple

from panel.errors import StudyError
from panel.study.file_names import DESIGN
from panel.study.knowledge import (
    agreeing_end,
    is_called,
    named_columns,
    no_answer,
    plain_words,
    said_points,
    worded,
    wordings,
)
from panel.study.questions import asked_kind, is_statement
from panel.study.raw_table import RawTable
from panel.study.sheet_keys import ABOUT, Sheet
from panel.words import as_seen, first_few


class Legend(NamedTuple):
    """What a sheet such as a codebook says: column to question, and column to code to words, the empty one for all.

    It may say so in lines, each below what it is of.
    """

    name: str
    asked: dict[str, str]
    words: dict[str, dict[str, str]]
    in_lines: bool = False


def said_below(lines: Iterable[str]) -> dict[str, dict[str, str]]:
    """Return the numbers that lines such as `1 = agree fully` explain, by the line above them, else by none."""
    found: dict[str, dict[str, str]] = {}
    above = ""
    for line in lines:
        points = said_points(line)
        if len(points) == 1:
            found.setdefault(above, {})[points[0][0]] = points[0][1]
        else:
            above = line
    return found


def headings_meant(name: str, spelled: Mapping[str, str]) -> list[str]:
    """Return the headings that a name means, by what each may be called, in plain words.

    It is one of them, `V1-V4` or `V10_1 to V10_4`, or holds such: `Items V1, V2`.
    """
    if own := spelled.get(plain_words(name)):
        return [own]
    named = []
    for found in _SPAN_OF_NAMES.finditer(name):
        first, last = int(found["first"]), int(found["last"])
        named += [f"{found['stem']}{number}" for number in range(first, min(last, first + _MOST_ITEMS) + 1)]
    named += _NAME.findall(name)
    return list(dict.fromkeys(spelled[plain] for each in named if (plain := plain_words(each)) in spelled))


_SPAN_OF_NAMES = re.compile(
    r"(?P<stem>(?<!\w)[^\W\d]\w*?[_.-]?)(?P<first>\d+)\s*(?:-|\u2013|\u2026|\.\.+|to|through|bis|\u00e0|a|al)\s*(?P=stem)?(?P<last>\d+)"
    r"(?!\w)"
)
_NAME = re.compile(r"(?<!\w)[^\W\d]+[_.-]?\d+(?:[_.-]\d+)*[a-z]?(?!\w)")  # of a column: V11, Q10_2
_MOST_ITEMS = 200


def legend_for(legend: Legend, short: Sequence[str], header: Sequence[str]) -> Legend:
    """Return a legend whose columns are those of the header, above which short names may stand in a line of their own.

    What lines say below no such name is of all columns, if it is one scale.
    """
    short = short if len(short) == len(header) else header
    spelled = {plain_words(name): head for names in (short, header) for name, head in zip(names, header, strict=True)}
    words: dict[str, dict[str, str]] = {}
    rest = []
    for name, points in legend.words.items():
        own = headings_meant(name, spelled) if name else [""]
        words |= dict.fromkeys(own, points)
        rest += [points] if not own else []
    numbers = list(chain(*rest))
    if legend.in_lines and not words and len({*numbers}) == len(numbers):
        words[""] = {number: said for points in rest for number, said in points.items()}
    asked = {head: said for name, said in legend.asked.items() for head in headings_meant(name, spelled)}
    return legend._replace(asked=asked, words=words)


def legend_of(sheet: Sheet) -> Legend | None:
    """Return what a sheet with a row for each code says: Variable, Code, Meaning; None if it is no such sheet."""
    code = next((head for head in sheet.header if is_called(head, "code") or is_called(head, "value")), "")
    meaning = next((head for head in sheet.header if head != code and is_called(head, "meaning")), "")
    column = next((h for h in sheet.header if h not in (code, meaning) and is_called(h, "variable")), "")
    if not code or not meaning or len(sheet.header) > 2 + bool(column):
        return None
    asked: dict[str, str] = {}
    words: dict[str, dict[str, str]] = {}
    above = ""
    cells = [sheet.cells(column) if column else [""] * len(sheet.rows), sheet.cells(code), sheet.cells(meaning)]
    for name, number, said in zip(*cells, strict=True):
        above = name or above
        if number and said:
            words.setdefault(above, {})[number] = said
        elif name and said:
            asked[above] = said
    return Legend(sheet.name, asked, words) if words else None


def lines_as_legend(name: str, rows: Sequence[Sequence[str]]) -> Legend | None:
    """Return what the lines of a sheet such as `5 = strongly agree` say, if they are all that it holds."""
    lines = [as_seen(cell) for row in rows for cell in row if as_seen(cell)]
    said = said_below(lines)
    points = sum(map(len, said.values()))
    if points < _POINTS or 2 * points < len(lines) or any(sum(map(bool, row)) > 2 for row in rows):
        return None
    return Legend(name, {}, said, in_lines=True)


def ends_as_legend(name: str, rows: Iterable[Sequence[str]], heads: Iterable[str]) -> Legend | None:
    """Return what lines beside a table call 1 to 5, `1 = strongly agree` or a cell with each, of what states something.

    Such lines may stand beside anything: of other columns of the table they say nothing.
    """
    said = [found for row in rows for cell in row for found in said_points(cell)]
    said += [pair for row in rows for pair in pairwise([cell.strip() for cell in row if cell.strip()])]
    said += [(found[1], found[2]) for row in rows for cell in row if (found := _POINT.fullmatch(cell.strip()))]
    known = wordings("agreement")
    points = {number: words for number, words in said if worded(words, known) and not worded(words, wordings(_BOX))}
    states = [head for head in heads if asked_kind(head) == "agreement" or is_statement(head.split(": ")[-1])]
    words = dict.fromkeys(states, dict.fromkeys("12345", "") | points)
    return Legend(name, {}, words) if _asked_by(points) == "agreement" else None


_BOX = "check_all"
_POINT = re.compile(r"([1-5])\s*[:.)\u2013-]\s*(\D+)")


def _asked_by(points: Mapping[str, str]) -> str:
    """Return the kind of question that has such words for its points; empty where it may be any."""
    if agreeing_end(points.get("1", ""), points.get("5", "")) and {"1", "5"} <= {*points}:
        return "agreement"
    return "liking" if all(worded(points.get(end, ""), wordings("liking")) in {*"19"} for end in "19") else ""


def _words_of(head: str, legend: Legend) -> dict[str, str]:
    """Return what a legend says of a column: what is said of all columns only where it can be an answer to it."""
    words = legend.words.get(head, legend.words.get("", {}))
    kind = _asked_by(words)
    other = named_columns([head]) or any(is_called(head, role) for role in ABOUT) or asked_kind(head) not in ("", kind)
    said = kind == "agreement" and said_points(head)
    return {} if kind and (said or (other and head not in legend.words)) else words


def with_legend(table: RawTable, legend: Legend) -> RawTable:
    """Return a survey with what its columns ask, words for codes of prototypes and sittings, and the ends of scales."""
    header, columns = [], []
    told = []
    for head, cells in zip(table.header, table.columns, strict=True):
        words = _words_of(head, legend)
        none = {code for code, said in words.items() if no_answer(said)}
        given = {as_seen(cell) for cell in cells} - {""} - none
        coded = bool(given) and given <= {*words}
        new, scale = legend.asked.get(head, head), [code for code in words if code not in none and code.isdecimal()]
        if coded and (named_columns([head]).keys() & {*DESIGN} or len(scale) < _POINTS):
            columns.append([words.get(as_seen(cell), "") for cell in cells])
        elif coded:
            ends = [f"{code}={_bare(words[code])}" for code in (min(scale, key=int), max(scale, key=int))]
            new = f"{new} ({', '.join(ends)})"
            columns.append(["" if as_seen(cell) in none else cell for cell in cells])
        else:
            columns.append(list(cells))
        header.append(new)
        told += [head] * (new != head or columns[-1] != list(cells))
    if not told or len({*header}) < len(header):
        return table
    place = f"the sheet {legend.name!r}" if legend.name else "beside the table"
    note = f"What {first_few(told)} ask and hold was read from {place}."
    return replace(table, header=tuple(header), columns=tuple(map(tuple, columns)), notes=(*table.notes, note))


def _bare(words: str) -> str:
    """Return words without the signs that part the ends of a scale in a heading."""
    return re.sub(r"[^\w' ]|\d", " ", words)


_POINTS = 3  # of a scale at least; fewer are answers in words


def refuse_two_directions(legends: Sequence[Legend], lines: Iterable[str]) -> None:
    """Raise StudyError if a line of a survey says the opposite of its legend about what a number stands for."""
    known, said = wordings("agreement"), [found for line in lines for found in said_points(line)]
    for legend in legends:
        for number, words in said:
            other = {worded(each.get(number, ""), known) for each in legend.words.values()} - {""}
            if other and (mine := worded(words, known)) and mine not in other:
                raise StudyError(
                    f"A line says {number} = {words.strip()}, and the sheet {legend.name!r} something else. Find out "
                    "which is right and correct the other one."
                )
