"""Score tables as they lie about: other encodings, reckoned rows, words beside numbers, headings in five languages.

Each is read right, or asked about with a sentence, or refused with advice; none is read as something else.
"""

from __future__ import annotations

import datetime
import io
import unicodedata
from collections import Counter
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pytest
import xlsxwriter

from panel.errors import StudyError
from panel.study.numbers_read import proposed_number
from panel.study.raw_table import raw_file
from panel.study.score_sheets import score_table
from panel.study.scores_import import _SAY_SO, ImportedScores, guess_layout, read_scores

PEOPLE, PRODUCTS, ATTRIBUTES = (
    ("A01", "A02", "A03", "A04", "A05", "A06"),
    ("P1", "P2", "P3", "P4"),
    ("glide", "film", "residue"),
)
Truth = dict[tuple[str, str, str, str], float]
Rows = list[list[Any]]


def truth(people: Sequence[str] = PEOPLE, products: Sequence[str] = PRODUCTS, seed: int = 3) -> Truth:
    draw = np.random.default_rng(seed)
    return {
        (a, p, s, t): float(round(draw.uniform(1, 9), 1))
        for a in people
        for s in "12"
        for p in products
        for t in ATTRIBUTES
    }


def wide(
    of: Truth, heads: Sequence[str] = ("Assessor", "Product", "Session"), form: Callable[[float], str] = str
) -> Rows:
    keys = dict.fromkeys(key[:3] for key in of)
    return [[*heads, *ATTRIBUTES], *([*key, *(form(of[(*key, t)]) for t in ATTRIBUTES)] for key in keys)]


def long(of: Truth, heads: Sequence[str], form: Callable[[float], str] = str) -> Rows:
    return [list(heads), *([*key, form(score)] for key, score in of.items())]


def comma(score: float) -> str:
    return str(score).replace(".", ",")


def csv(rows: Rows, sign: str = ",", encoding: str = "utf-8") -> bytes:
    return "".join(sign.join(row) + "\r\n" for row in rows).encode(encoding)


def numbers(rows: Rows, first: int = 3) -> Rows:
    return [rows[0], *([*row[:first], *(float(cell) for cell in row[first:])] for row in rows[1:])]


def book(sheets: dict[str, Rows], hidden: Sequence[str] = ()) -> bytes:
    content = io.BytesIO()
    with xlsxwriter.Workbook(content, {"in_memory": True}) as workbook:
        day = workbook.add_format({"num_format": "dd. mmm"})
        for name, rows in sheets.items():
            page = workbook.add_worksheet(name)
            if name in hidden:
                page.hide()
            for i, row in enumerate(rows):
                for j, cell in enumerate(row):
                    if isinstance(cell, datetime.datetime):
                        page.write_datetime(i, j, cell, day)
                    elif cell == "#N/A":
                        page.write_formula(i, j, "=NA()", None, "#N/A")
                    elif cell != "":
                        page.write(i, j, cell)
    return content.getvalue()


T = truth()
ACCENTS = truth(("Zoé", "Jörg", "Señor Á", "François", "Groß"), ("Crème À", "Größe", "Émulsion"))
W, WC = wide(T), wide(T, form=comma)


def with_column(head: str, cell: Callable[[int], str], base: Rows = W) -> bytes:
    return csv([[*base[0][:3], head, *base[0][3:]], *([*row[:3], cell(i), *row[3:]] for i, row in enumerate(base[1:]))])


def first_score(change: Callable[[str], Any], every: int, base: Rows = W) -> Rows:
    return [
        base[0],
        *([*row[:3], change(row[3]), *row[4:]] if i % every == 0 else row for i, row in enumerate(base[1:])),
    ]


def read(content: bytes) -> ImportedScores:
    table = score_table(raw_file("panel.xlsx" if content[:2] == b"PK" else "panel.csv", content))
    return read_scores(table, guess_layout(table))


def scores_of(found: ImportedScores, *, sessions: bool = True) -> Counter[tuple[object, ...]]:
    held = found.scores.dropna(subset="score")
    session = held["session"] if sessions else [""] * len(held)
    rows = zip(held["assessor"], held["prototype"], session, held["attribute"], held["score"].round(4), strict=True)
    return Counter(rows)


def scores_in(of: Truth, *, sessions: bool = True) -> Counter[tuple[object, ...]]:
    return Counter((a, p, s if sessions else "", t, round(score, 4)) for (a, p, s, t), score in of.items())


def by_product(word: Callable[[str], list[str]], last: Rows = []) -> bytes:  # noqa: B006
    rows: Rows = [W[0]]
    for product in PRODUCTS:
        own = [row for row in W[1:] if row[1] == product]
        rows += [*own, [*word(product), *(f"{np.mean([float(row[j]) for row in own]):.2f}" for j in (3, 4, 5))]]
    return csv([*rows, *last])


NUMBERED = truth(products=("007", "1.10", "1.1", "12"))
CODED = truth(people="123456", products="1234")
WHOLE = {key: float(round(score)) for key, score in T.items()}
NAMED = ("none", "weak", "slight", "medium", "clear", "strong", "very strong", "extreme", "most", "top", "end")
LABELLED = wide(WHOLE, form=lambda score: f"{score:.0f} - {NAMED[int(score)]}")
ENDS = {"1": "1 = none", "9": "9 = very"}
THOUSANDS = {key: score * 1000 + 0.5 for key, score in T.items()}
TOTAL = ["Total", "", "", "250.1", "240.2", "230.3"]
SESSIONS = {
    f"Session {s}": [[*row[:2], *row[3:]] for row in [W[0], *(row for row in W[1:] if row[2] == s)]] for s in "12"
}
AS_SESSIONS = {(a, p, f"Session {s}", t): score for (a, p, s, t), score in T.items()}


def below(tables: dict[str, Rows]) -> Rows:
    return [row for title, rows in tables.items() for row in ([title], *numbers(rows, 2), [])]


ACROSS = [
    ["Assessor", "Session", "Attribute", *("007", "1.10", "1.1", "12")],
    *(
        [a, s, t, *(str(NUMBERED[(a, p, s, t)]) for p in ("007", "1.10", "1.1", "12"))]
        for a in PEOPLE
        for s in "12"
        for t in ATTRIBUTES
    ),
]

RIGHT: dict[str, tuple[bytes, Truth]] = {
    "French, tabs, UTF-16": (csv(wide(T, ("Juge", "Échantillon", "Séance"), comma), "\t", "utf-16"), T),
    "German, semicolons, UTF-16 big-endian": (
        b"\xfe\xff" + csv(wide(T, ("Prüfer", "Probe", "Sitzung"), comma), ";", "utf-16-be"),
        T,
    ),
    "mark at the start, trailing blank columns": (csv([[*row, "", "", ""] for row in WC], ";", "utf-8-sig"), T),
    "lines end as on old computers": (csv(W).replace(b"\r\n", b"\r"), T),
    "the first line states the sign, UTF-16": (("sep=;\r\n" + csv(WC, ";").decode()).encode("utf-16"), T),
    "totals at the end": (csv([*W, TOTAL]), T),
    "a mean below each product": (by_product(lambda p: ["Mean", p, ""]), T),
    "a panel mean below each product": (by_product(lambda p: ["Panel mean", p, "1"]), T),
    "a mean sign below each product": (by_product(lambda p: ["Ø", p, ""]), T),
    "subtotals of a spreadsheet": (
        by_product(lambda p: ["", f"{p} Total", ""], [["", "Grand Total", "", "5", "5", "5"]]),
        T,
    ),
    "subtotals in German": (
        by_product(lambda p: ["", f"{p} Ergebnis", ""], [["", "Gesamtergebnis", "", "5", "5", "5"]]),
        T,
    ),
    "averages in German": (by_product(lambda p: ["", f"{p} Mittelwert", ""]), T),
    "averages in French": (by_product(lambda p: ["", f"Moyenne {p}", ""]), T),
    "counts and extremes at the end": (csv([*W, *([word, "", "", "1", "1", "1"] for word in ("n", "Min", "Max"))]), T),
    "ends of the scale below the headings": (
        csv([W[0], ["min", "", "", "0", "0", "0"], ["max", "", "", "10", "10", "10"], *W[1:]]),
        T,
    ),
    "units below the headings": (csv([W[0], ["", "", "", "cm", "cm", "cm"], *W[1:]]), T),
    "headings again on the second page": (csv([*W[:25], W[0], *W[25:]]), T),
    "footnotes": (csv([*W, ["* A03 had a cold", "", "", "", "", ""], ["printed 3.4.2026", "", "", "", "", ""]]), T),
    "per cent": (
        csv(wide({k: v * 10 for k, v in T.items()}, form=lambda v: f"{v:.0f} %")),
        {k: v * 10 for k, v in T.items()},
    ),
    "a unit in each cell": (csv(wide(T, form=lambda v: f"{comma(v)} cm"), ";"), T),
    "names of the steps": (csv(LABELLED), WHOLE),
    "names of the steps, one attribute": (
        csv([row[:4] + plain[4:] for row, plain in zip(LABELLED, wide(WHOLE, form="{:.0f}".format), strict=True)]),
        WHOLE,
    ),
    "names of the steps in brackets, long": (
        csv(long(WHOLE, ("Judge", "Sample", "Day", "Term", "Rating"), lambda v: f"{NAMED[int(v)]} ({v:.0f})")),
        WHOLE,
    ),
    "names of the ends only": (
        csv(
            [
                LABELLED[0],
                *([*row[:3], ENDS.get(row[3], row[3]), *row[4:]] for row in wide(WHOLE, form="{:.0f}".format)[1:]),
            ]
        ),
        WHOLE,
    ),
    "a time in each row": (with_column("Time", lambda i: f"10:{i:02d}"), T),
    "points between thousands, decimal commas": (
        csv(wide(THOUSANDS, form=lambda v: f"{v:,.1f}".translate({44: ".", 46: ","})), ";"),
        THOUSANDS,
    ),
    "commas and points mixed": (
        csv([W[0], *([*row[:3], *(map(comma, row[3:]) if i % 2 else row[3:])] for i, row in enumerate(W[1:]))], ";"),
        T,
    ),
    "products that look like numbers": (csv(wide(NUMBERED)), NUMBERED),
    "products that look like numbers, across": (csv(ACROSS), NUMBERED),
    "people and products as numbers": (csv(wide(CODED)), CODED),
    "a hidden sheet with old scores, a blank one": (
        book({"Blank": [], "old": numbers(wide(truth(seed=9))), "now": numbers(W)}, ("old",)),
        T,
    ),
    "a summary first": (
        book({"Summary": [["Product", *ATTRIBUTES], *([p, 5.1, 5.2, 5.3] for p in PRODUCTS)], "Data": numbers(W)}),
        T,
    ),
    "a sheet for each session, one with comments": (
        book(
            {
                n: numbers(rows, 2)
                if n == "Session 1"
                else [[*row, "ok" if i else "Comment"] for i, row in enumerate(numbers(rows, 2))]
                for n, rows in SESSIONS.items()
            }
        ),
        AS_SESSIONS,
    ),
    "a sheet for each session, one with a mean": (
        book(
            {
                n: [*numbers(rows, 2), *([["Mean", "", 5.0, 5.1, 5.2]] if n == "Session 2" else [])]
                for n, rows in SESSIONS.items()
            }
        ),
        AS_SESSIONS,
    ),
    "a sheet for each session, one without an attribute": (
        book({n: [row[:4] if n == "Session 2" else row for row in numbers(rows, 2)] for n, rows in SESSIONS.items()}),
        {key: score for key, score in AS_SESSIONS.items() if key[2:] != ("Session 2", "residue")},
    ),
    "a copy of the sheet": (book({"Data": numbers(W), "Data (2)": numbers(W)}), T),
    "on its side": (csv([list(column) for column in zip(*W, strict=True)]), T),
    "the code before the sample": (
        csv(
            [
                [
                    row[0],
                    "Sample code" if i == 0 else f"{i * 37 % 900 + 100:03d}",
                    *("Sample" if cell == "Product" else cell for cell in row[1:]),
                ]
                for i, row in enumerate(W)
            ]
        ),
        T,
    ),
    "sessions below each other": (book({"a": [["March"], [], *below(SESSIONS)]}), AS_SESSIONS),
    "sessions below each other, headings once": (
        csv([W[0][:2] + W[0][3:], *(row for n, rows in SESSIONS.items() for row in ([n, "", "", ""], *rows[1:]))]),
        AS_SESSIONS,
    ),
    "a table for each product, somebody absent": (
        csv(
            [
                ["Assessor", "Session", *ATTRIBUTES],
                *(
                    line
                    for p in PRODUCTS
                    for line in (
                        [f"Sample: {p}", *[""] * 4],
                        *([row[0], *row[2:]] for row in W[1:] if row[1] == p),
                        ["A07", *[""] * 4],
                    )
                ),
            ]
        ),
        T,
    ),
    "a long table for each attribute": (
        csv(
            [
                row
                for t in ATTRIBUTES
                for row in (
                    [t, "", "", ""],
                    [*W[0][:3], "Score"],
                    *([*k[:3], str(v)] for k, v in T.items() if k[3] == t),
                )
            ]
        ),
        T,
    ),
    "attributes at times": (
        csv([[*W[0][:3], "glide 5 min", "film after 10 min", "residue (5 min)"], *W[1:]]),
        {
            (*key[:3], {"glide": "glide 5 min", "film": "film after 10 min"}.get(key[3], "residue (5 min)")): score
            for key, score in T.items()
        },
    ),
    "marks on a line, in mm": (
        csv([[*W[0][:3], *(f"{t} (mm)" for t in ATTRIBUTES)], *W[1:]]),
        {(*key[:3], f"{key[3]} (mm)"): score for key, score in T.items()},
    ),
    "a line of units": (csv([W[0], ["code", "code", "no.", *["(0-10)"] * 3], *W[1:]]), T),
    "products in brackets behind the attributes": (
        csv(
            [
                ["Assessor", "Session", *(f"{t} ({p})" for p in PRODUCTS for t in ATTRIBUTES)],
                *([a, s, *(str(T[a, p, s, t]) for p in PRODUCTS for t in ATTRIBUTES)] for a in PEOPLE for s in "12"),
            ]
        ),
        T,
    ),
    **{
        f"accents as {encoding} writes them": (
            csv(wide(ACCENTS, ("Prüfer", "Crème", "Séance"), comma), ";", encoding),
            ACCENTS,
        )
        for encoding in ("cp1252", "mac_roman", "cp850")
    },
    "a title, and errors of the spreadsheet": (
        book({"a": [["Lotion test"], [], *first_score(lambda _: "#N/A", 9, numbers(W))]}),
        {},
    ),
}


@pytest.mark.parametrize("layout", [name for name, (_, of) in RIGHT.items() if of])
def test_each_table_gives_its_scores(layout: str):
    content, of = RIGHT[layout]
    found = read(content)
    assert scores_of(found) == scores_in(of)
    assert found.unread.empty
    assert set(found.scores.dropna(subset="score")["assessor"]) == {key[0] for key in of}


HEADS = {  # by the words a laboratory would use; from memory
    "French": ("Juge", "Produit", "Séance", "Descripteur", "Note"),
    "French 2": ("Panéliste", "Échantillon", "Visite", "Critère", "Intensité"),
    "French 3": ("Testeuse", "Crème", "Jour", "Attribut", "Cotation"),
    "Spanish": ("Evaluador", "Muestra", "Sesión", "Descriptor", "Puntuación"),
    "Spanish 2": ("Catadora", "Producto", "Día", "Atributo", "Nota"),
    "Spanish 3": ("Jueza", "Crema", "Visita", "Característica", "Calificación"),
    "Italian": ("Assaggiatore", "Campione", "Seduta", "Descrittore", "Punteggio"),
    "Italian 2": ("Valutatrice", "Crema", "Giorno", "Attributo", "Voto"),
    "German": ("Prüferin", "Prüfmuster", "Termin", "Merkmal", "Note"),
    "German 2": ("Prüfperson", "Probe", "Sitzung", "Deskriptor", "Punktzahl"),
    "German 3": ("Probandin", "Creme", "Besuch", "Eigenschaft", "Ausprägung"),
}


@pytest.mark.parametrize("language", HEADS)
def test_headings_of_a_long_table(language: str):
    assert scores_of(read(csv(long(T, HEADS[language], comma), ";"))) == scores_in(T)


BESIDE = {  # role, or what is left out, to how it is called
    "position": "Reihenfolge, Ordre de présentation, Ordre de passage, Orden de presentación, Ordine di assaggio, "
    "Serving no., Darreichungsfolge, Präsentationsposition, Tasting order, Posición en el orden, Rang de présentation",
    "replicate": "Wiederholung, Wdhl., Répétition, Rép., Repetición, Ripetizione, Durchgang, Repl.",
    "comment": "Bemerkung, Kommentar, Commentaire, Remarques, Observaciones, Comentarios, Commenti, Note, Notas",
    "date": "Datum, Prüfdatum, Fecha, Data, Date d'évaluation, Testdatum, Fecha de evaluación, Data di valutazione",
    "count": "Ballot no, Bogen-Nr., Lfd. Nr., Zeile, Riga, Línea, N°, #, Questionnaire",
    "code": "3-digit code, Probencode, Code échantillon, Código de 3 cifras, Codice campione, N° échantillon",
    "person": "Jahrgang, Année de naissance, Año, Anno di nascita, Alter (Jahre), Age (years)",
    "room": "Raumtemperatur, Temp, Humidity (%), Luftfeuchte, Dose (g), pH, Viscosity (mPa s), Température, Umidità",
    "mean": "Mean glide, Overall mean, Moyenne générale, Media del panel, Row total, Ø",
    "asked": "Test, Prueba, Prova, Passage, Runde, Tour, Ronda, Turno",
}
CELLS: dict[str, Callable[[int], str]] = {
    "position": lambda i: str(i % 4 + 1),
    "comment": lambda i: "2" if i == 5 else "",
    "date": lambda i: "20260310" if i < 24 else "20260317",
    "count": lambda i: str(i + 1),
    "code": lambda i: str(i * 37 % 900 + 100),
    "person": lambda i: str(1960 + i * 7 % 40),
    "room": lambda i: "21.5",
    "mean": lambda i: f"{4 + i / 50}",
}


@pytest.mark.parametrize(
    ("what", "head"), [(what, head) for what, heads in BESIDE.items() for head in heads.split(", ")]
)
def test_a_column_beside_the_scores_is_no_attribute(what: str, head: str):
    found = read(with_column(head, CELLS.get(what, lambda i: str(i % 2 + 1))))
    assert scores_of(found) == scores_in(T)
    if what in ("position", "replicate"):
        assert getattr(found.layout, what) == head
    elif what != "date" or found.layout.session != head:
        assert any(f"The column {head!r} " in note and "Say so if it holds scores: " in note for note in found.notes)


UNREAD: dict[str, tuple[Callable[[str], str], float | None]] = {
    "more or less": (lambda _: "<1", None),
    "a footnote mark": (lambda cell: f"{cell}*", 7.5),
    "a day in German": (lambda _: "03. Mai", 3.5),
    "a day in French": (lambda _: "5-févr", 5.2),
    "a day in Spanish": (lambda _: "2-dic.", 2.12),
    "a time of day": (lambda _: "3:30", None),
    "two scores": (lambda _: "7/8", None),
    "a letter for a figure": (lambda _: "1O", 10.0),
    "an error of the spreadsheet": (lambda _: "#WERT!", None),
    "a range": (lambda _: "6-7", None),
}


@pytest.mark.parametrize("what", UNREAD)
def test_a_cell_that_is_no_number_is_named_and_a_number_proposed(what: str):
    change, proposed = UNREAD[what]
    found = read(csv(first_score(change, 9)))
    assert len(found.unread) == 6
    assert found.unread["line"].tolist() == [str(line) for line in range(2, 50, 9)]
    assert scores_in(T) - scores_of(found) == Counter(
        {(*row[:3], "glide", float(row[3])): 1 for i, row in enumerate(W[1:]) if i % 9 == 0}
    )
    assert proposed_number(change("7.5")) == proposed


def test_a_date_that_a_workbook_made_of_a_number_is_named():
    made = datetime.datetime(2026, 5, 3)
    found = read(book({"a": first_score(lambda _: made, 9, numbers(W))}))
    assert set(found.unread["text"]) == {"2026-05-03"}
    assert proposed_number("2026-05-03") == 3.5


NO_VALUE = (
    "k.A.",
    "s/o",
    "NSP",
    "n/a",
    "n. a.",
    "keine Angabe",
    "N.D.",
    "s.d.",
    "n.b.",
    "ne sait pas",
    "ns/nc",
    "#NV",
    "non so",
)


@pytest.mark.parametrize("word", NO_VALUE)
@pytest.mark.parametrize("every", [9, 2])
def test_words_for_no_value_are_said(word: str, every: int):
    found = read(csv(first_score(lambda _: word, every, WC), ";"))
    assert found.unread.empty
    assert found.layout.attributes == ATTRIBUTES
    assert found.scores["score"].isna().sum() == len(range(0, 48, every))
    assert f"{word!r} was read as no value: glide." in found.notes


UNSEEN = {  # what stands in a name, to how it is put there; one sees the same name with and without
    "a zero-width space": lambda name: f"{name}\u200b",
    "a soft hyphen": lambda name: f"{name[0]}\u00ad{name[1:]}",
    "a byte order mark": lambda name: f"\ufeff{name}",
    "a mark of direction": lambda name: f"{name}\u200f",
    "a blank that does not break": lambda name: name.replace(" ", "\u00a0"),
    "two blanks": lambda name: name.replace(" ", "  "),
    "the end of a line": lambda name: f'"{name}"'.replace(" ", "\n"),
    "accents apart from their letters": lambda name: unicodedata.normalize("NFD", name),
}


@pytest.mark.parametrize("sign", UNSEEN)
def test_names_and_headings_are_read_as_one_sees_them(sign: str):
    of = truth(("Zoé K", "Ann B"), ("Crème 1", "Crème 2"))
    heads = ["Assessor", "Crème name", "Session", *ATTRIBUTES]
    odd = [
        [UNSEEN[sign](cell) if i % 2 == 0 and j < 2 else cell for j, cell in enumerate(row)]
        for i, row in enumerate([heads, *wide(of)[1:]])
    ]
    found = read(csv(odd))
    assert scores_of(found) == scores_in(of)
    assert found.layout.prototype == "Crème name"
    assert any("invisible signs were taken off in column 'Crème name'" in note for note in found.notes)


def hiding() -> bytes:
    content = io.BytesIO()
    with xlsxwriter.Workbook(content, {"in_memory": True}) as workbook:
        page = workbook.add_worksheet()
        for i, row in enumerate(numbers(W)):
            page.write_row(i, 0, row)
        page.write_formula(3, 3, "=1+1", None, "")
        for line in (5, 9, 900):
            page.set_row(line, None, None, {"hidden": True})
        page.set_column(4, 4, None, None, {"hidden": True})
        page.set_column(40, 16_383, None, None, {"hidden": True})
    return content.getvalue()


ASKED = {
    "half the cells are days": (
        csv(first_score(lambda _: "03. Mai", 2)),
        "Only 24 of 48 cells of the column 'glide' are numbers",
    ),
    "all cells are days": (
        csv(first_score(lambda cell: f"{cell[0]}. Mai", 1)),
        "Only 0 of 48 cells of the column 'glide' are",
    ),
    "an apostrophe in each cell": (
        csv(first_score(lambda cell: f"'{cell}", 1)),
        "The apostrophe with which a spreadsheet marks a text was left out: '",
    ),
    "points that may part thousands": (
        csv(wide({key: score * 1000 for key, score in T.items()}, form=lambda v: f"{v:,.0f}".replace(",", ".")), ";"),
        "The point was read as the decimal sign: 1.700 is 1.7",
    ),
    "an error in a workbook below a title": (RIGHT["a title, and errors of the spreadsheet"][0], "read as empty: 6."),
    "the pH of each product": (
        with_column("Wert A", lambda i: f"{5 + i % 4 / 10}"),
        "holds one value for each prototype.",
    ),
    "hidden rows": (hiding(), "Hidden rows of the workbook that were read as well: 2."),
    "a hidden column": (hiding(), "Hidden columns of the workbook that were read as well: 1."),
    "a formula without its result": (hiding(), "Formulas whose result is not stored in the workbook, read as empty"),
    "an amount beside the scores": (
        with_column("Applied (mg)", lambda i: str(200 + i % 7)),
        f"The column 'Applied (mg)' is in mg, unlike the scores. {_SAY_SO}",
    ),
    "a copied sheet": (
        RIGHT["a copy of the sheet"][0],
        "The sheet 'Data (2)' holds the same rows as 'Data' and was left out.",
    ),
}


@pytest.mark.parametrize("what", ASKED)
def test_what_is_doubtful_is_said(what: str):
    content, sentence = ASKED[what]
    assert any(sentence in note for note in read(content).notes)


REFUSED = {
    "each line in quotation marks": (
        b"".join(b'"%b"\r\n' % line for line in csv(WC, ";").splitlines()),
        "which column holds the",
    ),
    "a web page called a workbook": (
        b"\xef\xbb\xbf\n<html><table><tr><td>Assessor</td></tr></table>",
        "a web page or XML",
    ),
    "columns of the same name, numbered by a program": (
        csv([[*row[:5], f"{row[3]}.1" if n == 0 else row[5]] for n, row in enumerate(W)]),
        "what the numbers behind glide are: sessions, replicates",
    ),
    "two scores in each cell": (
        csv(first_score(lambda _: "7/8", 1, [row[:4] for row in W])),
        "no column with scores was found",
    ),
    "no headings": (csv(wide(CODED)[1:]), "has no headings above its rows"),
    "nobody named": (csv(wide(CODED, ("No.", "Sample", "Sess."))), "say which column holds the assessor"),
    "two alike": (
        csv([["Assessor", "Product", "Session", "glide", "Glide", "film"], *W[1:]]),
        "more than one column called 'glide'",
    ),
    "ticks": (
        csv([[*W[0][:3], "1", "2", "3"], *([*row[:3], "x", "", ""] for row in W[1:])]),
        "no column with scores was found",
    ),
    "means only": (
        csv([["Product", *ATTRIBUTES], *([p, "5.1", "6.2", "3.3"] for p in PRODUCTS)]),
        "say which column holds the",
    ),
    "a word of two meanings": (
        csv(wide(T, ("Panéliste", "Essai", "Séance"), comma), ";"),
        "say which column holds the prototype",
    ),
}


@pytest.mark.parametrize("what", REFUSED)
def test_what_cannot_be_told_is_refused_with_advice(what: str):
    content, sentence = REFUSED[what]
    with pytest.raises(StudyError, match=sentence):
        read(content)


def test_a_single_word_beside_a_number_that_goes_with_two_numbers_is_not_read():
    found = read(csv(first_score(lambda cell: f"{cell} = good", 9)))
    assert len(found.unread) == 6


def test_a_person_called_max_is_a_person():
    of = {(("Max" if a == "A01" else a), p, s, t): score for (a, p, s, t), score in T.items()}
    assert scores_of(read(csv(wide(of)))) == scores_in(of)
