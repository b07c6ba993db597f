"""Sheets as laboratories keep them: merged names, blank names, a randomised first row, one repeat."""

from __future__ import annotations

import io
import json

import numpy as np
import pandas as pd
import pytest
import xlsxwriter
from click.testing import CliRunner

from panel.checks.all_checks import check_study
from panel.cli import main
from panel.errors import StudyError
from panel.models.assessors.performance import check_panel
from panel.models.prototypes.differences import find_differences
from panel.study.folder import read_folder, write_study
from panel.study.formulas import formula_pairs
from panel.study.naming import naming
from panel.study.raw_table import raw_file, raw_table
from panel.study.score_sheets import score_table
from panel.study.scores_import import ScoresLayout, guess_layout, read_scores, study_from_scores
from panel.study.scores_used import scores_used
from panel.views.assessors.people import tell_people

PEOPLE, PROTOTYPES, ATTRIBUTES = ("Ann", "Ben", "Cem", "Dan", "Eva"), ("L4", "L10", "L2", "L1"), ("glide", "film")
HEADER = ["Assessor", "Sample", *ATTRIBUTES]


def sheet(repeats: int = 2) -> list[list[object]]:
    rng = np.random.default_rng(4)
    rows: list[list[object]] = []
    for place, person in enumerate(PEOPLE):
        for _ in range(repeats):
            for number, prototype in enumerate(PROTOTYPES):
                rows.append(
                    [
                        person,
                        prototype,
                        *(round(float(40 + 8 * number + 3 * place + x), 1) for x in rng.normal(0, 3, 2)),
                    ]
                )
    return rows


def workbook(rows: list[list[object]], *, merged: bool) -> bytes:
    """Write the sheet with each person's name once: over merged cells, or above blank ones."""
    content = io.BytesIO()
    with xlsxwriter.Workbook(content, {"in_memory": True}) as book:
        page = book.add_worksheet("Session 1")
        page.write_row(0, 0, HEADER)
        first: dict[object, int] = {}
        for line, row in enumerate(rows, start=1):
            first.setdefault(row[0], line)
            page.write_row(line, 1, row[1:])
        lines = [*first.values(), len(rows) + 1]
        for (person, start), after in zip(first.items(), lines[1:], strict=True):
            if merged:
                page.merge_range(start, 0, after - 1, 0, person)
            else:
                page.write(start, 0, person)
    return content.getvalue()


def imported(content: bytes, **choices: object):
    table = raw_table(raw_file("panel.xlsx", content))
    guess = guess_layout(table)
    held = {name: getattr(guess, name) for name in ScoresLayout.__dataclass_fields__}
    return read_scores(table, ScoresLayout(**(held | choices)))


def study_of(content: bytes, **choices: object):
    return study_from_scores(imported(content), raw_file("panel.xlsx", content), "lotion", 0, 100, **choices)


def csv(rows: list[list[object]]) -> bytes:
    return pd.DataFrame(rows, columns=HEADER).to_csv(index=False).encode()


def test_merged_names_are_filled_down_and_that_is_said():
    rows = sheet()
    found = imported(workbook(rows, merged=True))
    assert "The name above was used for 35 rows of the sheet 'Session 1', merged in the file." in found.notes
    assert set(found.scores["assessor"]) == set(PEOPLE)
    pd.testing.assert_frame_equal(found.scores, imported(csv(rows)).scores)


def test_a_merged_sheet_is_compared_as_the_full_one():
    rows = sheet()
    merged, full = (find_differences(study_of(content)) for content in (workbook(rows, merged=True), csv(rows)))
    pd.testing.assert_frame_equal(merged.attributes, full.attributes)
    assert merged.attributes["df_error"].notna().all()


def test_blank_names_that_are_not_merged_stop_and_say_where():
    with pytest.raises(
        StudyError, match=r"35 rows with scores name no assessor \(column 'Assessor', line 3, 4, 5 and 32 more"
    ):
        imported(workbook(sheet(), merged=False))


def test_blank_names_are_filled_down_when_asked():
    rows = sheet()
    found = imported(workbook(rows, merged=False), fill_down=True)
    assert any("The assessor above was used for 35 rows" in note for note in found.notes)
    pd.testing.assert_frame_equal(found.scores, imported(csv(rows)).scores)


def test_a_blank_prototype_stops_too_and_a_row_without_scores_does_not():
    rows = sheet()
    rows[3][1] = ""
    with pytest.raises(StudyError, match=r"1 row with scores name no prototype"):
        imported(csv(rows))
    rows[3][2:] = ["", ""]
    assert len(imported(csv(rows)).scores) == 2 * len(rows)


def test_the_command_fills_down_and_names_the_benchmark(tmp_path):
    (tmp_path / "panel.xlsx").write_bytes(workbook(sheet(), merged=False))
    words = ["import", str(tmp_path / "panel.xlsx"), "--out", str(tmp_path / "study")]
    refused = CliRunner().invoke(main, words)
    assert refused.exit_code == 2
    assert "name no assessor" in refused.stderr
    done = CliRunner().invoke(main, [*words, "--fill-down", "--benchmark", "L2", "--json"])
    assert done.exit_code == 0
    assert sorted(json.loads(done.stdout)["assessors"]) == sorted(PEOPLE)
    assert read_folder(tmp_path / "study").benchmark == "L2"
    wrong = CliRunner().invoke(main, [*words, "--fill-down", "--overwrite", "--benchmark", "L9"])
    assert "L9 was not scored, so it cannot be the benchmark. Choose among L1, L2, L4, L10." in wrong.stderr


@pytest.mark.parametrize("column", ["assessor", "prototype", "session"])
def test_a_score_of_nobody_in_a_folder_is_in_no_analysis_and_stops(tmp_path, column):
    whole = study_of(csv(sheet()))
    scores = whole.scores.assign(session="1")
    blank = scores.index[scores["prototype"] == "L4"][:3]
    nameless = scores.copy()
    nameless.loc[blank, column] = ""
    write_study(whole.__class__({**whole.tables, "scores": nameless}, whole.facts), tmp_path / "study")
    study = read_folder(tmp_path / "study")
    assert len(scores_used(study).frame) == len(scores) - 3
    assert len(scores_used(study, rules=False).frame) == len(scores) - 3
    without = whole.__class__({**whole.tables, "scores": scores.drop(blank)}, whole.facts)
    pd.testing.assert_frame_equal(find_differences(study).attributes, find_differences(without).attributes)
    if column != "session":
        assert any(finding.severity == "stop" and column in finding.message for finding in check_study(study))
    for command in ("panel", "compare", "map"):
        assert CliRunner().invoke(main, [command, str(tmp_path / "study")]).exit_code in (0, 1)


def test_prototypes_stand_in_natural_order_whatever_the_first_row_is():
    assert study_of(csv(sheet())).prototypes == ("L1", "L2", "L4", "L10")
    turned = [[row[0], f"0{index:02d}", *row[2:]] for index, row in enumerate(sheet()[::-1][:8])]
    assert study_of(csv(turned)).prototypes == tuple(f"0{index:02d}" for index in range(8))


def test_a_swap_is_told_from_the_benchmark():
    study = study_of(csv(sheet()), benchmark="L10")
    oils = {"L10": "Isopropyl Palmitate", "L1": "Isoamyl Laurate"}
    rows = [(name, oil, 10.0, "emollient") for name, oil in oils.items()] + [
        (name, "Aqua", 90.0, "other") for name in oils
    ]
    formulas = pd.DataFrame(rows, columns=["prototype", "ingredient", "percent", "kind"])
    (pair,) = formula_pairs(study.__class__({**study.tables, "formulas": formulas}, study.facts)).to_dict("records")
    assert (pair["versus"], pair["prototype"]) == ("L10", "L1")
    assert (pair["removed"], pair["added"]) == ("Isopropyl Palmitate", "Isoamyl Laurate")


def test_with_one_repeat_nobody_is_said_to_separate_nothing():
    study = study_of(csv(sheet(repeats=1)))
    found = check_panel(study)
    assert found.people["n_separated"].isna().all()
    told = tell_people(found, naming(study)).headline
    assert "0 of" not in told
    assert "cannot be told with one repeat" in told
    assert any("Nobody scored a prototype twice" in note for note in found.notes)


def test_numbers_that_a_workbook_shows_otherwise_are_said_and_reckoned_columns_are_left_out():
    content = io.BytesIO()
    with xlsxwriter.Workbook(content) as book:
        page, zeros, share = book.add_worksheet(), *(book.add_format({"num_format": f}) for f in ("000", "0%"))
        page.write_row(0, 0, ["Assessor", "Code", "greasy", "sticky", "Mean of both"])
        for row in range(1, 9):
            page.write_row(row, 0, [f"A{(row + 1) // 2}", None, row, 0.1 * row, row / 2])
            page.write_number(row, 1, 17 + row % 2, zeros)
            page.write_number(row, 3, 0.1 * row, share)
    notes = " ".join(imported(content.getvalue()).notes)
    assert "read without (017 is 17): 8." in notes
    assert "read as shares (45 % is 0.45): 8." in notes
    assert "'Mean of both' is called like a mean or a total" in notes


@pytest.mark.parametrize(
    ("names", "codes"),
    [
        (("Anna", "Berta"), ("P4", "P5", "P7")),
        (("Anna", "Berta"), ("P1", "P2", "P3")),
        (("A1", "A2"), ("P4", "P5", "P7")),
    ],
)
def test_a_sheet_for_each_person_with_prototypes_across_and_attributes_down(
    names: tuple[str, ...], codes: tuple[str, ...]
):
    content = io.BytesIO()
    with xlsxwriter.Workbook(content) as book:
        for n, name in enumerate(names):
            page = book.add_worksheet(name)
            page.write_row(0, 1, codes)
            for row, term in enumerate(("glossy", "sticky"), start=1):
                page.write_row(row, 0, [term, 10 * n + row, 20 + row, 30 + row])
    file = raw_file("panel.xlsx", content.getvalue())
    if names[0] == "A1" or codes[0] == "P1":  # who are A1 and P4, Anna and P1: people or prototypes?
        with pytest.raises(StudyError, match="Write Prototype or Assessor before"):
            score_table(file)
        return
    table = score_table(file)
    scores = read_scores(table, guess_layout(table)).scores
    assert set(scores["prototype"]) == set(codes)
    found = scores.set_index(["assessor", "prototype", "attribute"])["score"]
    assert (found["Anna", "P5", "sticky"], found["Berta", "P4", "glossy"]) == (22, 11)


def table_of(text: str, name: str = "panel.csv"):
    return score_table(raw_file(name, text.encode()))


def read_of(text: str):
    table = table_of(text)
    return read_scores(table, guess_layout(table))


def test_a_hidden_sheet_is_not_read_and_named():
    content = io.BytesIO()
    with xlsxwriter.Workbook(content, {"in_memory": True}) as book:
        old, page = book.add_worksheet("old"), book.add_worksheet("Scores")
        page.activate()
        old.hide()
        for each in (old, page):
            for line, row in enumerate([HEADER, *sheet()]):
                each.write_row(line, 0, row)
    table = score_table(raw_file("panel.xlsx", content.getvalue()))
    assert len(table.lines) == len(sheet())
    assert "Hidden sheets were not read: old." in table.notes


def test_comments_of_several_lines_do_not_hide_the_sign_between_the_cells():
    rows = [f'{who};{of};{n},5;7,0;"{note}"' for who in PEOPLE for n, of in enumerate(PROTOTYPES) for note in NOTES]
    assert table_of("\n".join(["Assessor;Sample;glide;film;Comment", *rows])).header[1:3] == ("Sample", "glide")


NOTES = ("", "too thick; see\nnotes, 5")


def test_decimal_commas_in_each_cell_are_no_sign_between_cells():
    rows = [f"{who};{n},5;{n},0;7,5" for n, who in enumerate(PEOPLE)]
    assert table_of("\n".join(["Panelist;L1;L2;L3", *rows])).header == ("Panelist", "L1", "L2", "L3")


def test_a_slip_does_not_take_the_scale_that_a_heading_states_away():
    rows = [f"{who},{of},{n}" for who in PEOPLE for n, of in enumerate(PROTOTYPES)]
    read = read_of("\n".join(["Assessor,Sample,glide (0-10)", *rows[:-1], "Eva,L1,999"]))
    study = study_from_scores(read, raw_file("f", b"x"), "t")
    assert study.table("attributes")[["scale_min", "scale_max"]].values.tolist() == [[0, 10]]
    assert [found.kind for found in check_study(study)].count("score_outside_scale") == 1


@pytest.mark.parametrize("missing", ["abs,abs", "n/a,n/a", "inf,-inf"])
def test_first_rows_without_a_number_are_rows_and_no_headings(missing: str):
    rows = [f"Zoe,{of},{missing}" for of in PROTOTYPES[:2]]
    rows += [f"{who},{of},{n + k},{2 * n + k}" for k, who in enumerate(PEOPLE) for n, of in enumerate(PROTOTYPES)]
    read = read_of("\n".join([",".join(HEADER), *rows]))
    assert read.layout.attributes == ATTRIBUTES
    assert len(read.scores) == 2 * len(rows)
    assert len(read.unread) == (0 if missing == "n/a,n/a" else 4)
    assert "left out" not in " ".join(read.notes)


def test_another_unit_than_most_cells_have_is_turned_into_theirs_and_that_is_said():
    rows = [f"{who},{of},{20 + n + 9 * k} s" for k, who in enumerate(PEOPLE) for n, of in enumerate(PROTOTYPES)]
    read = read_of("\n".join(["Assessor,Sample,drying", *rows, "Zoe,L1,1 min 5 s", "Zoe,L2,2 min", "Zoe,L4,70"]))
    assert read.unread["text"].tolist() == ["1 min 5 s"]
    assert read.scores["score"].tolist()[-2:] == [120, 70]
    assert any(
        note.startswith("What stands beside the number was left out: '2 min' is 120 and ") for note in read.notes
    )


@pytest.mark.parametrize("again", ["L1 (2)", "L1 rep", "L1 Wdh. 2", "L1_bis"])
def test_a_prototype_that_may_be_another_one_served_again_is_told(again: str):
    served = tuple(enumerate((*PROTOTYPES, again, "Crepe")))
    rows = [f"{who},{of},{n + k}" for k, who in enumerate(PEOPLE) for n, of in served]
    study = study_from_scores(read_of("\n".join(["Assessor,Sample,glide", *rows])), raw_file("f", b"x"), "t")
    told = [found.message for found in check_study(study) if found.kind == "names_alike"]
    assert told == [f"{again!r} and 'L1' look like one served again."]


def test_half_points_are_read_and_a_moment_is_no_attribute():
    rows = [
        f"{who}\t{of}\t2025-03-1{s}T09:0{n}:00\t{n + k}\u00bd"
        for k, who in enumerate(PEOPLE)
        for n, of in enumerate(PROTOTYPES)
        for s in (1, 2)
    ]
    read = read_of("\n".join(["Judge\tProduct\tWhen\tglide", *rows]))
    assert (read.layout.attribute, read.layout.attributes) == ("", ("glide",))
    assert read.scores["score"].tolist()[:3] == [0.5, 0.5, 1.5]
    assert len(read.unread) == 0


@pytest.mark.parametrize("word", ["Lotion ", "Creme", "Muster: "])
def test_a_sheet_for_each_prototype_may_be_called_by_a_word_for_it(word: str):
    content = io.BytesIO()
    with xlsxwriter.Workbook(content) as book:
        for n in (1, 2, 3):
            page = book.add_worksheet(f"{word.replace(':', '')}{n}")
            for line, row in enumerate(
                [["Panelist", *ATTRIBUTES], *([who, n + k, 9 - n] for k, who in enumerate("ABC"))]
            ):
                page.write_row(line, 0, row)
    table = score_table(raw_file("panel.xlsx", content.getvalue()))
    assert "the name of the sheet is the prototype." in " ".join(table.notes)
