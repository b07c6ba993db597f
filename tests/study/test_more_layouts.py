"""Further habits of laying scores out: each gives the long table that the file was made from, or a question.

The judge is that long table: every file is made from it here, with nothing of the reader's.
"""

from __future__ import annotations

from itertools import product

import pandas as pd
import pytest

from panel.errors import StudyError
from panel.study.editing import put_block
from panel.study.raw_table import raw_file
from panel.study.score_sheets import score_table
from panel.study.scores_import import guess_layout, read_scores, study_from_scores
from tests.studies import small_study
from tests.study.test_score_sheets import (
    BOTH,
    CODES,
    KEY,
    LAYOUTS,
    ONE,
    PEOPLE,
    PRODUCTS,
    SITTINGS,
    TERMS,
    TITLE,
    book,
    csv,
    flat_blocks,
    long,
    of_attribute,
    places,
    product_blocks,
    read,
    text,
    value,
    wide,
    wide_both,
)

Scores = set[tuple[str, str, str, str, float]]
DATES = ("2024-03-01", "2024-03-08")


def renamed(scores: Scores, **names: dict[str, str]) -> Scores:
    """Return scores in which people, products, terms or sittings are called otherwise."""
    by = [names.get(role, {}) for role in ("person", "product", "term", "sitting")]
    return {(*(new.get(cell, cell) for new, cell in zip(by, row[:4], strict=True)), row[4]) for row in scores}


def headed(head: list[str], rows: list[list[str]]) -> list[list[str]]:
    return [head, *rows[1:]]


def terms_down(upper: tuple[str, ...], lower: tuple[str, ...]) -> list[list[str]]:
    """Return attributes in rows; over the columns two rows of headings, people and products in either order."""
    people_above = upper == PEOPLE
    top = ["", *(cell for name in upper for cell in (name, *[""] * (len(lower) - 1)))]
    rows = [[t, *(text(value(*((u, w) if people_above else (w, u)), t)) for u in upper for w in lower)] for t in TERMS]
    return [top, ["attribute", *(lower * len(upper))], *rows]


def groups(names: tuple[str, ...], cell) -> list[list[str]]:
    """Return a row for each person and product, with all terms under each of the names."""
    top = ["", "", *(c for name in names for c in (name, *[""] * (len(TERMS) - 1)))]
    rows = [[a, p, *(cell(a, p, t, s) for s in SITTINGS for t in TERMS)] for a in PEOPLE for p in PRODUCTS]
    return [top, ["assessor", "product", *TERMS * 2], *rows]


def columns_of(names: tuple[str, ...], head: str = "attribute") -> list[list[str]]:
    """Return a row for each person, product and term, with a column for each sitting."""
    rows = [[a, p, t, *(text(value(a, p, t, s)) for s in SITTINGS)] for a in PEOPLE for p in PRODUCTS for t in TERMS]
    return [["assessor", "product", head, *names], *rows]


def with_column(rows: list[list[str]], place: int, head: str, cells) -> list[list[str]]:
    return [[*row[:place], head if n == 0 else cells(n), *row[place:]] for n, row in enumerate(rows)]


def stacked(name) -> list[list[str]]:
    """Return a small table for each product below each other, its name in a line above."""
    made: list[list[str]] = []
    for p in PRODUCTS:
        made += [[name(p)], ["assessor", *TERMS], *([a, *(text(value(a, p, t)) for t in TERMS)] for a in PEOPLE), []]
    return made


def side_by_side() -> list[list[str]]:
    top = [cell for p in PRODUCTS for cell in (p, *[""] * (len(TERMS) + 1))]
    heads = [cell for _ in PRODUCTS for cell in ("assessor", *TERMS, "")]
    rows = [[cell for p in PRODUCTS for cell in (a, *(text(value(a, p, t)) for t in TERMS), "")] for a in PEOPLE]
    return [top, heads, *rows]


def attributes_down(across: tuple[str, ...], cell) -> list[list[str]]:
    return [["attribute", *across], *([t, *(text(cell(name, t)) for name in across)] for t in TERMS)]


def two_in_a_row(name) -> list[list[str]]:
    """Return a row for each person and product, the sitting within the names of the columns."""
    rows = [[a, p, *(text(value(a, p, t, s)) for s in SITTINGS for t in TERMS)] for a in PEOPLE for p in PRODUCTS]
    return [["assessor", "product", *(name(t, s) for s in SITTINGS for t in TERMS)], *rows]


GERMAN = ["Pr\u00fcfer", "Produkt", "fettig", "klebrig", "Gl\u00e4nze"]


def behind(rows: list[list[str]], sign: str) -> list[list[str]]:
    return [rows[0], *([*row[:2], *(f"{cell}{sign}" for cell in row[2:])] for row in rows[1:])]


def first_names_only(rows: list[list[str]]) -> list[list[str]]:
    return [row if n % 2 or n == 0 else ["", *row[1:]] for n, row in enumerate(rows)]


def survey(between: str, before: tuple[str, ...], cells: tuple[str, ...]) -> list[list[str]]:
    """Return one row for each person, prototype and attribute in one heading, other columns before them."""
    rows = flat_blocks(lambda p, t: f"{p}{between}{t}")
    return [[*(before if n == 0 else cells), *row] for n, row in enumerate(rows)]


def mean_row(rows: list[list[str]], word: str) -> list[list[str]]:
    sums = [sum(float(row[i].replace(",", ".")) for row in rows[1:]) / (len(rows) - 1) for i in (2, 3, 4)]
    return [*rows, [word, "", *(text(round(each, 2)) for each in sums)]]


FURTHER: dict[str, tuple[tuple[str, bytes], Scores]] = {
    "a total below, German": (csv(mean_row(wide(), "Gesamt")), ONE),
    "a mean below, two words": (csv(mean_row(wide(), "Mean value")), ONE),
    "means of each product below": (
        csv([*wide(), *(["Mittelwert", p, "30", "32", "34"] for p in PRODUCTS), ["Std. dev.", "", "3", "3", "3"]]),
        ONE,
    ),
    "a mean to the right": (csv(with_column(wide(), 5, "Mean", lambda n: f"{n}.25")), ONE),
    "a sum to the right, German": (csv(with_column(wide(), 5, "Summe", lambda n: f"{n}.25")), ONE),
    "an empty column between": (csv(with_column(wide(), 2, "", lambda n: "")), ONE),
    "empty columns between the blocks": (csv(with_column(product_blocks(), 4, "", lambda n: "")), ONE),
    "empty lines between the people": (
        csv([each for n, row in enumerate(wide()) for each in ([row, []] if n % 2 == 0 else [row])]),
        ONE,
    ),
    "dates as sessions in a column": (
        csv([[*r[:2], DATES[int(r[2]) - 1] if n else "date", *r[3:]] for n, r in enumerate(wide_both())]),
        renamed(BOTH, sitting=dict(zip(SITTINGS, DATES, strict=True))),
    ),
    "a sheet for each date": (
        book(**{date: wide(s) for s, date in zip(SITTINGS, DATES, strict=True)}),
        renamed(BOTH, sitting=dict(zip(SITTINGS, DATES, strict=True))),
    ),
    "dates over the columns": (
        csv(groups(DATES, lambda a, p, t, s: text(value(a, p, t, s)))),
        renamed(BOTH, sitting=dict(zip(SITTINGS, DATES, strict=True))),
    ),
    "German dates over the columns": (
        csv(groups(("01.03.2024", "08.03.2024"), lambda a, p, t, s: text(value(a, p, t, s)))),
        renamed(BOTH, sitting={"1": "01.03.2024", "2": "08.03.2024"}),
    ),
    "units in the headings": (
        csv(headed(["assessor", "product", "greasy (0-100)", "sticky [0-100]", "gloss, points"], wide())),
        renamed(ONE, term={"greasy": "greasy (0-100)", "sticky": "sticky [0-100]", "gloss": "gloss, points"}),
    ),
    "headings in capitals": (
        csv(headed(["PANELIST_NAME", "SAMPLE_CODE", "GREASY", "STICKY", "GLOSS"], wide())),
        renamed(ONE, term={t: t.upper() for t in TERMS}),
    ),
    "headings of two lines in one cell": (
        csv([['"panel\nmember"', "product", '"greasy\n(film)"', "sticky", "gloss"], *wide()[1:]]),
        renamed(ONE, term={"greasy": "greasy (film)"}),
    ),
    "stages within the names": (
        csv(headed(["assessor", "product", "rub-out: greasy", "rub-out: sticky", "after: gloss"], wide())),
        renamed(ONE, term={"greasy": "rub-out: greasy", "sticky": "rub-out: sticky", "gloss": "after: gloss"}),
    ),
    "names merged over their rows": (
        book(
            merge=(("A2:A3", "A01"), ("A4:A5", "A02"), ("A6:A7", "A03")),
            Data=[r if n % 2 or n == 0 else ["", *r[1:]] for n, r in enumerate(wide())],
        ),
        ONE,
    ),
    "the sign stated in the first line": (("s.csv", b"sep=;\r\n" + csv(wide(decimal=","))[1]), ONE),
    "two bytes a letter, tabs": (("s.txt", csv(wide(), "\t")[1].decode().encode("utf-16")), ONE),
    "an older encoding": (
        (
            "s.csv",
            csv(headed(["Pr\u00fcfer", "Produkt", "fettig", "klebrig", "Gl\u00e4nze"], wide(decimal=",")))[1]
            .decode()
            .encode("cp1252"),
        ),
        renamed(ONE, term={"greasy": "fettig", "sticky": "klebrig", "gloss": "Gl\u00e4nze"}),
    ),
    "decimal commas in quotes between commas": (
        csv([[f'"{cell}"' for cell in row] for row in wide(decimal=",")], ","),
        ONE,
    ),
    "per cent signs": (
        csv([[c if i < 2 or n == 0 else f"{c} %" for i, c in enumerate(r)] for n, r in enumerate(wide())]),
        ONE,
    ),
    "row numbers without a heading": (csv(with_column(wide(), 0, "", str)), ONE),
    "row numbers called Nr.": (csv(with_column(wide(), 0, "Nr.", str)), ONE),
    "a comment at the end": (csv(with_column(wide(), 5, "remarks", lambda n: "ok" if n % 2 else "")), ONE),
    "place, time of day and batch": (
        csv(
            with_column(
                with_column(
                    with_column(wide(), 2, "position", lambda n: f"{n % 2 + 1}"), 3, "time", lambda n: f"10:{n:02d}"
                ),
                4,
                "batch",
                lambda n: f"L{n}",
            )
        ),
        {(a, p, t, "", v) for a, p, t, _, v in ONE},
    ),
    "numbers as names": (
        csv([[r[0][1:], CODES[r[1]], *r[2:]] if n else r for n, r in enumerate(wide())]),
        renamed(ONE, person={a: a[1:] for a in PEOPLE}, product=CODES),
    ),
    "code and name of the product": (
        csv(with_column(wide(), 2, "blind code", lambda n: CODES[PRODUCTS[(n - 1) % 2]])),
        ONE,
    ),
    "cells that say that there is none": (
        csv([[*r[:2], "n/a", *r[3:]] if n == 1 else r for n, r in enumerate(wide())]),
        {row for row in ONE if row[:3] != ("A01", "P1", "greasy")},
    ),
    "a legend below": (csv([*wide(), [], ["0 = not at all, 100 = extremely"]]), ONE),
    "a legend below, workbook": (book(Data=[*wide(), [], ["0 = not at all, 100 = extremely"]]), ONE),
    "repeats as blocks": (
        csv(groups(("Rep 1", "Rep 2"), lambda a, p, t, s: text(value(a, p, t, s)))),
        {(a, p, t, "", v) for a, p, t, _, v in BOTH},
    ),
    "repeats as columns": (csv(columns_of(("rep 1", "rep 2"))), {(a, p, t, "", v) for a, p, t, _, v in BOTH}),
    "sessions as columns": (
        csv(columns_of(("Session 1", "Session 2"))),
        {(a, p, t, f"Session {s}", v) for a, p, t, s, v in BOTH},
    ),
    "sheets with columns in another order": (
        book(Session_1=wide("1"), Session_2=[[r[1], r[0], r[4], r[3], r[2]] for r in wide("2")]),
        {(a, p, t, f"Session {s}", v) for a, p, t, s, v in BOTH},
    ),
    "sheets with headings in other letters": (
        book(Session_1=wide("1"), Session_2=[[c.title() for c in wide()[0]], *wide("2")[1:]]),
        {(a, p, t, f"Session {s}", v) for a, p, t, s, v in BOTH},
    ),
    "a sheet of words first": (book(Info=[["Panel", "hand cream"], ["Leader", "EK"]], Data=wide()), ONE),
    "a sheet of means after": (
        book(Data=wide(), Means=[["product", *TERMS], *([p, "1.5", "2.5", "3.5"] for p in PRODUCTS)]),
        ONE,
    ),
    "a sheet of means first": (
        book(Means=[["product", *TERMS], *([p, "1.5", "2.5", "3.5"] for p in PRODUCTS)], Data=wide()),
        ONE,
    ),
    "attributes down, a sheet for each person": (
        book(**{f"Judge_{a}": attributes_down(PRODUCTS, lambda p, t, a=a: value(a, p, t)) for a in PEOPLE}),
        renamed(ONE, person={a: f"Judge {a}" for a in PEOPLE}),
    ),
    "attributes down, a sheet for each product": (
        book(**{f"Produkt_{p}": attributes_down(PEOPLE, lambda a, t, p=p: value(a, p, t)) for p in PRODUCTS}),
        renamed(ONE, product={p: f"Produkt {p}" for p in PRODUCTS}),
    ),
    "survey, one row for each person": (
        csv(survey(": ", ("Respondent started", "Language"), ("2024-03-01 10:00", "en"))),
        ONE,
    ),
    "survey, with seconds and age": (csv(survey("_", ("Duration (s)", "Age"), ("312", "34"))), ONE),
    "title rows, tabs and decimal commas": (csv([*TITLE, *wide(decimal=",")], "\t"), ONE),
    "long, with a mean for each product": (
        csv([*long(), *(["Mean", p, t, "30,5"] for p in PRODUCTS for t in TERMS)]),
        ONE,
    ),
    "long, with a unit column": (csv(with_column(long(), 3, "unit", lambda n: "GU")), ONE),
    "a key on a sheet of its own, German": (
        book(
            Werte=[["Pr\u00fcfer", "Code", *TERMS], *([r[0], CODES[r[1]], *r[2:]] for r in wide()[1:])],
            Codes=[["Code", "Muster"], *KEY[1:]],
        ),
        ONE,
    ),
    "units in a line of their own": (csv([wide()[0], ["", "", "(0-100)", "(0-100)", "GU"], *wide()[1:]]), ONE),
    "a mean beside the blocks": (
        csv([[*row, "" if n == 0 else "Mean" if n == 1 else "3.25"] for n, row in enumerate(product_blocks())]),
        ONE,
    ),
    "sessions in brackets behind the attributes": (
        csv(two_in_a_row(lambda t, s: f"{t} (Session {s})")),
        {(a, p, t, f"Session {s}", v) for a, p, t, s, v in BOTH},
    ),
    "repeats before the attributes": (
        csv(two_in_a_row(lambda t, s: f"R{s}_{t}")),
        {(a, p, t, "", v) for a, p, t, _, v in BOTH},
    ),
    "a title with a number": (csv([["Panel 3", "2024"], *wide()]), ONE),
    "the headings again half-way": (csv([*wide()[:4], wide()[0], *wide()[4:]]), ONE),
    "an instruction below the headings": (csv([wide()[0], ["please score from 0 to 100"], *wide()[1:]]), ONE),
    "about the people": (
        csv(with_column(with_column(wide(), 1, "Gender", lambda n: "f"), 2, "Year of birth", lambda n: "1980")),
        ONE,
    ),
    "days as numbers": (
        csv([[*r[:2], f"{45352 + int(r[2])}" if n else "date", *r[3:]] for n, r in enumerate(wide_both())]),
        {(a, p, t, f"{45352 + int(s)}", v) for a, p, t, s, v in BOTH},
    ),
    "small tables below each other": (
        csv(stacked(lambda p: f"Prototype {p}")),
        renamed(ONE, product={p: f"Prototype {p}" for p in PRODUCTS}),
    ),
    "small tables, the name alone": (csv(stacked(lambda p: p)), ONE),
    "small tables beside each other": (csv(side_by_side()), ONE),
    "names on their first rows only": (csv(first_names_only(wide())), ONE),
    "scores of a hundred": (csv(behind(wide(), "/100")), ONE),
}


@pytest.mark.parametrize("layout", FURTHER)
def test_each_further_layout_gives_the_same_scores(layout: str):
    file, expected = FURTHER[layout]
    found = read(file)
    assert places(found[found["score"].notna()]) == expected


DOWN = terms_down(PEOPLE, PRODUCTS)
QUESTIONS: dict[str, tuple[tuple[str, bytes], str]] = {
    "attributes down, people over products": (csv(DOWN), "whether A01, A02 and A03 or P1 and P2 are the prototypes"),
    "attributes down, products over people": (csv(terms_down(PRODUCTS, PEOPLE)), "are the prototypes. Write Prototype"),
    "attributes down, bare names of sheets": (
        book(**{p: attributes_down(PEOPLE, lambda a, t, p=p: value(a, p, t)) for p in PRODUCTS}),
        "whether the sheets P1 and P2 or the columns A01, A02 and A03 are the prototypes",
    ),
    "columns of nobody knows what": (csv(columns_of(("left", "right"))), "what the columns left and right are beside"),
    "a bare number behind the attribute": (csv(two_in_a_row(lambda t, s: f"{t}{s}")), "what the numbers behind gloss"),
    "no headings": (csv(wide()[1:]), "has no headings above its rows"),
    "no headings, long": (csv(long()[1:]), "has no headings above its rows"),
    "one attribute, the prototypes across": (csv(of_attribute("greasy")), "say which column holds the prototype"),
    "a footnote with numbers": (csv([*wide(), ["n = 3", "", "3", "3", "3"]]), "1 row with scores name no prototype"),
    "one attribute twice": (csv([["assessor", "product", "greasy", "greasy", "gloss"], *wide()[1:]]), "more than one"),
}


@pytest.mark.parametrize("layout", QUESTIONS)
def test_what_a_file_does_not_tell_is_asked(layout: str):
    file, question = QUESTIONS[layout]
    with pytest.raises(StudyError) as caught:
        read(file)
    assert question in str(caught.value)


def test_there_are_more_than_sixty_layouts_and_none_is_another():
    contents = [file[1] for file, _ in (*LAYOUTS.values(), *FURTHER.values(), *QUESTIONS.values())]
    assert len(set(contents)) == len(contents) >= 100


def test_what_a_sheet_shows_beside_the_scores_is_named():
    notes = " ".join(score_table(raw_file(*FURTHER["units in a line of their own"][0])).notes)
    assert "The line below the headings was left out: (0-100) and GU." in notes
    means = score_table(raw_file(*FURTHER["means of each product below"][0]))
    assert "Rows with means or totals were left out: line 8, 9 and 10." in means.notes
    column = score_table(raw_file(*FURTHER["a mean to the right"][0]))
    assert "Columns that were not used: Mean." in read_scores(column, guess_layout(column)).notes


def test_the_line_with_the_headings_can_be_chosen():
    rows = [["Score sheet", "to be", "filled", "by", "hand"], ["who", "what", "1.5", "2.5", "3.5"], *wide()]
    file = raw_file(*csv(rows))
    table = score_table(file, heading=3)
    assert places(read_scores(table, guess_layout(table)).scores) == ONE
    second = score_table(raw_file(*csv(stacked(lambda p: p))), heading=2)
    assert second.header == ("assessor", *TERMS)  # and only then is it asked which prototype it is
    with pytest.raises(StudyError, match=r"no table below line 99; say on which line the headings"):
        score_table(file, heading=99)


DAYS = {"1": "3 March", "2": "5 March", "3": "10 March"}


def rounds_on_days(heading: str, number: str, made_up: str) -> list[list[str]]:
    """Return three rounds of three people, of which C made up the second one on another day."""
    rows = [["Panellist", heading, "Date", "Product", "glide", "tack"]]
    for who, n, of in product("ABC", DAYS, ("P1", "P2")):
        day = made_up if (who, n) == ("C", "2") else DAYS[n]
        rows.append([who, number.format(n), f"2025-03-{int(day.split()[0]):02d}", of, f"{len(rows) % 9}.5", "4"])
    return rows


@pytest.mark.parametrize("heading", ["Round", "Turn", "Sitting", "Run", "Durchgang", "Tour"])
@pytest.mark.parametrize("made_up", ["7 March", "10 March"])
def test_who_makes_up_a_round_stays_in_it(heading: str, made_up: str):
    table = score_table(raw_file(*csv(rounds_on_days(heading, "{}", made_up))))
    read = read_scores(table, guess_layout(table))
    assert read.scores.groupby("session")["assessor"].nunique().to_dict() == {"1": 3, "2": 3, "3": 3}
    assert heading == "Sitting" or f"{heading!r} was read as the session, and not 'Date' (2 on 2 days)" in " ".join(
        read.notes
    )
    asked = read_scores(table, guess_layout(table, {"session": "Date"}))
    assert len(asked.scores["session"].unique()) == 3 + (made_up == "7 March")


def test_rounds_of_one_day_are_replicates_and_days_of_their_own_are_sessions():
    rows = rounds_on_days("Round", "{}", "5 March")
    table = score_table(
        raw_file(*csv([[*row[:2], row[2] if row[0] == "Panellist" else "2025-03-03", *row[3:]] for row in rows]))
    )
    layout = guess_layout(table)
    assert (layout.session, layout.replicate) == ("Date", "Round")
    plain = score_table(raw_file(*csv(rows)))
    assert guess_layout(plain).session == "Date"  # a day for each round: the same either way


@pytest.mark.parametrize("days", [("Tue 6/5", "Thu 8/5"), ("14-Jan-25", "16-Jan-25"), ("6.5.", "8.5.")])
def test_a_column_of_days_parts_rows_that_would_repeat_each_other_whatever_it_is_called(days: tuple[str, str]):
    rows = [["Name", "Morning", "Product", "glide", "tack"]]
    for n, (who, day, of) in enumerate(product("ABC", days, ("P1", "P2"))):
        rows.append([who, day, of, f"{n % 5}", f"{n % 3}.5"])
    layout = guess_layout(score_table(raw_file(*csv(rows))))
    assert (layout.session, layout.attributes) == ("Morning", ("glide", "tack"))


def stop_watch(title: str, written: str) -> tuple[list[list[str]], dict[tuple[str, str, str], float]]:
    """Return a sheet with a column for each prototype and the seconds that were written into it."""
    codes, seconds = ("DS-10", "DS-11", "DS-12"), {}
    rows = [[title, "", "", "", ""], ["Who", "Day", *codes]]
    for n, (who, day) in enumerate(product("ABC", "12")):
        took = [61 + 7 * n + 13 * k for k in range(len(codes))]
        rows.append([who, day, *(written.format(m=s // 60, s=s % 60) for s in took)])
        seconds |= {(who, day, code): float(s) for code, s in zip(codes, took, strict=True)}
    return rows, seconds


@pytest.mark.parametrize("said", ["min:s", "m:ss", "mm:ss", "in min:sec"])
@pytest.mark.parametrize("written", ["{m}:{s:02d}", "00:{m:02d}:{s:02d}", "{m:02d}:{s:02d}:00"])
def test_times_below_prototypes_are_seconds_of_what_the_title_says(said: str, written: str):
    rows, seconds = stop_watch(f"dry to the touch, {said}", written)
    file = raw_file(*book(Watch=rows, Remarks=[["two strokes"], ["arm lowered"], ["x"]], Lines=wide()))
    table = score_table(file, "Watch")
    read = read_scores(table, guess_layout(table)).scores
    assert set(read["attribute"]) <= {"dry to the touch, s", "dry to the touch, in s"}
    assert {(r.assessor, r.session, r.prototype): r.score for r in read.itertuples()} == seconds
    told = " ".join(table.notes)
    assert "were read as minutes and seconds" in told
    assert "is 61 s" in told
    assert "Other sheets were not read: Remarks, Lines." in told


def test_times_of_which_nothing_says_what_they_are_are_refused_at_once():
    rows, _ = stop_watch("dry to the touch", "{m}:{s:02d}")
    with pytest.raises(StudyError, match=r"hold times such as 1:01: minutes and seconds, or of the day\? Write min:s"):
        score_table(raw_file(*book(Watch=rows)))
    questions = [["Who", "Q1", "Q2"], *([who, str(n % 5), str(n % 3)] for n, who in enumerate("ABCDEF"))]
    table = score_table(raw_file(*book(Answers=questions)))
    with pytest.raises(StudyError, match="say which column holds the prototype"):
        read_scores(table, guess_layout(table))


def test_times_put_into_the_scores_of_a_study_are_refused_with_what_to_do():
    block = pd.DataFrame({"assessor": ["A"], "prototype": ["P1"], "attribute": ["dry"], "score": ["1:37"]})
    with pytest.raises(StudyError, match=r"1 cell of score with a time such as 1:37: nothing was put in.*in seconds"):
        put_block(small_study(), "scores", block)


def test_a_column_whose_times_became_seconds_is_found_by_its_heading_in_the_file():
    times = ("2:05", "1:40", "0:58", "3:10")
    rows = [["Judge", "Sample", "Slip", "Absorbed after (min:s)"]]
    rows += [[who, of, str(n), times[n % 4]] for n, (who, of) in enumerate(product("ABC", ("P1", "P2")))]
    table = score_table(raw_file("times.csv", "\n".join(map(";".join, rows)).encode()))
    layout = guess_layout(table, scored=["Absorbed after (min:s)", "Slip"])
    read = read_scores(table, layout).scores.query("attribute == 'Absorbed after (s)'")
    assert {*read["score"]} == {125.0, 100.0, 58.0, 190.0}
    with pytest.raises(
        StudyError, match=r"no column 'Absorbed'; its columns are Judge, Sample, Slip, Absorbed after \(min:s\)"
    ):
        guess_layout(table, scored=["Absorbed"])


def bench(times: bool = True, line: str = "Shine 0-10, setting time in min:s") -> dict[str, list[list[str]]]:
    """A sheet for each judge of nail varnishes: shine and colour are rated, the setting time is on a stop-watch."""
    sheets = {}
    for n, who in enumerate(("Ida", "Jon", "Kim")):
        rows = [[f"Bench of {who}"], [line], ["Product", "Shine", "Setting time", "Even colour"]]
        for k, of in enumerate(("V1", "V2", "V3")):
            rows.append([of, str(3 + n + k), f"0{1 + k}:1{n}" if times else str(70 + n), str(9 - k)])
        sheets[who] = rows
    return sheets


def test_times_beside_ratings_are_measured_in_seconds_whatever_line_says_so():
    file = raw_file(*book(**bench()))
    table = score_table(file)
    assert "Times in 'Ida', 'Jon' and 'Kim' were read as minutes and seconds: 01:10 is 70 s." in table.notes
    assert sum("Above the headings" in note for note in table.notes) == 1
    assert "Lines above the headings of 2 more sheets were left out like these." in table.notes
    imported = read_scores(table, guess_layout(table, scored=["Shine", "Setting time", "Even colour"]))
    study = study_from_scores(imported, file, "varnish", 0, 10)
    listed = study.table("attributes").set_index("attribute")
    assert listed.loc["Setting time (s)", "unit"] == "s"
    assert list(study.scales(["Shine", "Setting time (s)", "Even colour"])) == [(0, 10), None, (0, 10)]
    took = study.scores.loc[study.scores["attribute"] == "Setting time (s)", "score"]
    assert {*took} == {60.0 * k + 10 + n for k in (1, 2, 3) for n in range(3)}
    unsaid = read_scores(table, guess_layout(table))  # it comes in by itself, and no scale of 0 to 10 is laid on it
    assert list(study_from_scores(unsaid, file, "varnish", 0, 10).scales(["Shine", "Setting time (s)"])) == [
        (0, 10),
        None,
    ]


def tablet(unit: str, name: str = "gone from the skin") -> str:
    """A row for each answer: thickness is rated, and how long it takes is on a stop-watch, one blank among them."""
    rows = ["Judge;Serum;Descriptor;Unit;Value"]
    for n, who in enumerate(("Ida", "Jon", "Kim")):
        for k, of in enumerate(("S1", "S2")):
            rows.append(f"{who};{of};thick;0-9;{2 + n + k}")
            rows.append(f"{who};{of};{name};{unit};" + ("" if n + k == 3 else f"0{n}:4{k}"))
    return "\n".join(rows)


@pytest.mark.parametrize(
    ("unit", "name"), [("min:s", "gone"), ("mm:ss", "gone"), ("", "gone (mm:ss)"), ("line", "gone")]
)
def test_times_of_one_attribute_among_ratings_are_its_seconds(unit: str, name: str):
    above = "Serums, times in min:s;;;;\n" if unit == "line" else ""
    file = raw_file("tablet.csv", (above + tablet(unit.replace("line", ""), name)).encode())
    table = score_table(file)
    assert "Times of " + name + " were read as minutes and seconds: 00:40 is 40 s." in table.notes
    study = study_from_scores(read_scores(table, guess_layout(table)), file, "serum", 0, 9)
    assert study.unread.empty
    took = study.scores.loc[study.scores["attribute"] == "gone (s)", "score"]
    assert took.dropna().tolist() == [40.0, 41.0, 100.0, 101.0, 160.0]
    assert list(study.scales(["thick", "gone (s)"])) == [(0, 9), None]


def test_times_of_one_attribute_are_refused_where_nothing_says_what_they_are():
    said = r"tablet.csv: gone from the skin hold times such as 00:40: .* Write min:s behind them or into the line above"
    with pytest.raises(StudyError, match=said):
        score_table(raw_file("tablet.csv", tablet("").encode()))
    one = tablet("").replace(";00:41", ";1").replace(";01:40", ";2").replace(";01:41", ";1").replace(";02:40", ";4")
    table = score_table(raw_file("tablet.csv", one.encode()))  # a slip among numbers is told as a slip
    assert read_scores(table, guess_layout(table)).unread["text"].tolist() == ["00:40"]


@pytest.mark.parametrize(
    "name", ["Strokes until even (number)", "Rub-out (strokes)", "Drops [count]", "Number of rubs"]
)
def test_what_is_counted_takes_no_scale_of_what_is_rated(name: str):
    rows = [["Judge", "Sample", "Slip", "Waxy", name]]
    rows += [[who, of, str(1 + n % 9), "40", str(9 + n)] for n, (who, of) in enumerate(product("ABCDEF", ("P1", "P2")))]
    file = raw_file("counted.csv", "\n".join(map(";".join, rows)).encode())
    table = score_table(file)
    imported = read_scores(table, guess_layout(table, scored=["Slip", "Waxy", name]))
    study = study_from_scores(imported, file, "counted", 1, 9)
    assert list(study.scales(["Slip", "Waxy", name])) == [(1, 9), (1, 9), None]  # a wrong scale is left to be warned of
    assert study.facts["import"]["done"][-1] == f"Counted, not rated, so the scale is not its own: {name!r}."
    assert list(study_from_scores(imported, file, "fits", 0, 40).scales([name])) == [None]  # though all lie on it


def blind(days: tuple[str, str], heads: tuple[str, str], again: bool = False) -> dict[str, list[list[str]]]:
    """Scores of three soaps by codes, other ones on each of two days, and a key with a column of codes for each day."""
    codes = {"soap A": ("417", "902"), "soap B": ("638", "417" if again else "255"), "soap C": ("194", "573")}
    rows = [["Judge", "Day", "Code", "lather", "dry"]]
    for n, who in enumerate(("Ida", "Jon")):
        for day, label in enumerate(days):
            rows += [[who, label, own[day], str(n + k + 2), str(9 - k - 3 * n)] for k, own in enumerate(codes.values())]
    key = [["Product", "Remark", *heads], *([name, "bar", *own] for name, own in codes.items())]
    return {"Scores": rows, "Unblinding": key}


@pytest.mark.parametrize("heads", [("Code Monday", "Code Friday"), ("Day 1", "Day 2"), ("1st code", "2nd code")])
def test_a_key_with_a_column_of_codes_for_each_day_is_read_whole_whatever_the_days_are_called(heads):
    file = raw_file(*book(**blind(("Mon 3/3", "Fri 7/3"), heads)))
    table = score_table(file)
    scores = read_scores(table, guess_layout(table)).scores.query("attribute == 'dry'")
    assert scores.groupby("prototype")["score"].unique().map(list).to_dict() == {
        "soap A": [9.0, 6.0],
        "soap B": [8.0, 5.0],
        "soap C": [7.0, 4.0],
    }
    assert {*scores["session"]} == {"Mon 3/3", "Fri 7/3"}
    assert not any("not read" in note for note in table.notes)


def test_a_code_with_two_meanings_is_resolved_by_its_day_or_refused():
    table = score_table(raw_file(*book(**blind(("Day 1", "Day 2"), ("Day 1", "Day 2"), again=True))))
    scores = read_scores(table, guess_layout(table)).scores.query("attribute == 'dry'")
    assert {*scores["prototype"]} == {"soap A", "soap B", "soap C"}
    assert scores.groupby("prototype")["score"].nunique().tolist() == [2, 2, 2]
    said = r"The key in 'Unblinding' does not hold the codes .* within its session, of which key and scores must say"
    with pytest.raises(StudyError, match=said):
        score_table(raw_file(*book(**blind(("Mon 3/3", "Fri 7/3"), ("Code Monday", "Code Friday"), again=True))))


@pytest.mark.parametrize("called", ["Sample", "Code"])
def test_a_column_of_codes_is_one_however_it_is_called(called: str):
    sheets = blind(("Day 1", "Day 2"), ("Day 1", "Day 2"))
    rows = sheets["Scores"]
    table = score_table(raw_file(*book(**sheets | {"Scores": [["Judge", "Day", called, *rows[0][3:]], *rows[1:]]})))
    assert table.header.count("blind code") == 1
    assert [*table.column("blind code")] == [row[2] for row in rows[1:]]
    assert not any("beside the code" in name for name in table.header)


def grouped_brushes(heads: tuple[str, ...]) -> list[list[str]]:
    rows = [["", "", "stiff hairs", "", "soft hairs", ""], ["Judge", "Sample", *heads]]
    return [
        *rows,
        *([j, s, *(str(1 + (n + k) % 9) for k in range(4))] for n, (j, s) in enumerate(product("ABC", "XY"))),
    ]


def test_two_columns_of_one_name_take_the_group_above_them():
    table = score_table(raw_file(*book(Scores=grouped_brushes(("sheds", "scratches", "bends", "scratches")))))
    read = read_scores(table, guess_layout(table)).scores
    assert list(read["attribute"].unique()) == ["sheds", "scratches (stiff hairs)", "bends", "scratches (soft hairs)"]
    told = "Of several columns of one name each took what stands above it: scratches (stiff hairs) and scratches (soft"
    assert any(told in note for note in table.notes)
    assert read.loc[read["attribute"] == "scratches (soft hairs)", "score"].tolist() == [4.0, 5.0, 6.0, 7.0, 8.0, 9.0]


def test_groups_of_the_same_columns_are_asked_about():
    with pytest.raises(StudyError, match="what the groups of columns stiff hairs and soft hairs are"):
        score_table(raw_file(*book(Scores=grouped_brushes(("sheds", "scratches", "sheds", "scratches")))))
    table = score_table(raw_file(*book(Scores=grouped_brushes(("sheds", "scratches", "bends", "clumps")))))
    assert "The headings above the headings were left out: stiff hairs and soft hairs." in table.notes


# What day a session was held on, where its name says so. Which dates are open: arithmetic of the calendar.


def recorded(rows: list[list[str]] | dict[str, list[list[str]]]):
    """Return the day kept for each session, and the notes of reading them."""
    file = raw_file(*(book(**rows) if isinstance(rows, dict) else csv(rows)))
    table = score_table(file)
    read = read_scores(table, guess_layout(table))
    days = read.scores.groupby("session")["recorded_at"].unique().map("; ".join).to_dict()
    return days, " ".join(read.notes)


def named_sessions(names: dict[str, str]) -> list[list[str]]:
    head, *rows = wide_both()
    return [head, *([a, p, names[s], *rest] for a, p, s, *rest in rows)]


@pytest.mark.parametrize(
    "names",
    [
        {"1": "Session 1 14/03/2026", "2": "Session 2 21/03/2026"},
        {"1": "14 March 2026 (session 1)", "2": "21 March 2026 (session 2)"},
        {"1": "2026-03-14", "2": "2026-03-21"},
        {"1": "S1, 14.3.26", "2": "S2, 21.3.26"},
        {"1": "March 14th, 2026", "2": "March 21st, 2026"},
        {"1": "14. März 2026", "2": "21. März 2026"},
        {"1": "14 de marzo de 2026", "2": "21 de marzo de 2026"},
    ],
)
def test_the_day_in_the_name_of_a_session_is_kept(names: dict[str, str]):
    days, notes = recorded(named_sessions(names))
    assert days == {names["1"]: "2026-03-14", names["2"]: "2026-03-21"}
    assert f"Days were read from the names of the sessions: 2026-03-14 of {names['1']!r}" in notes


@pytest.mark.parametrize("ask", ["03/04/2026", "Session 1 (4-3-2026)"])
def test_a_day_and_month_that_may_be_exchanged_are_asked_about(ask: str):
    for other in ("S2, 21.3.26", "8/3/2026", "the last"):
        days, notes = recorded(named_sessions({"1": ask, "2": other}))
        assert days == {ask: "", other: "2026-03-21" if other == "S2, 21.3.26" else ""}
        assert "Day and month may be exchanged in session" in notes
    assert f"Day and month may be exchanged in session {ask!r}, so no day was kept" in notes
    assert "the fact `dates`" in notes


@pytest.mark.parametrize(
    ("names", "days"),
    [
        (("03/04/2026", "21/03/2026"), ("2026-04-03", "2026-03-21")),
        (("Round 1 (4-3-2026)", "Round 2 (4-13-2026)"), ("2026-04-03", "2026-04-13")),
        (("03/04/2026", "04/21/2026"), ("2026-03-04", "2026-04-21")),
    ],
)
def test_the_day_of_one_session_settles_which_number_is_the_month(names: tuple[str, str], days: tuple[str, str]):
    found, notes = recorded(named_sessions(dict(zip("12", names, strict=True))))
    assert found == dict(zip(names, days, strict=True))
    assert "may be exchanged" not in notes


@pytest.mark.parametrize("name", ["1", "Session 12", "14 March", "14/03", "Lot 99/99/2026", "Panel 2026"])
def test_what_is_no_whole_date_is_no_day(name: str):
    days, notes = recorded(named_sessions({"1": name, "2": "last"}))
    assert set(days.values()) == {""}
    assert "ays were read" not in notes


def test_a_moment_of_its_own_comes_before_the_name_of_the_session():
    rows = with_column(
        named_sessions({"1": "14/03/2026", "2": "21/03/2026"}), 3, "Timestamp", lambda _: "2026-03-15 10:00"
    )
    assert set(recorded(rows)[0].values()) == {"2026-03-15 10:00"}


def test_the_day_of_a_sheet_is_that_of_its_name_or_of_the_line_above_its_headings():
    named, _ = recorded({"14 March 2026": wide("1"), "21 March 2026": wide("2")})
    assert named == {"14 March 2026": "2026-03-14", "21 March 2026": "2026-03-21"}
    sheets = {name: [[f"Session {n}, {day}"], *wide(n)] for n, name, day in DATED_SHEETS}
    above, notes = recorded(sheets)
    assert above == {"First": "2026-03-14", "Second": "2026-03-21"}
    assert "The day above the headings of 'Second' is that of its scores: 2026-03-21." in notes
    sheets = {
        name: [[f"Session {n}, {day}"], *wide(n)] for (n, name, _), day in zip(DATED_SHEETS, SETTLED, strict=True)
    }
    assert set(recorded(sheets)[0].values()) == {"2026-03-02", "2026-03-14"}
    sheets = {name: [[f"Session {n}, 03/04/2026"], *wide(n)] for n, name, _ in DATED_SHEETS}
    above, notes = recorded(sheets)
    assert set(above.values()) == {""}
    assert "Day and month may be exchanged above the headings of 'First' and 'Second'" in notes


DATED_SHEETS = (("1", "First", "14/03/2026"), ("2", "Second", "21 March 2026"))
SETTLED = ("02/03/2026", "14/03/2026")


@pytest.mark.parametrize("above", [["Means"], []])
def test_a_table_of_means_below_the_scores_is_left_out_and_that_is_said(above: list[str]):
    """Its numbers stand in other columns than the scores, under headings of its own."""
    rows = wide()
    means = [["Product", *TERMS], *([name, *("41.5" for _ in TERMS)] for name in PRODUCTS)]
    file = csv([*rows, [], *([above] if above else []), *means])
    assert read(file).equals(read(csv(rows)))
    notes = score_table(raw_file(*file)).notes
    first = len(rows) + 2
    assert any(f"Another table without 'assessor' was left out: line {first} to" in note for note in notes)


def test_a_row_with_sigma_before_it_is_one_of_totals():
    rows = wide()
    sums = ["\u03a3", *("" for _ in rows[0][1 : -len(TERMS)]), *("180" for _ in TERMS)]
    assert read(csv([*rows, sums])).equals(read(csv(rows)))


def test_a_row_without_any_score_is_no_other_table():
    """Whoever missed a sample has words in every column, and its cream may be called Cream."""
    rows = [
        ["assessor", "product", *TERMS],
        ["A1", "Cream", *("5" for _ in TERMS)],
        ["A2", "Gel", *("4" for _ in TERMS)],
    ]
    absent = ["A2", "Cream", *("absent" for _ in TERMS)]
    notes = score_table(raw_file(*csv([*rows, absent, ["A1", "Gel", *("7" for _ in TERMS)]]))).notes
    assert not any("Another table" in note for note in notes)
