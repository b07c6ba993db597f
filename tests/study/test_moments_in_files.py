"""Attributes judged at several moments: however a sheet lays them out, the scores of each moment stay their own."""

from __future__ import annotations

import io
from itertools import product

import numpy as np
import pytest
import xlsxwriter

from panel.errors import StudyError
from panel.study.naming import judged_minutes, timed_words
from panel.study.open_study import with_scores
from panel.study.raw_table import RawTable, raw_file
from panel.study.score_sheets import score_table
from panel.study.scores_import import ImportedScores, guess_layout, read_scores, study_from_scores

PEOPLE, SAMPLES, REPEATS = ("J1", "J2", "J3"), ("A", "B", "C"), (1, 2)
WORDS, MINUTES = ("Greasy film", "Softness"), (2, 20)
DESIGN = list(product(PEOPLE, SAMPLES, REPEATS))
TRUTH = dict(zip(product(DESIGN, WORDS, MINUTES), np.random.default_rng(8).permutation(72).tolist(), strict=True))


def workbook(rows: list[list[object]]) -> RawTable:
    content = io.BytesIO()
    with xlsxwriter.Workbook(content, {"in_memory": True}) as book:
        page = book.add_worksheet("Panel")
        for line, row in enumerate(rows):
            for place, cell in enumerate(row):
                if cell is not None:
                    page.write(line, place, cell)
    return score_table(raw_file("panel.xlsx", content.getvalue()))


def wide(upper: list[object], lower: list[object], columns: list[tuple[str, int]]) -> list[list[object]]:
    """Return a sheet with two rows of headings."""
    return [upper, lower, *([*of, *(TRUTH[of, word, at] for word, at in columns)] for of in DESIGN)]


def rows_of(heading: str, moments: tuple[object, ...]) -> list[list[object]]:
    """Return a sheet with a row for each sample and moment."""
    told = zip(moments, MINUTES, strict=True)
    return [
        ["Judge", "Sample", "Rep", heading, *WORDS],
        *([*of, said, *(TRUTH[of, word, at] for word in WORDS)] for of, (said, at) in product(DESIGN, list(told))),
    ]


def long_of(heading: str, moments: tuple[object, ...]) -> list[list[object]]:
    """Return a sheet with a row for each score."""
    told = list(zip(moments, MINUTES, strict=True))
    scored = product(DESIGN, WORDS, told)
    return [
        ["Judge", "Sample", "Rep", "Attribute", heading, "Score"],
        *([*of, word, said, TRUTH[of, word, at]] for of, word, (said, at) in scored),
    ]


BY_WORD = [(word, at) for word in WORDS for at in MINUTES]
BY_MINUTE = [(word, at) for at in MINUTES for word in WORDS]
ABOUT = ["Judge", "Sample", "Rep"]
LAYOUTS = {
    "moments below": wide([*ABOUT, "Greasy film", None, "Softness"], [None] * 3 + ["2 min", "20 min"] * 2, BY_WORD),
    "moments above": wide([None] * 3 + ["After 2 min", None, "After 20 min"], [*ABOUT, *WORDS * 2], BY_MINUTE),
    "with the event": wide(
        [None] * 3 + ["2 min after rubbing in", None, "20 min after rubbing in"], [*ABOUT, *WORDS * 2], BY_MINUTE
    ),
    "in a column": rows_of("Moment", ("2 min", "20 min")),
    "as numbers": rows_of("Time (min)", MINUTES),
    "as minutes": rows_of("Minutes", MINUTES),
    "unknown heading": rows_of("T", ("after 2 min", "after 20 min")),
    "one score a row": long_of("Time point", ("2 min", "20 min")),
    "one score a row, in numbers": long_of("Minutes after use", MINUTES),
}


def read(rows: list[list[object]]) -> ImportedScores:
    table = workbook(rows)
    return read_scores(table, guess_layout(table))


@pytest.mark.parametrize("layout", LAYOUTS)
def test_each_moment_keeps_its_scores_however_the_sheet_is_laid_out(layout):
    table = workbook(LAYOUTS[layout])
    imported = read_scores(table, guess_layout(table))
    study = study_from_scores(imported, raw_file("panel.xlsx", b""), "lotion")
    found = {}
    for row in imported.scores.itertuples():
        of = (row.assessor, row.prototype, int(row.replicate))
        word = next(word for word in WORDS if row.attribute.startswith(word))
        found[of, word, int(judged_minutes(study, row.attribute))] = int(row.score)
    assert found == TRUTH
    assert len(imported.scores) == len(TRUTH)


def test_a_stage_or_a_state_parts_attributes_that_stand_under_several():
    upper = [None] * 3 + ["On wet hair", None, "On dry hair", None]
    combed = read(wide(upper, [*ABOUT, "Combing", "Softness", "Combing", "Softness"], BY_MINUTE))
    assert list(combed.scores["attribute"].unique()) == [
        *("Combing, on wet hair", "Softness, on wet hair", "Combing, on dry hair", "Softness, on dry hair")
    ]
    staged = read(long_of("Stage", ("rub-out", "after-feel")))
    assert set(staged.scores["attribute"]) == {f"{w}, {stage}" for w in WORDS for stage in ("rub-out", "after-feel")}
    alone = read(wide([None] * 3 + ["Pick-up", None, "After-feel"], [*ABOUT, "Firm", "Stringy", *WORDS], BY_MINUTE))
    assert list(alone.scores["attribute"].unique()) == ["Firm", "Stringy", *WORDS]  # each stands once


def test_what_is_not_asked_at_a_moment_is_no_blank_and_unread_cells_keep_their_row():
    rows = rows_of("Stage", ("rub-out", "20 min"))
    rows[0].append("Spreading [0-10]")
    for row in rows[1:]:
        row.append(5 if row[3] == "rub-out" else None)
    rows[4][4] = "4O"  # greasy film of J1, A, second repeat, 20 min
    imported = read(rows)
    assert set(imported.scores["attribute"]) == {
        *(f"{word}, {at}" for word in WORDS for at in ("rub-out", "20 min")),
        "Spreading, rub-out [0-10]",
    }
    assert len(imported.scores) == len(DESIGN) * 5
    line = int(imported.unread["row"].item()) - 2
    assert imported.scores.loc[line, "attribute"] == "Greasy film, 20 min"
    assert (imported.scores.loc[line, "raw_line"], np.isnan(imported.scores.loc[line, "score"])) == (5, True)


@pytest.mark.parametrize(("heading", "times"), [("Time", ("09:00", "14:00")), ("Time", (1, 2)), ("Day", (1, 2))])
def test_rounds_and_times_of_day_are_sessions_and_no_moments(heading, times):
    rows = rows_of(heading, times)
    table = workbook([[cell for place, cell in enumerate(row) if place != 2] for row in rows if row[2] in ("Rep", 1)])
    layout = guess_layout(table)
    assert (layout.moment, layout.session) == ("", heading)


def test_a_measured_time_is_no_moment():
    rows = [[*row[:3], *row[4:], 20 + n] for n, row in enumerate(rows_of("Moment", MINUTES)) if n % 2 == 0 or not n]
    rows[0][-1] = "Minutes to dry"
    assert guess_layout(workbook(rows)).moment == ""


def test_groups_that_are_neither_are_asked_about():
    with pytest.raises(StudyError, match="Greasy film and Softness are: sessions, replicates, moments"):
        read(wide([*ABOUT, "Greasy film", None, "Softness"], [None] * 3 + ["t0", "t20"] * 2, BY_WORD))


def test_a_study_that_was_begun_keeps_the_moments_of_its_attributes_apart():
    raw = raw_file("panel.xlsx", b"")
    begun = study_from_scores(read(LAYOUTS["moments below"]), raw, "lotion")
    tables = dict(begun.tables)
    tables["attributes"] = tables["attributes"].assign(attribute=["greasy_2", "greasy_20", "soft_2", "soft_20"])
    tables["scores"] = tables["scores"].iloc[:0]
    begun = type(begun)(tables, {"title": "lotion"}, begun.unread, ())
    filled = with_scores(begun, study_from_scores(read(LAYOUTS["in a column"]), raw, "lotion"))
    assert filled.attributes == ("greasy_2", "greasy_20", "soft_2", "soft_20")
    two = filled.scores.set_index(["assessor", "prototype", "replicate"]).query("attribute == 'greasy_2'")["score"]
    assert {key: int(two[key[0], key[1], str(key[2])]) for key in DESIGN} == {
        key: TRUTH[key, "Greasy film", 2] for key in DESIGN
    }


@pytest.mark.parametrize("names", [("Judge", "Sample"), ("Panellist", "Serum")])
@pytest.mark.parametrize(
    ("above", "read_as"),
    [
        (
            ("while rubbing", "right after", "after 5 min", "after 60 min"),
            ("Drags, while rubbing", "Gloss, right after", "Tack, after 5 min", "Gloss, after 60 min"),
        ),
        (("By hand", "By eye", "5'", "60'"), ("Drags", "Gloss", "Tack, 5'", "Gloss, 60'")),
        (("By hand", "By eye", "5 min", "On glass"), ("Drags", "Gloss (By eye)", "Tack, 5 min", "Gloss (On glass)")),
        (("By hand", "By eye", "On wood", "On glass"), ("Drags", "Gloss (By eye)", "Tack", "Gloss (On glass)")),
    ],
)
def test_a_moment_above_a_column_stays_also_beside_those_that_stand_twice(names, above, read_as):
    rows = [[None, None, None, *above], [*names, "Rep", "Drags", "Gloss", "Tack", "Gloss"]]
    rows += [[*of, *(TRUTH[of, word, at] for word, at in BY_MINUTE)] for of in DESIGN]
    scores = read(rows).scores
    for name, (word, at) in zip(read_as, BY_MINUTE, strict=True):
        own = scores[scores["attribute"] == name]
        found = {(row.assessor, row.prototype, int(row.replicate)): row.score for row in own.itertuples()}
        assert found == {of: TRUTH[of, word, at] for of in DESIGN}


def test_primes_behind_a_name_are_minutes_and_seconds():
    for name, minutes in (
        ("Cooling 1'", 1),
        ("Tack (30\u2033)", 0.5),
        ("Gloss 10\u2032", 10),
        ("Judge 5's gloss", np.nan),
    ):
        np.testing.assert_equal(timed_words(name)[1], minutes)  # ISO 80000-3 and common practice of a laboratory


@pytest.mark.parametrize("unit", ["0-100", "(0 to 100)", "points", "mm"])
def test_a_line_of_units_below_two_lines_of_headings_is_no_heading(unit: str):
    upper, lower = ["", "", "", "After 2 min", "", "After 20 min", ""], ["Judge", "Sample", "Rep", *WORDS, *WORDS]
    columns = [(word, at) for at in MINUTES for word in WORDS]
    rows = wide(upper, lower, columns)
    with_units = read([*rows[:2], ["", "", "", *[unit] * 4], *rows[2:]]).scores
    told = ["assessor", "prototype", "attribute", "replicate", "score"]
    assert with_units[told].equals(read(rows).scores[told])


def test_a_unit_of_time_is_that_of_its_column():
    rows = [["Judge", "Sample", "Rep", *WORDS, "Time to dry"], ["", "", "", "0-100", "0-100", "s"]]
    rows += [[*of, TRUTH[of, WORDS[0], 2], TRUTH[of, WORDS[1], 2], 20 + n * 7 % 11] for n, of in enumerate(DESIGN)]
    read_as = read(rows)
    study = study_from_scores(read_as, raw_file("a.csv", b"x"), "units")
    assert dict(zip(*study.listed("attributes", "attribute", "unit"), strict=True)) == {
        "Greasy film": "",
        "Softness": "",
        "Time to dry (s)": "s",
    }
    assert list(study.scales(["Greasy film"])) == [(0, 100)]
