"""Files as people keep them whose names stand at unusual places: read right, or asked about, never silently wrong.

The judge is the long table that each file is made from, with nothing of the reader's.
"""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd
import pytest
from click.testing import CliRunner

from panel.checks.all_checks import check_study
from panel.cli import main
from panel.errors import StudyError
from panel.study.file_names import attributes_among, prototypes_among, sitting, twins
from panel.study.open_study import open_study
from panel.study.raw_table import RawTable, raw_file
from panel.study.score_sheets import score_table
from panel.study.scores_import import ImportedScores, guess_layout, read_scores, study_from_scores
from panel.study.survey import read_survey
from tests.study.test_score_sheets import (
    CODES,
    PEOPLE,
    PRODUCTS,
    SITTINGS,
    TERMS,
    book,
    csv,
    text,
    value,
    wide,
    wide_both,
)

NAMES = dict(zip(PEOPLE, ("Anna", "Bernd", "Chloe"), strict=True))


def imported(file: tuple[str, bytes]) -> ImportedScores:
    table = score_table(raw_file(*file))
    return read_scores(table, guess_layout(table))


def by_sitting(scores: pd.DataFrame) -> set[frozenset[tuple[str, str, str, float]]]:
    """Return what was scored in each sitting, whatever that is called."""
    return {
        frozenset(zip(each["assessor"], each["prototype"], each["attribute"], each["score"], strict=True))
        for _, each in scores.dropna(subset=["score"]).groupby(["session", "replicate"])
    }


def truth(
    sittings: tuple[str, ...] = SITTINGS, person: Callable[[str], str] = str, product: Callable[[str], str] = str
) -> set[frozenset[tuple[str, str, str, float]]]:
    return {
        frozenset((person(a), product(p), t, value(a, p, t, s)) for a in PEOPLE for p in PRODUCTS for t in TERMS)
        for s in sittings
    }


def named(person: str) -> str:
    return NAMES[person]


def code_of(product: str) -> str:
    return CODES[product]


def scored(*where: str) -> str:
    return text(value(*where))


def down_by_corner(a: str, product: Callable[[str], str] = str) -> list[list[str]]:
    """Return the sheet of one person: attributes down, prototypes across, a block for each replicate."""
    blocks = [
        [
            [f"Replicate {s}", *map(product, PRODUCTS)],
            *([t, *(scored(a, p, t, s) for p in PRODUCTS)] for t in TERMS),
            [],
        ]
        for s in SITTINGS
    ]
    return [row for block in blocks for row in block]


def of_one_term(head: Callable[[str, str], list[str]]) -> dict[str, list[list[str]]]:
    """Return a sheet for each attribute with prototypes and replicates across."""
    return {
        t: [
            ["assessor", *(name for p in PRODUCTS for s in SITTINGS for name in head(p, s))],
            *([a, *(scored(a, p, t, s) for p in PRODUCTS for s in SITTINGS)] for a in PEOPLE),
        ]
        for t in TERMS
    }


def two_heads() -> dict[str, list[list[str]]]:
    upper = ["", *(cell for p in PRODUCTS for cell in (p, ""))]
    return {t: [upper, ["assessor", *["Rep 1", "Rep 2"] * 2], *rows[1:]] for t, rows in of_one_term(_joined).items()}


def _joined(p: str, s: str) -> list[str]:
    return [f"{p} rep {s}"]


def three_heads() -> list[list[str]]:
    wide_, narrow = len(PRODUCTS) * len(TERMS), len(TERMS)
    top = ["", *(cell for s in SITTINGS for cell in (f"Session {s}", *[""] * (wide_ - 1)))]
    middle = ["", *(cell for _ in SITTINGS for p in PRODUCTS for cell in (p, *[""] * (narrow - 1)))]
    rows = [[a, *(scored(a, p, t, s) for s in SITTINGS for p in PRODUCTS for t in TERMS)] for a in PEOPLE]
    return [top, middle, ["assessor", *TERMS * 4], *rows]


def titled(a: str) -> list[list[str]]:
    """Return the sheet of one person with a small table for each replicate, its name above it."""
    blocks = [
        [[f"Rep {s}"], ["product", *TERMS], *([p, *(scored(a, p, t, s) for t in TERMS)] for p in PRODUCTS), []]
        for s in SITTINGS
    ]
    return [row for block in blocks for row in block]


def weekdays_above() -> list[list[str]]:
    rows = [[a, p, *(scored(a, p, t, s) for s in SITTINGS for t in TERMS)] for a in PEOPLE for p in PRODUCTS]
    return [["", "", "Monday", "", "", "Thursday", "", ""], ["assessor", "product", *TERMS * 2], *rows]


def in_form(grid: str = "How would you rate it? [{}]") -> list[list[str]]:
    head = ["Timestamp", "Your name", "Which sample is in front of you?", "Is this your first or second round?"]
    rows = [
        [f"2026-03-02 09:{n:02d}", row[0], row[1], ("first", "second")[int(row[2]) - 1], *row[3:]]
        for n, row in enumerate(wide_both()[1:])
    ]
    return [[*head, *(grid.format(term) for term in TERMS)], *rows]


def in_turn(heads: Callable[[str, str], str]) -> list[list[str]]:
    """Return a row for each person with a block for each place in the order, what was tried said in a column."""
    rows = []
    for n, a in enumerate(PEOPLE):
        order = PRODUCTS if n % 2 else PRODUCTS[::-1]
        rows.append([a, *(cell for p in order for cell in (p, *(scored(a, p, t) for t in TERMS)))])
    return [["assessor", *(heads(place, what) for place in "12" for what in ("Code", *TERMS))], *rows]


CODED = {("P1", "1"): "317", ("P2", "1"): "482", ("P1", "2"): "905", ("P2", "2"): "266"}


def coded(head: str = "code", column: tuple[str, ...] = ("session",)) -> list[list[str]]:
    rows = [[r[0], *(r[2:3] if column else []), CODED[r[1], r[2]], *r[3:]] for r in wide_both()[1:]]
    return [["assessor", *column, head, *TERMS], *rows]


ODD: dict[str, tuple[tuple[str, bytes], set[frozenset[tuple[str, str, str, float]]]]] = {
    "a sheet for each person, replicates in the corner": (
        book(**{NAMES[a]: down_by_corner(a, code_of) for a in PEOPLE}),
        truth(person=named, product=code_of),
    ),
    "a sheet for each person, replicates as titles": (book(**{a: titled(a) for a in PEOPLE}), truth()),
    "a sheet for each attribute, rep 1 behind the prototype": (book(**of_one_term(_joined)), truth()),
    "a sheet for each attribute, two rows of headings": (book(**two_heads()), truth()),
    "three rows of headings": (book(Data=three_heads()), truth()),
    "weekdays over the columns": (csv(weekdays_above()), truth()),
    "weekdays in a column": (
        csv([["assessor", "product", "weekday", *TERMS], *([*r[:2], ["Mon", "Thu"][int(r[2]) - 1], *r[3:]]
            for r in wide_both()[1:])]),
        truth(),
    ),
    "the export of a form": (csv(in_form()), truth()),
    "a form that asks of each sample": (
        csv([["Your name", *(f"Please rate sample {p} [{t}]" for p in PRODUCTS for t in TERMS)],
            *([a, *(scored(a, p, t) for p in PRODUCTS for t in TERMS)] for a in PEOPLE)]),
        truth(("1",)),
    ),
    "blocks in the order of serving": (csv(in_turn(lambda place, what: f"Sample {place}: {what}")), truth(("1",))),
    "columns numbered in the order of serving": (csv(in_turn(lambda place, what: f"{what} {place}")), truth(("1",))),
    "people across, a sheet for each prototype": (
        book(**{CODES[p]: [["", *NAMES.values()], *([t, *(scored(a, p, t) for a in PEOPLE)] for t in TERMS)]
            for p in PRODUCTS}),
        truth(("1",), named, code_of),
    ),
    "people down without a heading, a sheet for each prototype": (
        book(**{CODES[p]: [["", *TERMS], *([NAMES[a], *(scored(a, p, t) for t in TERMS)] for a in PEOPLE)]
            for p in PRODUCTS}),
        truth(("1",), named, code_of),
    ),
    "a key with a column for each session": (
        book(Scores=coded(), Codes=[["product", "Session 1", "Session 2"],
            *([p, CODED[p, "1"], CODED[p, "2"]] for p in PRODUCTS)]),
        truth(),
    ),
    "a key that says the replicate": (
        book(Scores=coded(column=()), Key=[["code", "product", "rep"], *([c, p, s] for (p, s), c in CODED.items())]),
        truth(),
    ),
    "replicates in the names of sheets, attributes before them": (
        book(**{f"{t} rep {s}": [["assessor", *PRODUCTS], *([a, *(scored(a, p, t, s) for p in PRODUCTS)]
            for a in PEOPLE)] for t in TERMS for s in SITTINGS}),
        truth(),
    ),
    "people in the corner, a sheet for each replicate": (
        book(**{f"Rep {s}": [row for a in PEOPLE for row in ([f"Assessor: {a}", *PRODUCTS],
            *([t, *(scored(a, p, t, s) for p in PRODUCTS)] for t in TERMS), [])] for s in SITTINGS}),
        truth(),
    ),
    "a first and a second rating": (
        csv([["assessor", "product", *(f"{t} ({o} rating)" for o in ("1st", "2nd") for t in TERMS)],
            *([a, p, *(scored(a, p, t, s) for s in SITTINGS for t in TERMS)] for a in PEOPLE for p in PRODUCTS)]),
        truth(),
    ),
    "the number of the session, French": (
        csv([["Votre nom", "Quel \u00e9chantillon ?", "Num\u00e9ro de la s\u00e9ance", *TERMS], *wide_both()[1:]]),
        truth(),
    ),
    "a corner for rows and columns": (
        book(**{NAMES[a]: [["Attribute / Product", "L7", "L8"],
            *([t, *(scored(a, p, t) for p in PRODUCTS)] for t in TERMS)] for a in PEOPLE}),
        truth(("1",), named, {"P1": "L7", "P2": "L8"}.__getitem__),
    ),
    "a form with numbers for people and samples": (
        csv([["What is your panelist number?", "What is the sample code?", *TERMS],
            *([a[1:], CODES[p], *(scored(a, p, t) for t in TERMS)] for a in PEOPLE for p in PRODUCTS)]),
        truth(("1",), lambda person: person[1:], code_of),
    ),
    "a row of formulas below": (csv([*wide(), ["", "", *["=AVERAGE(C2:C7)"] * 3]], "\t"), truth(("1",))),
}  # fmt: skip


@pytest.mark.parametrize("layout", ODD)
def test_names_at_unusual_places_are_read(layout: str):
    file, expected = ODD[layout]
    assert by_sitting(imported(file).scores) == expected


ASKED = {
    "codes for people and prototypes, replicates in the corner": (
        book(**{a: down_by_corner(a) for a in PEOPLE}),
        "whether the sheets A01, A02 and A03 or the columns P1 and P2 are the prototypes",
    ),
    "attributes below a heading for prototypes": (
        book(**{NAMES[a]: [["product", *CODES.values()], *([t, *(scored(a, p, t) for p in PRODUCTS)] for t in TERMS)]
            for a in PEOPLE}),
        "whether 'product' names the rows greasy, sticky and gloss or the columns 317 and 482",
    ),
    "words for prototypes, people numbered from 1": (
        csv([["", "Basis", "", "", "Rich", "", ""], ["attribute", *PEOPLE * 2],
            *([t, *(scored(a, p, t) for p in PRODUCTS for a in PEOPLE)] for t in TERMS)]),
        "whether Basis and Rich or A01, A02 and A03 are the prototypes",
    ),
    "bare numbers behind prototype and attribute": (
        csv([["assessor", *(f"{p} - {t} ({s})" for p in PRODUCTS for t in TERMS for s in SITTINGS)],
            *([a, *(scored(a, p, t, s) for p in PRODUCTS for t in TERMS for s in SITTINGS)] for a in PEOPLE)]),
        "what the numbers behind gloss, greasy and sticky are",
    ),
    "bare numbers behind the prototypes, attributes down": (
        csv([["assessor", "attribute", *(f"{p} ({s})" for p in PRODUCTS for s in SITTINGS)],
            *([a, t, *(scored(a, p, t, s) for p in PRODUCTS for s in SITTINGS)] for a in PEOPLE for t in TERMS)]),
        "what the numbers behind P1 and P2 are",
    ),
    "words down and across that nobody knows": (
        book(**{p: [["", "north", "south"], *([t, "1.5", "2.5"] for t in ("plush", "velvet"))] for p in PRODUCTS}),
        "whether the columns north and south or the rows plush and velvet are the attributes",
    ),
    "blocks with other columns": (
        book(Ann=[["Rep 1", "P1", "P2"], ["greasy", "1.5", "2.5"], ["Rep 2", "P2", "P1"], ["greasy", "1.5", "3.5"]]),
        "do not have the same columns in the same order",
    ),
    "ranks": (
        csv([["assessor", "product", "Rank of greasiness"], *([a, p, f"{n + 1}"] for a in PEOPLE
            for n, p in enumerate(PRODUCTS))]),
        "no column with scores was found",
    ),
}  # fmt: skip


@pytest.mark.parametrize("layout", ASKED)
def test_what_names_at_unusual_places_do_not_tell_is_asked(layout: str):
    file, question = ASKED[layout]
    with pytest.raises(StudyError) as caught:
        imported(file)
    assert question in str(caught.value)


def test_the_place_of_each_block_is_the_position():
    scores = imported(ODD["blocks in the order of serving"][0]).scores
    first = scores[scores["position"] == 1].groupby("assessor")["prototype"].first()
    assert first.to_dict() == {"A01": "P2", "A02": "P1", "A03": "P2"}


def test_a_sheet_that_is_left_out_beside_a_plain_one_is_named():
    assert (
        "Other sheets were not read: Notes."
        in score_table(raw_file(*book(Data=wide(), Notes=[["who", "what"], ["A01", "a cold"]]))).notes
    )


def test_letters_behind_every_code_are_asked_about():
    said = "P1a, P1b, P2a and 1 more were read as 4 prototypes. If a and b behind them are replicates"
    rows = [[row[0], f"{row[1]}{'ab'[int(row[2]) - 1]}", *row[3:]] for row in wide_both()[1:]]
    assert any(note.startswith(said) for note in imported(csv([["assessor", "product", *TERMS], *rows])).notes)
    for plain in (wide(), wide_both("replicate")):
        assert not any("If a and b" in note for note in imported(csv(plain)).notes)


def test_a_number_below_zero_among_others_is_looked_at():
    rows = wide()
    rows[1][2] = "-1"
    many = [*rows, *([f"B{n:02d}", *rows[1 + n % 6][1:2], *rows[2 + n % 5][2:]] for n in range(9))]
    file = csv(many)
    found = check_study(study_from_scores(imported(file), raw_file(*file), "x"))
    assert [f.message for f in found if f.kind == "score_far_off"] == [
        "−1 is below zero, unlike the other scores of greasy, which go from 17.5 to 57.5."
    ]


def survey(rows: list[list[str]]) -> tuple[RawTable, pd.DataFrame]:
    columns = tuple(zip(*rows[1:], strict=True))
    return read_survey(RawTable("s.csv", tuple(rows[0]), columns, list(range(2, len(rows) + 1))))


def test_an_average_below_a_survey_is_nobody():
    rows = [["Consumer", "P1: liking", "P2: liking"], ["R1", "7", "4"], ["R2", "5", "4"], ["Average", "6", "4"]]
    table, _ = survey(rows)
    assert list(table.column("Consumer")) == ["R1", "R2"]
    assert "Rows with means or totals were left out: line 4." in table.notes


def test_a_cream_is_named_before_a_question_mark():
    asked = survey([["Your name", "How much do you like cream A?", "How much do you like cream B?"],
                    ["Ann", "7", "4"], ["Ben", "5", "3"]])[1]  # fmt: skip
    assert asked["prototype"].tolist() == ["", "cream A", "cream B"]
    assert asked["kind"].tolist() == ["person", "liking", "liking"]


def test_titles_above_a_survey_are_left_out(tmp_path):
    name, content = book(Answers=[["Consumer test"], [], ["Consumer", "P1: liking", "P2: liking"],
                                  ["R1", "7", "4"], ["R2", "5", "3"]])  # fmt: skip
    (tmp_path / name).write_bytes(content)
    done = CliRunner().invoke(main, ["import", str(tmp_path / name), "--survey", "--out", str(tmp_path / "study")])
    assert done.exit_code == 0, done.output
    assert "Above the headings in line 3 stands: Consumer test." in done.output
    answers = open_study(tmp_path / "study").table("answers")
    assert set(zip(answers["assessor"], answers["prototype"], answers["answer"], strict=True)) == {
        ("R1", "P1", "7"), ("R1", "P2", "4"), ("R2", "P1", "5"), ("R2", "P2", "3")}  # fmt: skip


@pytest.mark.parametrize(
    ("names", "role"),
    [
        (["Rep 1", "rep2"], "replicate"),
        (["1st session", "2nd session"], "session"),
        (["Erste Sitzung", "Zweite Sitzung"], "session"),
        (["mardi", "jeudi"], "session"),
        (["Session A", "Session B"], "session"),
        (["Round 1", "Round 2"], ""),  # a replicate, a session, a turn?
        (["Session", "Day"], ""),
        (["P1", "P2"], ""),
        ([], ""),
    ],
)
def test_names_say_a_sitting(names: list[str], role: str):
    assert sitting(names) == role


def test_attributes_are_words_beside_labels_or_known():
    assert attributes_among(["P1", "P2"], ["plush", "velvet"]) == 1
    assert attributes_among(["greasiness", "gloss"], ["Anna", "Bernd"]) == 0
    assert attributes_among(["plush", "velvet"], ["north", "south"]) == -1
    assert attributes_among(["greasy", "gloss"], ["slippery", "sticky"]) == -1


def test_signs_behind_names():
    assert twins(["L7a", "L7b", "L8a", "L8b"]) == ["a", "b"]
    assert twins(["Ann 1", "Ann 2", "Ben 1", "Ben 2"]) == ["1", "2"]
    assert twins(["L7", "L8", "L9", "L10"]) == twins(["Cream A", "Cream B"]) == twins(["L7a", "L7b", "L8a"]) == []


def test_prototypes_beside_people_say_so_or_are_labels_not_numbered_from_1():
    assert prototypes_among(["317", "482"], ["Anna", "Bernd"]) == 0
    assert prototypes_among(["Anna", "Bernd"], ["L7", "L8"]) == 1
    assert prototypes_among(["K1", "K2"], ["Basis", "Rich"]) == prototypes_among(["K1", "K2"], ["L7", "L8"]) == -1
    assert prototypes_among(["K1", "K2"], ["Prototype Basis", "Prototype Rich"]) == 1
    assert prototypes_among(["Judge K1", "Judge K2"], ["P1", "P2"]) == 1
