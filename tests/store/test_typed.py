import pytest

from panel.errors import StudyError
from panel.store.board import board_of_servings, session_record
from panel.store.database import now
from panel.store.double_entry import keep_typed, take_over_typed, typed_differences, typed_grid
from panel.store.events import Entry, record
from panel.store.lock import lock_session
from panel.study.folder import read_folder, write_study
from tests.ballot_studies import ASSESSORS, SECRETS, ballot_study

ATTRIBUTES = ["GLOSS", "SPREAD", "GREASE", "STICK", "RESIDUE"]


def filled(store, collection, value="48,7"):
    grid = typed_grid(store, collection, "1")
    grid[ATTRIBUTES] = value
    grid.loc[grid.index[0], "GLOSS"] = "x"
    return grid


def keep(store, collection, grid, second=False, who=""):
    names = who or ("Berta" if second else "Anna")
    return keep_typed(store, collection, "1", grid, second=second, who=names, at=now())


def both(store, collection, first="48,7", other="48.7"):
    keep(store, collection, filled(store, collection, first))
    keep(store, collection, filled(store, collection, other), second=True)


def take_over(store, collection, **options):
    return take_over_typed(store, collection, "1", at=now(), **options)


def test_the_blank_grid_has_a_row_for_each_serving_and_no_prototype(store, collection):
    grid = typed_grid(store, collection, "1")
    assert list(grid.columns) == ["session", "assessor", "position", "code", *ATTRIBUTES]
    assert grid["assessor"].tolist() == [name for name in ASSESSORS for _ in range(3)]
    assert grid["position"].tolist() == ["1", "2", "3"] * 3
    assert set(grid[ATTRIBUTES].to_numpy().ravel()) == {""}
    assert not any(word in grid.to_csv() for word in SECRETS)


def test_what_was_typed_is_found_again_and_only_changes_are_kept(store, collection):
    grid = filled(store, collection)
    assert keep(store, collection, grid.iloc[:2]) == 10
    assert keep(store, collection, grid.iloc[:2]) == 0
    grid.loc[grid.index[1], "STICK"] = "12"
    assert keep(store, collection, grid.iloc[:2]) == 1
    again = typed_grid(store, collection, "1")
    assert again.iloc[1]["STICK"] == "12"
    assert again.iloc[2]["STICK"] == ""
    assert typed_grid(store, collection, "1", second=True)["STICK"].tolist() == [""] * 9


def test_the_same_person_does_not_type_twice(store, collection):
    keep(store, collection, filled(store, collection))
    with pytest.raises(StudyError, match=r"anna did the other typing\. The two are done by two people"):
        keep(store, collection, filled(store, collection), second=True, who=" anna ")
    with pytest.raises(StudyError, match="Write who types"):
        keep(store, collection, filled(store, collection), second=True, who="  ")


def test_typings_alike_become_answers_and_the_scores_say_where_they_come_from(store, collection, tmp_path):
    both(store, collection)
    assert typed_differences(store, collection, "1").empty
    assert take_over(store, collection) == 45
    take_over(store, collection)  # again: nothing is there twice
    assert session_record(store, collection, "1").count(b'"kind":"answer"') == 44
    board = board_of_servings(store, collection, "1")
    assert board["answered"].sum() == 44
    assert board["cannot_judge"].sum() == 1
    write_study(ballot_study(), tmp_path / "hills")
    lock_session(store, collection, "1", tmp_path / "hills", who="lead", at=now())
    scores = read_folder(tmp_path / "hills").scores
    assert set(scores["source"]) == {"typed"}
    assert set(scores["score"].dropna()) == {48.7}
    plan = ballot_study().table("servings").query("session == '1'")
    expected = {(row.assessor, row.position): row.prototype for row in plan.itertuples()}
    assert {(row.assessor, row.position): row.prototype for row in scores.itertuples()} == expected


def test_ballots_that_nobody_typed_are_left_out(store, collection):
    grid = filled(store, collection)
    keep(store, collection, grid.iloc[:3])
    keep(store, collection, grid.iloc[:3], second=True)
    assert take_over(store, collection) == 15
    assert board_of_servings(store, collection, "1")["answered"].tolist() == [4, 5, 5, *[0] * 6]


def test_one_paper_ballot_beside_phones_is_told_apart_in_the_scores(store, collection, tmp_path):
    place = {"collection": collection, "session": "1", "assessor": "A02", "at": now()}
    record(store, [Entry("answer", 4, "GLOSS", 7.0)], submission="s", **place)
    grid = filled(store, collection).iloc[:1]
    keep(store, collection, grid)
    keep(store, collection, grid, second=True)
    take_over(store, collection)
    write_study(ballot_study(), tmp_path / "hills")
    lock_session(store, collection, "1", tmp_path / "hills", who="lead", at=now())
    scores = read_folder(tmp_path / "hills").scores
    assert scores.groupby("assessor")["source"].unique().map(list).to_dict() == {"A01": ["typed"], "A02": ["ballot"]}


def test_a_sample_that_was_answered_on_a_phone_is_not_taken_from_paper(store, collection):
    place = {"collection": collection, "session": "1", "assessor": "A01", "at": now()}
    record(store, [Entry("answer", 1, "GLOSS", 7.0)], submission="s", **place)
    both(store, collection)
    with pytest.raises(StudyError, match=r"A01, code \d{3}, has answers that did not come from paper"):
        take_over(store, collection)


def test_millimetres_on_a_printed_line_become_scores_of_the_scale(store, collection):
    both(store, collection, "75", "75,0")
    take_over(store, collection, line_mm=150)
    assert b'"value":50.0' in session_record(store, collection, "1")


def test_typings_that_differ_are_sent_back_to_the_paper(store, collection):
    both(store, collection)
    grid = filled(store, collection)
    grid.loc[grid.index[3], "GREASE"] = "4,87"
    keep(store, collection, grid, second=True)
    assert len(typed_differences(store, collection, "1")) == 1
    with pytest.raises(StudyError, match=r"do not agree yet in 1 cells, first for A02, code \d{3}, GREASE: different"):
        take_over(store, collection)
    grid.loc[grid.index[3], "GREASE"] = ""
    keep(store, collection, grid, second=True)
    with pytest.raises(StudyError, match="only first"):
        take_over(store, collection)


@pytest.mark.parametrize(("value", "options"), [("330", {}), ("151", {"line_mm": 150}), ("-1", {})])
def test_a_value_off_the_line_is_sent_back_to_the_paper(store, collection, value, options):
    both(store, collection, value, value)
    with pytest.raises(StudyError, match=f"{value} lies off the line. Look at the paper"):
        take_over(store, collection, **options)


def test_nothing_typed_and_a_locked_session_are_told(store, collection, tmp_path):
    with pytest.raises(StudyError, match="No paper ballots of session 1 are typed yet"):
        take_over(store, collection)
    both(store, collection)
    take_over(store, collection)
    write_study(ballot_study(), tmp_path / "hills")
    lock_session(store, collection, "1", tmp_path / "hills", who="lead", at=now())
    with pytest.raises(StudyError, match="The session is locked"):
        keep(store, collection, filled(store, collection, "1"))
