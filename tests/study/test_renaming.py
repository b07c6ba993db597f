"""One name changed everywhere at once, and one taken out: nothing that names it is left behind."""

from __future__ import annotations

import json
import re
import shlex
from dataclasses import replace
from itertools import product

import pandas as pd
import pytest

from panel.app.state import demo_folder
from panel.checks.all_checks import check_study
from panel.errors import StudyError
from panel.study.editing import put_fact, put_table
from panel.study.folder import files_of_study
from panel.study.open_study import open_study
from panel.study.raw_table import raw_file, raw_table
from panel.study.renaming import delete, rename
from panel.study.scores_import import guess_layout, read_scores, study_from_scores
from panel.study.scores_used import scores_used, with_correction
from panel.study.study import Study
from panel.study.table_cells import study_changes
from tests.study.small_study import small_study


def demo() -> Study:
    """Return the demo without the claims, which stand under a seal."""
    study = open_study(demo_folder())
    return replace(
        study, tables={name: frame for name, frame in study.tables.items() if name not in ("claims", "decisions")}
    )


@pytest.mark.parametrize(
    ("kind", "old", "new"), [("prototype", "P4", "Q44"), ("attribute", "AF_GREASE", "FILM"), ("assessor", "A03", "B99")]
)
def test_a_new_name_stands_wherever_the_old_one_did(kind: str, old: str, new: str):
    before = demo()
    after = rename(before, kind, old, new)
    for name, content in files_of_study(after).items():
        if not name.startswith("raw/"):
            cells = (
                content.decode().replace('"', ",").replace(";", ",").replace("=", ",").replace("\r\n", ",").split(",")
            )
            assert old not in [cell.strip() for cell in cells if not cell.strip().startswith(("notes", "A04 came"))], (
                name
            )
    back = rename(after, kind, new, old)
    assert back.content_hash == before.content_hash
    assert [(f.severity, f.kind) for f in check_study(after)] == [(f.severity, f.kind) for f in check_study(before)]


def test_a_correction_follows_the_person_it_is_about():
    place = {"assessor": "A01", "session": "1", "prototype": "P1", "attribute": "GREASY"}
    study = with_correction(small_study(), place, new="50", who="L", why="slip", when="2025-03-10T10:00:00")
    after = rename(study, "assessor", "A01", "Z9")
    assert scores_used(after).corrected["assessor"].tolist() == ["Z9"]


def test_a_chosen_answer_is_renamed_and_another_word_is_not():
    answers = pd.DataFrame(
        {
            "assessor": ["C1", "C2"],
            "prototype": ["P1", "P1"],
            "question": ["Q", "Q"],
            "kind": ["preference", "check_all"],
            "answer": ["P1", "P1"],
        }
    )
    study = rename(put_table(small_study(), "answers", answers), "prototype", "P1", "X")
    assert study.table("answers")["answer"].tolist() == ["X", "P1"]


def test_what_stands_under_a_seal_keeps_its_name():
    with pytest.raises(StudyError, match=r"P4 cannot be renamed: it stands under a seal \(claims.*name in words"):
        rename(open_study(demo_folder()), "prototype", "P4", "X")
    sealed = put_fact(small_study(), "key", {"sha256": "0"})
    with pytest.raises(StudyError, match="the serving plan"):
        rename(sealed, "assessor", "A01", "X")


@pytest.mark.parametrize(
    ("kind", "old", "new", "says"),
    [
        ("prototype", "P9", "X", "no prototype 'P9'"),
        ("prototype", "P1", " ", "Write the new name"),
        ("prototype", "P1", "017", "a prototype 017 already"),
        ("assessor", "A01", "A02", "There is an assessor A02 already"),
        ("formula", "P1", "X", "it is one of prototype"),
    ],
)
def test_what_cannot_be_renamed_is_said(kind: str, old: str, new: str, says: str):
    with pytest.raises(StudyError, match=says):
        rename(small_study(), kind, old, new)


def test_what_was_only_prepared_is_taken_out_with_a_reason():
    texts = pd.DataFrame({"prototype": ["P1", "017", "P3"], "name": ["", "", "never made"]})
    study = put_table(small_study(), "prototypes", texts)
    study = put_fact(
        study, "planned_differences", [{"prototype": "P3", "versus": "P1"}, {"prototype": "017", "versus": "P1"}]
    )
    after = delete(study, "prototype", "P3", "not made")
    assert "P3" not in after.prototypes
    assert "P3" not in json.dumps(dict(after.facts))
    assert len(after.facts["planned_differences"]) == 1
    with pytest.raises(StudyError, match="Write why P3 is taken out"):
        delete(study, "prototype", "P3", " ")


def test_what_was_scored_stays():
    with pytest.raises(StudyError, match=r"P1 stays: there are .*rows of scores.* about it"):
        delete(small_study(), "prototype", "P1", "ugly")


def listing() -> Study:
    return put_table(small_study(), "prototypes", pd.DataFrame({"prototype": ["P1", "017"], "name": ["", "old one"]}))


def with_slip(slip: str = "p1", rows: int = 2) -> Study:
    """Return a study in which some rows of P1 are under another spelling, as an import makes it."""
    study = listing()
    scores = study.table("scores").copy()
    scores.loc[scores.index[scores["prototype"] == "P1"][:rows], "prototype"] = slip
    listed = study.table("prototypes")
    slipped = listed.loc[listed["prototype"] == "P1"].assign(prototype=slip)
    tables = {**study.tables, "scores": scores, "prototypes": pd.concat([listed, slipped], ignore_index=True)}
    return replace(study, tables=tables)


@pytest.mark.parametrize("slip", ["p1", "P 1", "P-01", "P1 (2)"])
def test_a_slip_of_a_name_is_joined_with_it_for_a_reason(slip: str):
    before = with_slip(slip)
    with pytest.raises(StudyError, match=r"If .* is a slip of it, say why \(--why REASON\)"):
        rename(before, "prototype", slip, "P1")
    after = rename(before, "prototype", slip, "P1", "typed in small letters")
    assert study_changes(listing(), after) == ()


def test_what_check_says_of_two_spellings_is_what_works():
    (advice,) = [found.advice for found in check_study(with_slip()) if found.kind == "names_alike"]
    words = shlex.split(advice[advice.index("rename prototype") :].partition(" --why")[0])
    assert study_changes(listing(), rename(with_slip(), *words[1:], "a slip")) == ()


def test_two_that_were_scored_side_by_side_or_are_told_apart_by_a_label_stay_two():
    again = with_slip(rows=0)
    scores = again.table("scores")
    twice = scores.loc[scores["prototype"] == "P1"].assign(prototype="p1")
    both = replace(again, tables={**again.tables, "scores": pd.concat([scores, twice], ignore_index=True)})
    with pytest.raises(StudyError, match=rf"cannot become one: both are there in {len(twice)} rows of scores"):
        rename(both, "prototype", "p1", "P1", "a slip")
    creams = rename(rename(with_slip(), "prototype", "P1", "Cream A"), "prototype", "p1", "Cream B")
    with pytest.raises(StudyError, match="two would become one"):
        rename(creams, "prototype", "Cream B", "Cream A", "a slip")
    compared = put_table(
        again,
        "answers",
        pd.DataFrame({"assessor": ["C"], "prototype": ["p1"], "versus": ["P1"], "question": ["Q"], "answer": ["P1"]}),
    )
    with pytest.raises(StudyError, match="1 row of answers"):
        rename(compared, "prototype", "p1", "P1", "a slip")


def with_slip_of_attribute(slip: str, name: str, rows: int = 1, *, again: bool = False) -> Study:
    """Return a study with an attribute called `name`, some rows of which (or all of them again) are under a slip."""
    study = rename(small_study(), "attribute", str(small_study().scores["attribute"].iloc[0]), name)
    scores, listed = study.table("scores").copy(), study.table("attributes")
    own = scores.index[scores["attribute"] == name][:rows]
    more = scores.loc[own].assign(attribute=slip)
    if not again:
        scores.loc[own, "attribute"] = slip
    listed = pd.concat([listed, listed.loc[listed["attribute"] == name].assign(attribute=slip)], ignore_index=True)
    scores = pd.concat([scores, *([more] if again else [])], ignore_index=True)
    return replace(study, tables={**study.tables, "scores": scores, "attributes": listed})


@pytest.mark.parametrize(
    ("slip", "name"),
    [
        ("Ring on tub", "Ring on the tub"),
        ("Squeeks", "Squeaks"),
        ("Dust on sleve, 5 min", "Dust on the sleeve, 5 min"),
        ("film on the glass", "Film on glass"),
    ],
)
def test_two_spellings_of_an_attribute_are_told_and_joined_for_a_reason(slip: str, name: str):
    before = with_slip_of_attribute(slip, name)
    (found,) = [each for each in check_study(before) if each.kind == "names_alike"]
    assert {slip, name} == {*re.findall("'([^']*)'", found.message)}
    words = shlex.split(found.advice[found.advice.index("rename attribute") :].partition(" --why")[0])
    with pytest.raises(StudyError, match="is a slip of it, say why"):
        rename(before, *words[1:])
    after = rename(before, *words[1:], "one sensation, written twice")
    assert not {*before.scores["attribute"]} - {*after.scores["attribute"], words[2]}
    assert (after.scores["attribute"] == words[3]).sum() == before.scores["attribute"].isin([slip, name]).sum()
    assert [each for each in after.table("attributes")["attribute"] if each in (slip, name)] == [words[3]]


@pytest.mark.parametrize(
    ("one", "other"),
    [("sticky, 5 min", "sticky, 10 min"), ("sticky", "not sticky"), ("smooth", "unsmooth"), ("left arm", "right arm")],
)
def test_attributes_that_say_different_things_stay_two(one: str, other: str):
    before = with_slip_of_attribute(one, other)
    assert not [each for each in check_study(before) if each.kind == "names_alike"]
    with pytest.raises(StudyError, match="two would become one"):
        rename(before, "attribute", one, other, "a slip")


def test_spellings_of_an_attribute_scored_for_one_serving_are_not_joined_and_it_is_said_where():
    before = with_slip_of_attribute("Ring on tub", "Ring on the tub", again=True)
    row = before.scores.iloc[-1]
    said = rf"both are there in 1 row of scores \(.*{row['assessor']}.*/{row['prototype']}/Ring on the tub"
    with pytest.raises(StudyError, match=said):
        rename(before, "attribute", "Ring on tub", "Ring on the tub", "a slip")


def test_lists_that_contradict_each_other_are_not_joined():
    study = with_slip()
    listed = study.table("prototypes")
    listed.loc[listed["prototype"] == "P1", "note"] = "with scent"
    listed.loc[listed["prototype"] == "p1", "note"] = "without"
    told = replace(study, tables={**study.tables, "prototypes": listed})
    with pytest.raises(StudyError, match=r"do not say the same of P1 \(note\)"):
        rename(told, "prototype", "p1", "P1", "a slip")


# A session has a name, too: one that was mistyped is joined with the one that was meant.


def dated(days: tuple[str, ...], slip: str) -> Study:
    """Three people with two waxes on each day; the first sample of Lea on the last day stands under the slip."""
    rows = [["Assessor", "Session", "Product", "gloss"]]
    for day, who, wax in product(days, ("Ida", "Kim", "Lea"), ("wax 3", "wax 9")):
        one = (day, who, wax) == (days[-1], "Lea", "wax 3")
        rows.append([who, slip if one else day, wax, str(1 + len(rows) % 7)])
    file = raw_file("waxes.csv", "\n".join(map(",".join, rows)).encode())
    table = raw_table(file)
    return study_from_scores(read_scores(table, guess_layout(table)), file, "waxes")


@pytest.mark.parametrize(
    ("days", "slip", "recorded"),
    [
        (("13/11/2026", "09/11/2026"), "09/11/2025", ["2026-11-13"] * 6 + ["2026-11-09"] * 6),
        (("first", "second"), "secnd", [""] * 12),
    ],
)
def test_a_mistyped_session_is_joined_with_the_one_that_was_meant(days, slip, recorded):
    study = dated(days, slip)
    advice = next(found.advice for found in check_study(study) if found.kind == "sample_not_scored")
    assert f"{slip} seems to be {days[-1]}" in advice
    study = put_fact(study, "dates", {days[0]: "2026-11-13", slip: "2026-11-09"})
    with pytest.raises(StudyError, match="say why"):
        rename(study, "session", slip, days[-1])
    after = rename(study, "session", slip, days[-1], "a slip")
    assert [*after.scores["session"]] == [*([days[0]] * 6), *([days[1]] * 6)]
    assert [*after.scores["recorded_at"]] == recorded
    assert list(after.facts["dates"]) == [*days]
    assert not any(found.kind == "sample_not_scored" for found in check_study(after))


def test_sessions_that_hold_the_same_sample_and_locked_ones_are_not_joined():
    study = dated(("first", "second"), "secnd")
    with pytest.raises(StudyError, match="both are there in 5 rows of scores"):
        rename(study, "session", "first", "second", "the same")
    locked = replace(study, facts={"locked_sessions": [{"session": "second", "locked_at": "2026-11-09T12:00:00"}]})
    for old, new in (("second", "third"), ("secnd", "second")):
        with pytest.raises(StudyError, match="the record of a locked session"):
            rename(locked, "session", old, new, "a slip")
    with pytest.raises(StudyError, match="has no name that stands in several tables"):
        delete(study, "session", "secnd", "gone")


def test_a_session_called_otherwise_keeps_its_days():
    study = dated(("13/11/2026", "09/11/2026"), "09/11/2025")
    after = rename(study, "session", "13/11/2026", "evening")
    assert {*after.scores.loc[after.scores["session"] == "evening", "recorded_at"]} == {"2026-11-13"}
