"""Tables and facts changed by hand: what was typed is kept, what is wrong has its place, nothing else moves."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings

from panel.errors import StudyError
from panel.study.editing import (
    changes_between,
    put_block,
    put_fact,
    put_table,
    rebased,
    table_problems,
    texts_of_table,
    typed_fact,
    with_facts,
)
from panel.study.facts import facts_with_unread
from panel.study.folder import files_of_study, read_folder, write_study
from panel.study.journal import FACTS
from panel.study.study import Study
from panel.study.table_cells import (
    ENTRIES,
    column_hint,
    known_column,
    nearest_column,
    texts_of_frame,
)
from panel.study.tables import TABLES, heading
from tests.study.small_study import small_study
from tests.study.test_open_study import studies


def block(**columns: list[str]) -> pd.DataFrame:
    return pd.DataFrame(columns, dtype="str")


READING = block(prototype=["P1"], measure=["friction"], unit=["1"], value=["1.234"])
BATCHES = block(batch=["B1", "B2"], prototype=["P1", "P1"], ph=["5,4", "5,61"])


def by_hand(study: Study) -> Study:
    """Return a study made from nothing through the functions of the editors alone."""
    made = Study({})
    for name, frame in study.tables.items():
        header, columns = texts_of_frame(name, frame, study.unread)
        made = put_table(made, name, pd.DataFrame(dict(zip(header, columns, strict=True)), columns=header, dtype="str"))
    for name, value in facts_with_unread(study).items():
        made = put_fact(made, name, value)
    return made


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(studies())
def test_any_study_of_a_folder_can_be_made_by_hand_and_is_the_same_byte_for_byte(study: Study):
    with tempfile.TemporaryDirectory() as place:
        write_study(study, Path(place) / "s")
        kept = read_folder(Path(place) / "s")
        write_study(by_hand(kept), Path(place) / "made")
        made = read_folder(Path(place) / "made")
    # facts that cannot be read stand first in a description; the order of facts says nothing
    assert {k: v for k, v in files_of_study(made).items() if k.endswith(".csv")} == {
        k: v for k, v in files_of_study(kept).items() if k.endswith(".csv")
    }
    assert facts_with_unread(made) == facts_with_unread(kept)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(studies())
def test_a_table_that_is_shown_and_saved_untouched_is_the_same(study: Study):
    with tempfile.TemporaryDirectory() as place:
        write_study(study, Path(place) / "s")
        kept = read_folder(Path(place) / "s")
    for name in kept.tables:
        assert changes_between(kept, put_table(kept, name, texts_of_table(kept, name))).empty


def test_decimal_commas_typed_beside_decimal_points_are_read_each_as_meant():
    study = put_table(Study({}), "batches", block(batch=["B1"], prototype=["P1"], ph=["5.125"]))
    texts = texts_of_table(study, "batches")
    texts.loc[1, ["batch", "prototype", "ph"]] = ["B2", "P1", "6,25"]
    assert put_table(study, "batches", texts).table("batches")["ph"].tolist() == [5.125, 6.25]


def test_what_could_be_two_numbers_stays_as_typed_and_is_asked_about():
    study = put_table(Study({}), "batches", block(batch=["B1"], prototype=["P1"], viscosity_mpa_s=["1,234"]))
    (problem,) = table_problems(study, "batches")
    assert (problem.row, problem.column) == (1, "viscosity_mpa_s")
    assert "could be" in problem.message
    assert "Write it one of these two ways" in problem.advice
    assert texts_of_table(study, "batches")["viscosity_mpa_s"].tolist() == ["1,234"]
    # other cells with decimal points do not decide it behind her back
    texts = texts_of_table(study, "batches")
    texts.loc[1, ["batch", "prototype", "viscosity_mpa_s"]] = ["B2", "P1", "17.5"]
    after = put_table(study, "batches", texts)
    assert after.table("batches")["viscosity_mpa_s"].isna().tolist() == [True, False]
    assert texts_of_table(after, "batches")["viscosity_mpa_s"].tolist() == ["1,234", "17.5"]


@pytest.mark.parametrize(
    ("table", "cells", "row", "column", "says"),
    [
        ("batches", {"batch": "B1", "prototype": "p 1"}, 1, "prototype", "Perhaps P1 is meant"),
        ("batches", {"batch": "", "prototype": "P1"}, 1, "batch", "it is empty and is needed"),
        ("batches", {"batch": "B1", "prototype": "P1", "ph": "acid"}, 1, "ph", "'acid' is not read: not a number"),
        ("batches", {"batch": "B1", "prototype": "P1", "made_on": "10/3/2025"}, 1, "made_on", "2025-03-10"),
        (
            "formulas",
            {"prototype": "P1", "ingredient": "Aqua", "percent": "70", "kind": "emolient"},
            1,
            "kind",
            "emollient is",
        ),
        (
            "servings",
            {"session": "1", "assessor": "A01", "position": "1.5", "prototype": "P1", "code": "123"},
            1,
            "position",
            "whole number",
        ),
    ],
)
def test_what_is_wrong_with_a_cell_is_said_with_its_row_and_column(table, cells, row, column, says):
    study = put_table(small_study(), table, block(**{name: [cell] for name, cell in cells.items()}))
    found = [problem for problem in table_problems(study, table) if problem.column == column]
    assert [problem.row for problem in found] == [row]
    assert says in found[0].sentence
    assert found[0].sentence.startswith(f"Row {row}, {column}: ")


def test_a_row_named_twice_is_said_at_the_second_one():
    study = put_table(small_study(), "batches", block(batch=["B1", "B1"], prototype=["P1", "P1"]))
    assert [(p.row, p.column) for p in table_problems(study, "batches")] == [(2, "batch")]


def test_a_sound_table_has_no_problem():
    assert table_problems(put_table(small_study(), "batches", BATCHES), "batches") == ()


def test_a_block_changes_rows_by_their_key_and_adds_the_others():
    study = put_table(small_study(), "batches", BATCHES)
    after = put_block(study, "batches", block(batch=["B2", "B3"], prototype=["", "017"], ph=["5,7", "6,0"]))
    rows = after.table("batches")[["batch", "prototype", "ph"]].values.tolist()
    assert rows == [["B1", "P1", 5.4], ["B2", "P1", 5.7], ["B3", "017", 6.0]]
    assert len(changes_between(study, after)) == 2


def test_a_block_is_read_by_itself():
    study = put_table(small_study(), "readings", READING)
    new = block(prototype=["P1", "P1"], measure=["slip", "grip"], unit=["1", "1"], value=["1.234,5", "0,5"])
    assert put_block(study, "readings", new).table("readings")["value"].tolist() == [1.234, 1234.5, 0.5]


def test_a_block_pasted_twice_changes_nothing_the_second_time():
    study = put_block(small_study(), "readings", block(prototype=["P1"], measure=["pH"], unit=["1"], value=["5,5"]))
    assert changes_between(study, put_block(study, "readings", texts_of_table(study, "readings"))).empty


def test_a_formula_of_a_block_replaces_the_one_there_was():
    new = block(prototype=["P1", "P1"], ingredient=["Aqua", "Squalane"], percent=["90", "10"])
    after = put_block(small_study(), "formulas", new).table("formulas")
    assert after["prototype"].tolist() == ["017", "P1", "P1"]


def test_a_whole_block_replaces_the_table():
    after = put_block(small_study(), "batches", block(batch=["N"], prototype=["P1"]), whole=True)
    assert after.table("batches")["batch"].tolist() == ["N"]


def test_an_unknown_column_is_kept():
    study = put_table(small_study(), "batches", BATCHES.assign(supplier="ours"))
    assert texts_of_table(study, "batches")["supplier"].tolist() == ["ours", "ours"]


def test_what_is_on_record_grows_and_never_goes():
    record = block(when=["2025-03-10"], who=["L"], table=["scores"], key=["assessor=A01"], why=["slip"])
    study = put_table(Study({}), "corrections", record)
    longer = put_table(study, "corrections", pd.concat([record, record.assign(who="M")]))
    assert len(longer.table("corrections")) == 2
    with pytest.raises(StudyError, match=r"stays as it is \(1 row would change or go.*Write a new row"):
        put_table(longer, "corrections", record)


def test_a_table_that_there_is_not_is_said_with_the_nearest():
    with pytest.raises(StudyError, match=r"no table 'formula'.*Perhaps formulas is meant"):
        put_table(Study({}), "formula", BATCHES)


def test_two_columns_of_one_name_are_refused():
    with pytest.raises(StudyError, match="more than one column for 'batch'"):
        put_table(Study({}), "batches", pd.DataFrame([["a", "b"]], columns=["batch", "batch"]))


# hints and headings come from the declarations, so each names a column that is there


@pytest.mark.parametrize("name", TABLES)
def test_every_heading_and_name_leads_to_its_own_column(name: str):
    for column in TABLES[name].columns:
        assert known_column(name, column.name) == column.name
        assert known_column(name, heading(column)) == column.name
        assert known_column(name, heading(column).upper()) == column.name
        assert column.meaning in column_hint(column)


@pytest.mark.parametrize(
    ("table", "words", "column"),
    [
        ("batches", "Viscosity (cP)", "viscosity_mpa_s"),  # 1 cP is 1 mPa s
        ("batches", "Viscosity [mPa s]", "viscosity_mpa_s"),
        ("formulas", "Ingredient (INCI)", "ingredient"),
        ("formulas", "Ingredient", "ingredient"),
        ("batches", "Made on", "made_on"),
        ("readings", "Temperature (\u00b0C)", "temperature_c"),
    ],
)
def test_headings_as_people_write_them_are_known(table: str, words: str, column: str):
    assert known_column(table, words) == column


@pytest.mark.parametrize(
    ("table", "words", "column"),
    [
        ("batches", "made", "made_on"),
        ("batches", "tested", "tested_on"),
        ("batches", "bach", "batch"),
        ("batches", "viscosity", "viscosity_mpa_s"),
        ("batches", "Viscosity (Pa s)", "viscosity_mpa_s"),
        ("readings", "Temperature (K)", "temperature_c"),
        ("attributes", "definiton", "definition"),
        ("batches", "colour of the lid", ""),
    ],
)
def test_the_nearest_column_is_proposed_and_none_where_none_is_near(table: str, words: str, column: str):
    assert known_column(table, words) == ""
    assert nearest_column(table, words) == column


# facts


def test_a_fact_is_put_and_taken_out():
    study = put_fact(small_study(), "margin", "7,5")
    assert study.facts["margin"] == 7.5
    assert "margin" not in with_facts(study, {"margin": None}).facts


def test_a_fact_of_the_wrong_kind_is_kept_and_not_read():
    study = put_fact(Study({}), "margin", "about ten")
    assert "margin" not in study.facts
    assert study.unread[["table", "column"]].values.tolist() == [[FACTS, "margin"]]
    assert facts_with_unread(study) == {"margin": "about ten"}
    assert facts_with_unread(put_fact(study, "margin", 10)) == {"margin": 10}


def test_what_is_typed_for_a_fact_is_read_by_its_kind():
    assert typed_fact("margin", " 7,5 ") == 7.5
    assert typed_fact("title", " Hand cream ") == "Hand cream"
    assert typed_fact("notes", "one\ntwo") == ["one", "two"]
    assert typed_fact("dominance_attributes", "greasy; sticky") == ["greasy", "sticky"]
    assert typed_fact("dose", "") is None
    with pytest.raises(StudyError, match="The fact margin cannot be read: 'ten' is not a number"):
        typed_fact("margin", "ten")
    with pytest.raises(StudyError, match="has its own form"):
        typed_fact("rules", "one")


def test_entries_keep_what_was_not_touched():
    stated = [{"question": "Q", "kind": "liking", "bar": 60, "choices": ["a", "b"]}]
    study = put_fact(small_study(), "questions", stated)
    texts = texts_of_table(study, "questions")
    texts.loc[0, "words"] = "How much do you like it?"
    assert put_table(study, "questions", texts).facts["questions"] == [
        {**stated[0], "words": "How much do you like it?"}
    ]
    assert "questions" not in put_table(study, "questions", texts.iloc[:0]).facts


def test_entries_that_name_nothing_known_are_said():
    texts = block(prototype=["P1", "P7"], versus=["017", ""], attribute=["", "GREASY"])
    study = put_table(small_study(), "planned_differences", texts)
    found = [(p.row, p.column) for p in table_problems(study, "planned_differences")]
    assert found == [(2, "prototype"), (2, "versus")]
    assert set(ENTRIES) == {"questions", "planned_differences"}


def test_an_entry_that_is_none_is_kept():
    study = put_fact(small_study(), "planned_differences", ["soon", {"prototype": "P1", "versus": "017"}])
    after = put_table(study, "planned_differences", texts_of_table(study, "planned_differences"))
    assert after.facts == study.facts


def test_two_people_edit_one_table_and_both_changes_stay():
    seen = put_table(small_study(), "batches", BATCHES)
    mine = put_table(seen, "batches", BATCHES.assign(ph=["5,9", "5,61"]))
    theirs = put_block(seen, "batches", block(batch=["B3"], prototype=["017"], ph=["7,0"]))
    both = rebased(theirs, "batches", seen, mine)
    assert both.table("batches")["ph"].tolist() == [5.9, 5.61, 7.0]
    collided = put_table(seen, "batches", BATCHES.assign(ph=["4,0", "5,61"]))
    with pytest.raises(StudyError, match="Somebody else changed the same rows"):
        rebased(collided, "batches", seen, mine)


def test_a_fact_of_entries_that_somebody_else_changed_is_not_overwritten():
    seen = put_fact(small_study(), "questions", [{"question": "Q"}])
    theirs = put_fact(seen, "questions", [{"question": "R"}])
    mine = put_fact(seen, "questions", [{"question": "S"}])
    assert rebased(seen, "questions", seen, mine).facts["questions"] == [{"question": "S"}]
    with pytest.raises(StudyError, match="Somebody else changed questions meanwhile"):
        rebased(theirs, "questions", seen, mine)


def test_a_day_that_can_be_only_one_is_that_day_and_any_other_stays():
    """Where dots stand the day comes first, as in most of Europe; common practice, no source."""
    days = ["3.11.2026", "03.11.2026", "31.02.2026", "25/3/2026", "March"]
    rows = pd.DataFrame({"batch": list("abcde"), "prototype": "P1", "made_on": days}, dtype="str")
    for made in (put_block, put_table):
        held = made(Study({}), "batches", rows).table("batches")["made_on"].tolist()
        assert held == ["2026-11-03", "2026-11-03", "31.02.2026", "2026-03-25", "March"]
