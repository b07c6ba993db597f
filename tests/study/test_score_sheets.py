"""One set of invented scores in many layouts: each comes back as the same scores, or is asked about."""

from __future__ import annotations

import io
from collections.abc import Callable

import pandas as pd
import pytest
import xlsxwriter

from panel.errors import StudyError
from panel.study.raw_table import raw_file, raw_table
from panel.study.score_sheets import score_table
from panel.study.scores_import import guess_layout, read_scores

PEOPLE, PRODUCTS, TERMS, SITTINGS = ("A01", "A02", "A03"), ("P1", "P2"), ("greasy", "sticky", "gloss"), ("1", "2")
Row = tuple[str, str, str, str]


def value(person: str, product: str, term: str, sitting: str = "1") -> float:
    """Return an invented score, a different one for each place, with a decimal."""
    places = (PEOPLE.index(person), PRODUCTS.index(product), TERMS.index(term), SITTINGS.index(sitting))
    return 10.5 + 20 * places[0] + 7 * places[1] + 2 * places[2] + 0.5 * places[3]


def truth(sittings: tuple[str, ...] = SITTINGS) -> set[tuple[str, str, str, str, float]]:
    return {
        (a, p, t, s if len(sittings) > 1 else "", value(a, p, t, s))
        for a in PEOPLE
        for p in PRODUCTS
        for t in TERMS
        for s in sittings
    }


def one_sitting() -> set[tuple[str, str, str, str, float]]:
    return truth(("1",))


def text(number: float, decimal: str = ".") -> str:
    return f"{number:g}".replace(".", decimal)


def csv(rows: list[list[str]], delimiter: str = ";") -> tuple[str, bytes]:
    return "scores.csv", "\n".join(delimiter.join(row) for row in rows).encode()


def book(*, merge: tuple[tuple[str, str], ...] = (), **sheets: list[list[str]]) -> tuple[str, bytes]:
    content = io.BytesIO()
    with xlsxwriter.Workbook(content) as made:
        for name, rows in sheets.items():
            sheet = made.add_worksheet(name.replace("_", " "))
            for line, row in enumerate(rows):
                for place, cell in enumerate(row):
                    number = cell.replace(".", "").isdecimal() and "." in cell
                    (
                        sheet.write_number(line, place, float(cell))
                        if number
                        else sheet.write_string(line, place, cell)
                    ) if cell else None
            for where, what in merge:
                sheet.merge_range(where, what)
    return "scores.xlsx", content.getvalue()


def wide(sitting: str = "1", head: tuple[str, ...] = ("assessor", "product"), decimal: str = ".") -> list[list[str]]:
    rows = [[a, p, *(text(value(a, p, t, sitting), decimal) for t in TERMS)] for a in PEOPLE for p in PRODUCTS]
    return [[*head, *TERMS], *rows]


def wide_both(column: str = "session", decimal: str = ".") -> list[list[str]]:
    rows = [
        [a, p, s, *(text(value(a, p, t, s), decimal) for t in TERMS)]
        for a in PEOPLE
        for p in PRODUCTS
        for s in SITTINGS
    ]
    return [["assessor", "product", column, *TERMS], *rows]


def long(head: tuple[str, ...] = ("assessor", "product", "attribute", "score")) -> list[list[str]]:
    return [list(head), *([a, p, t, text(value(a, p, t), ",")] for a in PEOPLE for p in PRODUCTS for t in TERMS)]


def product_blocks(upper: tuple[str, ...] = PRODUCTS, assessor: str = "assessor", below: str = "") -> list[list[str]]:
    top = [assessor, *(cell for name in upper for cell in (name, "", ""))]
    rows = [[a, *(text(value(a, p, t)) for p in PRODUCTS for t in TERMS)] for a in PEOPLE]
    return [top, [below, *TERMS, *TERMS], *rows]


def term_blocks() -> list[list[str]]:
    top = ["", *(cell for term in TERMS for cell in (term, ""))]
    rows = [[a, *(text(value(a, p, t)) for t in TERMS for p in PRODUCTS)] for a in PEOPLE]
    return [top, ["assessor", *(PRODUCTS * 3)], *rows]


def flat_blocks(name: Callable[[str, str], str]) -> list[list[str]]:
    rows = [[a, *(text(value(a, p, t)) for p in PRODUCTS for t in TERMS)] for a in PEOPLE]
    return [["assessor", *(name(p, t) for p in PRODUCTS for t in TERMS)], *rows]


def people_across() -> list[list[str]]:
    return [
        ["product", "attribute", *PEOPLE],
        *([p, t, *(text(value(a, p, t)) for a in PEOPLE)] for p in PRODUCTS for t in TERMS),
    ]


def products_across() -> list[list[str]]:
    return [
        ["assessor", "attribute", *PRODUCTS],
        *([a, t, *(text(value(a, p, t)) for p in PRODUCTS)] for a in PEOPLE for t in TERMS),
    ]


def sitting_blocks(word: str) -> list[list[str]]:
    top = ["", "", *(cell for s in SITTINGS for cell in (f"{word} {s}", "", ""))]
    rows = [[a, p, *(text(value(a, p, t, s)) for s in SITTINGS for t in TERMS)] for a in PEOPLE for p in PRODUCTS]
    return [top, ["assessor", "product", *TERMS, *TERMS], *rows]


def of_attribute(term: str) -> list[list[str]]:
    return [["assessor", *PRODUCTS], *([a, *(text(value(a, p, term)) for p in PRODUCTS)] for a in PEOPLE)]


TITLE = [["Hand cream panel"], ["run by the lab, March"], []]
CODES = {"P1": "317", "P2": "482"}
KEY = [["code", "prototype"], ["317", "P1"], ["482", "P2"]]


def coded() -> list[list[str]]:
    return [["assessor", "code", *TERMS], *([row[0], CODES[row[1]], *row[2:]] for row in wide()[1:])]


def other_names(head: tuple[str, ...]) -> list[list[str]]:
    """Return a wide table with both sittings and headings in another language."""
    return [[*head, *TERMS], *wide_both(decimal=",")[1:]]


ONE, BOTH = one_sitting(), truth()
LAYOUTS: dict[str, tuple[tuple[str, bytes], set[tuple[str, str, str, str, float]]]] = {
    "wide": (csv(wide()), ONE),
    "wide, decimal commas": (csv(wide(decimal=",")), ONE),
    "wide, tabs": (csv(wide(decimal=","), "\t"), ONE),
    "wide, commas between": (csv(wide(), ","), ONE),
    "long": (csv(long()), ONE),
    "long, German": (csv(long(("Pr\u00fcfer", "Muster", "Merkmal", "Wert"))), ONE),
    "long, French": (csv(long(("Juge", "Produit", "Descripteur", "Intensit\u00e9"))), ONE),
    "long, Spanish": (csv(long(("Juez", "Muestra", "Atributo", "Puntuaci\u00f3n"))), ONE),
    "long, Italian": (csv(long(("Giudice", "Campione", "Attributo", "Punteggio"))), ONE),
    "wide, German": (csv(other_names(("Pruefer", "Produkt", "Sitzung"))), BOTH),
    "wide, French": (csv(other_names(("Pan\u00e9liste", "\u00c9chantillon", "S\u00e9ance"))), BOTH),
    "wide, Spanish": (csv(other_names(("Evaluador", "Producto", "Sesi\u00f3n"))), BOTH),
    "wide, Italian": (csv(other_names(("Valutatore", "Prodotto", "Seduta"))), BOTH),
    "title rows, text": (csv([*TITLE, *wide()]), ONE),
    "title rows, long": (csv([*TITLE, *long()]), ONE),
    "title rows, workbook": (book(Data=[*TITLE, *wide()]), ONE),
    "title of two cells": (csv([["Panel leader", "EK"], *wide()]), ONE),
    "a sheet for each session": (
        book(Session_1=wide("1"), Session_2=wide("2")),
        {(a, p, t, f"Session {s}", v) for a, p, t, s, v in BOTH},
    ),
    "a sheet for each session, with titles": (
        book(Tag_1=[*TITLE, *wide("1")], Tag_2=[*TITLE, *wide("2")]),
        {(a, p, t, f"Tag {s}", v) for a, p, t, s, v in BOTH},
    ),
    "a sheet for each person": (
        book(**{a: [["product", *TERMS], *(row[1:] for row in wide()[1:] if row[0] == a)] for a in PEOPLE}),
        ONE,
    ),
    "a sheet for each prototype": (
        book(
            **{p: [["assessor", *TERMS], *([row[0], *row[2:]] for row in wide()[1:] if row[1] == p)] for p in PRODUCTS}
        ),
        ONE,
    ),
    "a sheet for each attribute": (book(**{t: of_attribute(t) for t in TERMS}), ONE),
    "prototypes as blocks": (csv(product_blocks()), ONE),
    "prototypes as blocks, workbook": (book(Data=product_blocks()), ONE),
    "prototypes as blocks, assessor below": (csv(product_blocks(assessor="", below="assessor")), ONE),
    "prototypes as blocks under a title": (book(Data=[*TITLE, *product_blocks()]), ONE),
    "codes as blocks": (csv(product_blocks(("317", "482"))), {(a, CODES[p], t, s, v) for a, p, t, s, v in ONE}),
    "attributes as blocks": (csv(term_blocks()), ONE),
    "prototype and attribute in one heading": (csv(flat_blocks(lambda p, t: f"{p} {t}")), ONE),
    "attribute and prototype in one heading": (csv(flat_blocks(lambda p, t: f"{t} {p}")), ONE),
    "joined by a stroke": (csv(flat_blocks(lambda p, t: f"{p}_{t}")), ONE),
    "joined by a dash": (csv(flat_blocks(lambda p, t: f"{t} - {p}")), ONE),
    "people across": (csv(people_across()), ONE),
    "prototypes across": (csv(products_across()), ONE),
    "sessions as blocks": (csv(sitting_blocks("Session")), {(a, p, t, f"Session {s}", v) for a, p, t, s, v in BOTH}),
    "codes with a key": (book(Scores=coded(), Key=KEY), ONE),
    "a key before the scores": (book(Key=KEY, Scores=coded()), ONE),
    "codes with a key, sessions as sheets": (
        book(S1=coded(), Key=KEY),
        ONE,
    ),
    "means below": (csv([*wide(), ["Mean", "", "30.5", "31.5", "32.5"], ["SD", "", "3", "3", "3"]]), ONE),
    "stages above the attributes": (csv([["", "", "rub-out", "", "after-feel"], *wide()]), ONE),
}


def read(file: tuple[str, bytes]) -> pd.DataFrame:
    table = score_table(raw_file(*file))
    return read_scores(table, guess_layout(table)).scores


def places(scores: pd.DataFrame) -> set[tuple[str, str, str, str, float]]:
    rows = scores[["assessor", "prototype", "attribute", "session", "score"]].itertuples(index=False, name=None)
    return {(str(a), str(p), str(t), str(s), float(v)) for a, p, t, s, v in rows}


@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_layout_gives_the_same_scores(layout: str):
    file, expected = LAYOUTS[layout]
    assert places(read(file)) == expected


def test_there_are_more_than_thirty_layouts_and_each_that_is_turned_says_so():
    assert len(LAYOUTS) >= 35
    for layout, (file, _) in LAYOUTS.items():
        table = score_table(raw_file(*file))
        if any(word in layout for word in ("blocks", "heading", "joined", "across", "sheet", "key", "title")):
            assert len(table.notes) >= 1, layout


REPLICATES = (
    "rep",
    "Replicate",
    "Wiederholung",
    "Wdh",
    "r\u00e9p\u00e9tition",
    "Repetici\u00f3n",
    "ripetizione",
    "Replikat",
)


@pytest.mark.parametrize("column", REPLICATES)
def test_a_replicate_column_by_any_of_its_names_is_no_attribute(column: str):
    table = score_table(raw_file(*csv(wide_both(column))))
    layout = guess_layout(table)
    assert layout.replicate == column
    assert layout.attributes == TERMS


ASKED = {
    "words for both": csv(flat_blocks(lambda p, t: f"{ {'P1': 'rich', 'P2': 'light'}[p] } {t[:2]}{t[-2:]}")),
    "groups nobody can name": csv([["", "", "north", "", "", "south"], *sitting_blocks("x")[1:]]),
    "a code the key lacks": book(Scores=coded(), Key=KEY[:2]),
    "a key that contradicts itself": book(Scores=coded(), Key=[*KEY, ["317", "P2"]]),
    "no people": csv([row[1:] for row in wide()]),
    "no prototypes": csv([[row[0], *row[2:]] for row in wide()]),
}


@pytest.mark.parametrize("layout", ASKED)
def test_what_cannot_be_told_is_asked_and_never_guessed(layout: str):
    with pytest.raises(StudyError) as caught:
        read(ASKED[layout])
    assert str(caught.value).count(".") >= 1


@pytest.mark.parametrize("layout", ["wide", "wide, tabs", "long"])
def test_a_plain_table_is_read_as_before(layout: str):
    file = raw_file(*LAYOUTS[layout][0])
    assert score_table(file).notes == raw_table(file).notes
    assert score_table(file).lines == raw_table(file).lines
