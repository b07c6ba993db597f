"""Files that a person simply reads: small tables on one sheet, names once, codes of each person, notes beside a table.

The judge is the long table that each file is made from, with nothing of the reader's; what cannot be told is asked.
"""

from __future__ import annotations

from itertools import chain, product

import pandas as pd
import pytest

from panel.checks.all_checks import check_study
from panel.errors import StudyError
from panel.study.file_names import _axes_roles, are_exchanged, are_people
from panel.study.knowledge import said_missing, said_scale
from panel.study.numbers_read import read_numbers
from panel.study.raw_table import RawTable, raw_file
from panel.study.scores_import import study_from_scores
from panel.study.study import Study
from panel.study.survey import read_survey, survey_table, with_survey
from tests.study.test_odd_files import NAMES, by_sitting, imported, named, scored, truth
from tests.study.test_score_sheets import PEOPLE, PRODUCTS, SITTINGS, TERMS, book, csv, wide, wide_both

Rows = list[list[str]]
WHO = tuple(NAMES.values())
GELS = dict(zip(PRODUCTS, ("Gel 1", "Gel 2"), strict=True))


def of_product(s: str = "1", first: str = "Judge") -> Rows:
    """Return a small table of one sitting for each attribute, beside each other: people down, prototypes across."""
    rows = [[c for t in TERMS for c in (NAMES[a], *(scored(a, p, t, s) for p in PRODUCTS), "")] for a in PEOPLE]
    top = [c for t in TERMS for c in (t, "", "", "")]
    return [top, [c for _ in TERMS for c in (first, *GELS.values(), "")], *rows]


def beside_and_below() -> Rows:
    made: Rows = []
    for s in SITTINGS:
        top, *rest = of_product(s)
        made += [[f"Replica {'I' * int(s)}", *top], *(["", *row] for row in rest), [], []]
    return made


def cards() -> Rows:
    """Return the ballots of three people, two beside each other: a name and a day above, a remark below."""
    made: Rows = []
    for pair in (PEOPLE[:2], PEOPLE[2:]):
        tops = [["Name:", NAMES[a], "Date:", f"{PEOPLE.index(a) + 3} March", ""] for a in pair]
        blocks = [
            [["", *"AB", "", ""], *([t, *(scored(a, p, t) for p in PRODUCTS), "", ""] for t in TERMS),
             ["Remarks:", "too warm", "", "", ""]] for a in pair]  # fmt: skip
        made += [list(chain(*tops)), *(list(chain(*rows)) for rows in zip(*blocks, strict=True)), []]
    return made


def below(title: str = "Session {}") -> dict[str, Rows]:
    """Return the sheet of each person: the name, then a table for each session."""
    return {
        NAMES[a]: [["Name:", NAMES[a]], [],
            *(row for s in SITTINGS for row in ([title.format(s), "", f"2026-03-0{s}"], ["Sample", *TERMS],
                *([p, *(scored(a, p, t, s) for t in TERMS)] for p in PRODUCTS), []))]
        for a in PEOPLE
    }  # fmt: skip


def pivot() -> Rows:
    """Return a pivot table: each name once, a total below each prototype."""
    made: Rows = [["Sum of score", "", "", "attribute", "", ""], ["product", "assessor", "rep", *TERMS]]
    for p in PRODUCTS:
        for a in PEOPLE:
            for s in SITTINGS:
                new = s == SITTINGS[0]
                names = [p if new and a == PEOPLE[0] else "", a if new else "", s]
                made.append([*names, *(scored(a, p, t, s) for t in TERMS)])
        made.append([f"{p} Total", "", "", "1.5", "2.5", "3.5"])
    return made


def on_its_side() -> Rows:
    top = ["Product", *(c for p in PRODUCTS for c in (p, *[""] * (len(PEOPLE) - 1)))]
    rows = [[t, *(scored(a, p, t) for p in PRODUCTS for a in PEOPLE)] for t in TERMS]
    return [top, ["Assessor", *PEOPLE * 2], *rows]


OWN = {(a, p): f"{n + 1}{m + 3}7" for n, a in enumerate(PEOPLE) for m, p in enumerate(PRODUCTS)}
SERVED = {("P1", "1"): "317", ("P2", "1"): "482", ("P1", "2"): "482", ("P2", "2"): "905"}


def own_codes() -> dict[str, Rows]:
    rows = [[a, OWN[a, p], *(scored(a, p, t) for t in TERMS)] for a in PEOPLE for p in PRODUCTS]
    return {"Ballots": [["assessor", "code", *TERMS], *rows]}


def of_sessions() -> dict[str, Rows]:
    return {
        f"Session {day}": [["assessor", "code", *TERMS],
            *([a, SERVED[p, s], *(scored(a, p, t, s) for t in TERMS)] for a in PEOPLE for p in PRODUCTS)]
        for s, day in zip(SITTINGS, ("Mon", "Thu"), strict=True)
    }  # fmt: skip


def apart_by_mean() -> Rows:
    """Return attributes once beside people, prototypes over replicates and a mean of them."""
    top = ["Merkmal", "Pr\u00fcfer", *(c for p in PRODUCTS for c in (p, "", ""))]
    rows = [
        [
            t if a == PEOPLE[0] else "",
            a,
            *(c for p in PRODUCTS for c in (*(scored(a, p, t, s) for s in SITTINGS), "9.5")),
        ]
        for t in TERMS
        for a in PEOPLE
    ]
    return [top, ["", "", *["1. Wdh.", "2. Wdh.", "\u00d8"] * 2], *rows]


def across(head: tuple[str, str], names: tuple[str, ...]) -> Rows:
    rows = [[p, t, *(scored(a, p, t) for a in PEOPLE)] for p in PRODUCTS for t in TERMS]
    return [[*head, *names], *rows]


READ = {
    "beside and below each other": (csv(beside_and_below()), truth(person=named, product=GELS.__getitem__)),
    "ballot cards": (csv(cards()), truth(("1",), named, dict(zip(PRODUCTS, "AB", strict=True)).__getitem__)),
    "a sheet for each person, sessions below": (book(**below()), truth(person=named)),
    "each person beside the other, the name apart": (
        csv([["Name:", NAMES["A01"], "", "", "", "Name:", NAMES["A02"], "", ""], [""] * 9,
             *(row for s in SITTINGS for row in (
                 [f"Session {s}", "", "", "", "", f"Session {s}", "", "", ""],
                 ["Sample", *TERMS, "", "Sample", *TERMS],
                 *([p, *(scored("A01", p, t, s) for t in TERMS), "", p, *(scored("A02", p, t, s) for t in TERMS)]
                   for p in PRODUCTS), [""] * 9))]),
        {frozenset(row for row in each if row[0] != NAMES["A03"]) for each in truth(person=named)},
    ),
    "a title for each product": (
        csv([row for p in PRODUCTS for row in ([f"Product: {p}"], ["Beoordelaar", *TERMS],
            *([a, *(scored(a, p, t) for t in TERMS)] for a in PEOPLE), [])]),
        truth(("1",)),
    ),
    "a pivot table": (csv(pivot()), truth()),
    "on its side, products once": (csv(on_its_side()), truth(("1",))),
    "a sheet for each attribute below one of means": (
        book(Summary=[["Means", *"AB"], *([t, "1.5", "2.5"] for t in TERMS)],
            **{t: [["", *"AB", "Total"], *([NAMES[a], *(scored(a, p, t) for p in PRODUCTS), "9.5"] for a in PEOPLE)]
                for t in TERMS}),
        truth(("1",), named, dict(zip(PRODUCTS, "AB", strict=True)).__getitem__),
    ),
    "codes of each person": (
        book(**own_codes(), Codes=[["Assessor", *PRODUCTS], *([a, *(OWN[a, p] for p in PRODUCTS)] for a in PEOPLE)]),
        truth(("1",)),
    ),
    "codes of each person, a row for each": (
        book(**own_codes(), Key=[["Assessor", "Product", "Code"], *([a, p, c] for (a, p), c in OWN.items())]),
        truth(("1",)),
    ),
    "codes without a heading, and their key": (
        book(Scores=[["assessor", "", *TERMS], *([r[0], {"P1": "317", "P2": "482"}[r[1]], *r[2:]] for r in wide()[1:])],
            Key=[["code", "prototype"], ["317", "P1"], ["482", "P2"]]),
        truth(("1",)),
    ),
    "a key with a column for each day": (
        book(**of_sessions(), Key=[["Prototype", "Code Mon", "Code Thu"],
            *([p, *(SERVED[p, s] for s in SITTINGS)] for p in PRODUCTS)]),
        truth(),
    ),
    "means among replicates": (csv(apart_by_mean()), truth()),
    "people across": (csv(across(("Balm", "Attribute"), WHO)), truth(("1",), named)),
    "a scale behind the heading of attributes": (
        csv([["Pan\u00e9liste", "Descripteur (0-100)", *GELS.values()],
            *([a, t, *(scored(a, p, t) for p in PRODUCTS)] for a in PEOPLE for t in TERMS)]),
        truth(("1",), product=GELS.__getitem__),
    ),
    "products that are called as kinds of them": (
        csv([["assessor", "attribute", "Milk", "Butter"],
            *([a, t, *(scored(a, p, t) for p in PRODUCTS)] for a in PEOPLE for t in TERMS)]),
        truth(("1",), product=dict(zip(PRODUCTS, ("Milk", "Butter"), strict=True)).__getitem__),
    ),
    "a person and an attribute in each heading": (
        csv([["Sample", *(f"{NAMES[a]} {t}" for a in PEOPLE for t in TERMS)],
            *([p, *(scored(a, p, t) for a in PEOPLE for t in TERMS)] for p in PRODUCTS)]),
        truth(("1",), named),
    ),
    "the brand of each product": (
        csv([["Brand" if n == 0 else f"House {row[1]}", *row] for n, row in enumerate(wide())]), truth(("1",)),
    ),
    "people by an id": (csv([["id", *row[1:]] if n == 0 else row for n, row in enumerate(wide())]), truth(("1",))),
    "out of a hundred, blanks and signs for text": (
        csv([row if n == 0 else [*row[:2], f"{row[2]}/100", f"{row[3]} / 100", f"'{row[4]}"]
            for n, row in enumerate(wide())]),
        truth(("1",)),
    ),
}  # fmt: skip


@pytest.mark.parametrize("layout", READ)
def test_it_is_read_as_a_person_reads_it(layout: str):
    file, expected = READ[layout]
    assert by_sitting(imported(file).scores) == expected


CONTRADICTED = [["", "Gel 2", "", "", "Gel 1", "", ""], ["", "317", "", "", "482", "", ""], ["assessor", *TERMS * 2],
                *([a, *(scored(a, p, t) for p in PRODUCTS for t in TERMS)] for a in PEOPLE)]  # fmt: skip
ASKED = {
    "nobody knows what the titles are": (
        csv([row for w in ("north", "south") for row in ([w], ["", "P1", "P2"], ["plush", "1.5", "2.5"], [])]),
        "what north and south above the tables are",
    ),
    "titles beside everything that is named": (
        csv([row for w, s in (("Morning", "1"), ("Evening", "2")) for row in ([w], *wide(s), [])]),
        "what Morning and Evening above the tables are",
    ),
    "one of the tables has no title": (
        csv([row for w, s in (("Session 1", "1"), ("", "2")) for row in ([w], *wide(s), [])]),
        "name no session",
    ),
    "one name of an order is lacking": (
        csv([["product", "assessor", *TERMS], ["P1", "A01", "1", "2", "3"], ["", "A02", "2", "3", "4"],
            ["", "A01", "3", "4", "5"], ["", "A02", "5", "6", "7"]]),
        "name no prototype",
    ),
    "headings that the key contradicts": (
        book(Scores=CONTRADICTED, Key=[["Code", "Prototype"], ["317", "Gel 1"], ["482", "Gel 2"]]),
        "call 317 Gel 2 and 482 Gel 1, and the key in 'Key' 317 Gel 1 and 482 Gel 2",
    ),
    "rows that the key contradicts": (
        book(Scores=[["assessor", "product", "code", *TERMS], *([r[0], r[1], {"P1": "482", "P2": "317"}[r[1]], *r[2:]]
            for r in wide()[1:])], Key=[["Code", "Prototype"], ["317", "P1"], ["482", "P2"]]),
        "6 rows name another prototype than the key",
    ),
    "codes on a sheet that nobody can read": (
        book(**own_codes(), Plan=[["what", "was", "served"], *([c, "then", "later"] for c in OWN.values())]),
        "The codes in 'code' stand on the sheet 'Plan' too",
    ),
    "a group without one of its headings": (
        csv([["", "P1", "", "", "P2", "", ""], ["assessor", *TERMS, "", *TERMS[1:]],
            *([f"B{n}", *(f"{n + k}.5" for k in range(6))] for n in range(6))]),
        "column 5 has no heading",
    ),
    "a sheet without one of its headings": (
        book(Session_1=wide("1"), Session_2=[["", *wide()[0][1:]], *wide("2")[1:]]),
        "The sheet 'Session 2' has no heading above column 1",
    ),
    "rows of two studies": (
        csv([["Study", *wide()[0]], *([f"HC-1{n % 2}", *row] for n, row in enumerate(wide()[1:]))]),
        "names several studies: HC-10 (3 rows) and HC-11 (3 rows)",
    ),
    "attributes where people should be": (
        csv([["assessor", "product", "attribute", "score"],
            *([t, p, NAMES[a], scored(a, p, t)] for a in PEOPLE for p in PRODUCTS for t in TERMS)]),
        "it would be read with greasy, sticky and gloss as assessors",
    ),
}  # fmt: skip


@pytest.mark.parametrize("layout", ASKED)
def test_what_a_person_would_ask_is_asked(layout: str):
    file, question = ASKED[layout]
    with pytest.raises(StudyError) as caught:
        imported(file)
    assert question in str(caught.value)


def test_what_was_done_is_said():
    said = {layout: " ".join(imported(READ[layout][0]).notes) for layout in READ}
    assert (
        "its replicate (Replica I and Replica II) and attribute (greasy, sticky and gloss)"
        in said["beside and below each other"]
    )
    assert "each person has one of them" in said["ballot cards"]
    assert "A blank in 'product' and 'assessor' was read as the name above it" in said["a pivot table"]
    assert "Other sheets were not read: Summary." in said["a sheet for each attribute below one of means"]
    assert "6 codes, each within its assessor." in said["codes of each person"]
    assert "Columns with means or totals were left out: P1 | \u00d8 and P2 | \u00d8." in said["means among replicates"]
    assert "'Balm' was read as the heading of the prototypes." in said["people across"]
    typed = said["out of a hundred, blanks and signs for text"]
    assert "the apostrophe with which a spreadsheet marks a text was left out" in typed.casefold()
    assert "'10.5/100' is 10.5" in typed


def test_a_line_beside_the_table_states_the_scale_and_what_is_no_answer():
    rows = [["Scale 0 (none) to 100 (extreme)"], *wide(), ["999 = broken jar, not tested"]]
    rows[2][2], rows[3][3] = "999", "462"
    rows += [row for n in range(4) for row in ([f"B{n}", p, "20", "30", "40"] for p in PRODUCTS)]
    file = csv(rows)
    read = imported(file)
    study = study_from_scores(read, raw_file(*file), "x")
    assert study.table("attributes")[["scale_min", "scale_max"]].values.tolist() == [[0, 100]] * 3
    assert pd.isna(read.scores["score"].iloc[0])
    assert [f.message.split(".")[0] for f in check_study(study) if f.kind == "score_outside_scale"] == [
        "462 is outside the scale 0 to 100"
    ]
    assert "999 was read as no value" in " ".join(read.notes)


@pytest.mark.parametrize(
    ("lines", "scale"),
    [
        (["Skala 0 (gar nicht) bis 10 (sehr stark)"], (0, 10)),
        (["Scale: 1 = not at all ... 9 = extremely"], (1, 9)),
        (["Sensorik, Skala 0\u2013100"], (0, 100)),
        (["0 = none, 5 = some, 10 = extreme", "99 = not tested"], (0, 10)),
        (["0-10", "0-10"], (0, 10)),
        (["0-10", "0-100"], None),
        (["Line scale 15 cm, measured in mm"], None),
        (["0 = no, 1 = yes"], None),
        (["scores of sessions 3 to 5"], None),
    ],
)
def test_lines_say_a_scale(lines: list[str], scale: tuple[int, int] | None):
    assert said_scale(lines)[0] == scale


def test_lines_say_which_number_is_no_answer():
    assert said_missing(["9 = keine Angabe", "10 = extreme"]) == {"9": "9 = keine Angabe"}


def test_a_number_beside_an_empty_score_and_words_that_part_the_rows_are_told():
    rows = [[*row, "Site" if n == 0 else ("arm", "leg")[n % 2], "Remarks" if n == 0 else ""]
            for n, row in enumerate(wide())]  # fmt: skip
    rows[2] = [*rows[2][:2], "", *rows[2][2:4], rows[2][5], rows[2][4]]
    notes = " ".join(imported(csv(rows)).notes)
    assert "A number stands in 'Remarks' where a score of the row is empty (line 3: 21.5)" in notes
    assert "The rows differ in 'Site' (arm and leg) and were read together." in notes


def test_numbers_out_of_something_and_words_for_no_value():
    assert read_numbers(["7/10", "6.5 / 10", "", "3 von 10"], words=True).share < 1  # two ways of writing it are asked
    assert read_numbers(["7/10", "6.5 / 10", "9 /10"], words=True).values.tolist() == [7, 6.5, 9]
    for cells in (["7/8", "6/8"], ["1/2", "3/4"], ["12/10", "11/10"]):
        assert read_numbers(cells, words=True).share == 0
    assert read_numbers(["'7.5", "?", "not tested", "absent", "niet getest"]).missing.tolist() == [False] + [True] * 4


def test_a_mean_across_is_nobody_whatever_it_is_called():
    names = (*WHO, "Dora")
    rows = [["product", "attribute", *names, "alle"]]
    for n in range(9):
        cells = [3.0 + n, 5.5 - n / 3, 2.5 + n * n / 9, 7.0 - n / 2]
        rows.append([f"P{n // 3}", TERMS[n % 3], *(f"{cell:.1f}" for cell in cells), f"{sum(cells) / 4:.2f}"])
    read = imported(csv(rows))
    assert set(read.scores["assessor"]) == {*names}
    assert "Columns that were not used: alle." in read.notes


def test_names_have_roles():
    axes = [["greasy", "sticky"], ["A", "B"], ["Anna", "Ben"]]
    assert _axes_roles(axes, ("assessor", "prototype", "attribute")) == ["attribute", "prototype", "assessor"]
    assert _axes_roles([["K1", "K2"], ["L1", "L2"]], ("assessor", "prototype")) == []
    assert are_exchanged(axes, ("assessor", "prototype", "attribute"))
    assert not are_exchanged([["K1"], ["greasy"], ["tackiness"]], ("assessor", "prototype", "attribute"))
    assert are_people(["Anna", "B.C.", "Judge 3"])
    assert not are_people(["Milk", "Butter"])


# Surveys.


def answers(file: tuple[str, bytes]) -> set[tuple[str, str, str, str]]:
    table, asked = read_survey(survey_table(raw_file(*file)))
    found = with_survey(Study({}), table, asked).table("answers")
    return set(found[["assessor", "prototype", "question", "answer"]].itertuples(index=False, name=None))


WORDS = {"1": "Strongly disagree", "2": "Disagree", "3": "Neutral", "4": "Agree", "5": "Strongly agree"}
CONSUMERS, ITEMS = ("R1", "R2", "R3"), ("It absorbs fast", "My skin feels soft")


def point(who: str, of: str, item: str, week: int = 0) -> str:
    return str(1 + (2 * CONSUMERS.index(who) + 3 * "AB".index(of[-1]) + ITEMS.index(item) + week) % 5)


def told(of: tuple[str, ...] = ("Cream A", "Cream B")) -> set[tuple[str, str, str, str]]:
    return {(w, p, i, point(w, p, i)) for w in CONSUMERS for p in of for i in ITEMS}


CREAMS = ("Cream A", "Cream B")
MATRIX = [["ResponseId", *(f"Q{n}_{m}" for n in (1, 2) for m in (1, 2))],
          ["Response ID", *(f"Please think of {p}. How far do you agree? - {i}" for p in CREAMS for i in ITEMS)],
          ['"{""ImportId"": ""id""}"', *['"{""ImportId"": ""Q""}"'] * 4],
          *([w, *(point(w, p, i) for p in CREAMS for i in ITEMS)] for w in CONSUMERS)]  # fmt: skip
CODED = [["ID", "PROD", "V1", "V2"], *([w, "12"["AB".index(p[-1])], *(point(w, p, i) for i in ITEMS)]
         for w in CONSUMERS for p in CREAMS)]  # fmt: skip
BOOK = [["Variable", "Code", "Meaning"], ["V1", "", ITEMS[0]], ["V2", "", ITEMS[1]], ["PROD", "1", "Cream A"],
        ["", "2", "Cream B"], *([("V1-V2", "")[n > 0], *each] for n, each in enumerate(WORDS.items()))]  # fmt: skip
GROUPED = [["Home use"], ["", "", *(c for p in CREAMS for c in (p, ""))], ["Resp.", "Age", *ITEMS * 2],
           *([w, "33", *(WORDS[point(w, p, i)] for p in CREAMS for i in ITEMS)] for w in CONSUMERS),
           ["", "Mean", "3", "3", "3", "3"]]  # fmt: skip
ASKS = [f"Q{n}. {i} ({p})" for n, (p, i) in enumerate(product(CREAMS, ITEMS), start=1)]
NUMBERED = [["Q0. Respondent", *ASKS], *([w, *(WORDS[point(w, p, i)] for p in CREAMS for i in ITEMS)]
            for w in CONSUMERS)]  # fmt: skip
SURVEYS = {
    "questions with numbers": csv(NUMBERED),
    "the product in brackets": csv(
        [["Timestamp", "Your participant number", *(f"{i} [{p}]" for i in ITEMS for p in CREAMS)],
         *([f"2026-05-0{n}", w, *(WORDS[point(w, p, i)] for i in ITEMS for p in CREAMS)]
           for n, w in enumerate(CONSUMERS, start=1))]),
    "questions and marks below the headings": csv(MATRIX, ","),
    "a codebook": book(data=CODED, codebook=BOOK),
    "two rows of headings, a mean below": book(Data=GROUPED),
    "names once": csv([["Person", "Product", *ITEMS],
                       *(["" if p == CREAMS[1] else w, p, *(WORDS[point(w, p, i)] for i in ITEMS)]
                         for w in CONSUMERS for p in CREAMS)]),
    "a block for each product": csv(
        [["Cream A", "", "", "", "Cream B", "", ""], ["Tester", *ITEMS, "", "Tester", *ITEMS],
         *([a, *(WORDS[point(a, "Cream A", i)] for i in ITEMS), "", b, *(WORDS[point(b, "Cream B", i)] for i in ITEMS)]
           for a, b in zip(CONSUMERS, CONSUMERS[::-1], strict=True))]),
}  # fmt: skip


@pytest.mark.parametrize("layout", SURVEYS)
def test_a_survey_is_read_as_a_person_reads_it(layout: str):
    assert answers(SURVEYS[layout]) == told()


def test_a_survey_of_two_weeks_asks_each_question_of_each():
    rows = [["ID", "Product", "Week", ITEMS[0]], *([w, p, str(n), WORDS[point(w, p, ITEMS[0], n)]]
            for w in CONSUMERS for p in CREAMS for n in (1, 4))]  # fmt: skip
    found = {(who, of, said) for who, of, _, said in answers(csv(rows))}
    assert found == {(w, p, point(w, p, ITEMS[0], n)) for w in CONSUMERS for p in CREAMS for n in (1, 4)}


def test_a_legend_that_a_line_contradicts_is_asked_about():
    note = [["1 = strongly agree, 5 = strongly disagree"], *CODED]
    with pytest.raises(StudyError, match="A line says 1 = strongly agree, and the sheet 'Legend' something else"):
        survey_table(raw_file(*book(data=note, Legend=[["Code", "Answer"], *map(list, WORDS.items())])))


def test_one_person_with_other_capitals_is_one_person():
    rows = [["User", "Which mask did you use?", ITEMS[0]], ["r1", "Mask 1", "Agree"], ["r2", "Mask 1", "Agree"],
            ["r1", "Mask 2", "Disagree"], ["R2 ", "Mask 2", "Agree"]]  # fmt: skip
    assert {who for who, *_ in answers(csv(rows))} == {"r1", "r2"}
    with pytest.raises(StudyError, match="is a second one of r1 for Mask 1"):
        answers(csv([*rows, ["R1", "Mask 1", "Disagree"]]))


def test_a_question_that_one_prefers_names_no_prototype_of_the_row():
    rows = [["Person", "Liking - Cream A", "Liking - Cream B", "Which cream do you prefer?"],
            ["R1", "7", "4", "Cream A"], ["R2", "5", "6", "Cream B"]]  # fmt: skip
    table: RawTable = survey_table(raw_file(*csv(rows)))
    assert read_survey(table)[1]["kind"].tolist() == ["person", "liking", "liking", "preference"]


def test_rounds_of_both_sessions_are_kept_apart_from_names_that_are_blank():
    rows = wide_both()
    blank = [rows[0], *(["" if n % 4 else row[0], *row[1:]] for n, row in enumerate(rows[1:]))]
    assert by_sitting(imported(csv(blank)).scores) == truth()
