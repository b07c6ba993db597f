"""A copy without people gives the same results and names nobody; a person who asks to be removed is gone."""

import json
import random
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from panel.answers import DIFFERENCES, Answers
from panel.checks.all_checks import check_study
from panel.cli import main
from panel.errors import StudyError
from panel.plan.orders import plan_servings
from panel.plan.safety import record_reaction
from panel.study.folder import read_folder, write_study
from panel.study.naming import Naming
from panel.study.open_study import open_study
from panel.study.people import WHO_MAY_SEE, _said, people_in, without_people, without_person
from panel.study.renaming import people_by_code
from panel.study.saving import journal_faults, journal_rows, save
from panel.study.scores_used import scores_used, with_correction
from panel.study.study import RawFile, Study
from panel.views.planning.plan import tell_servings
from tests.studies import ASSESSORS, small_study

PLACE = {"assessor": "A02", "session": "1", "prototype": "P1", "attribute": "RO_ABS"}
NAMES = ("Ada Example", "Ben Sample", "walnut", "redness on the arm", "Lore", "secret note")


def full_study():
    """A study in which people stand wherever they can."""
    study = small_study()
    people = pd.DataFrame({"assessor": ASSESSORS, "kind": "trained", "group": "", "avoid": ["", "walnut", "", ""]})
    people = people.assign(telephone=["1", "2", "3", "secret note"])  # a column that the program does not know
    facts = {
        **study.facts,
        "people": [{"name": "Ada Example", "role": "leader"}],
        "notes": "A02 came late.",
        "deviations": [{"who": "Ben Sample", "what": "A02 came late"}],
        "home address": "secret note",
        "rules": [{"assessor": "A02", "prototype": "P9", "why": "never served", "who": "Ada Example"}],
    }
    raw = (
        RawFile("Lore.csv", "0" * 64, b"assessor,score\nA02,5\n"),
        RawFile("plain.csv", "1" * 64, b"assessor,score\nA021,5\n"),
    )
    study = replace(study, tables={**study.tables, "assessors": people}, facts=facts, raw_files=raw)
    study = with_correction(study, PLACE, new="50", who="Ben Sample", why="Lore said so", when="2025-03-15")
    told = {"who": "Ada Example", "when": "2025-03-16", "signs": "redness on the arm", "action": "washed"}
    longer = record_reaction(study.table("reactions"), severity="mild", assessor="A02", batch="", **told)
    return replace(study, tables={**study.tables, "reactions": longer})


def all_text(study):
    tables = "".join(frame.to_csv() for frame in study.tables.values())
    return tables + json.dumps(dict(study.facts), default=str) + "".join(f.name for f in study.raw_files)


def test_a_copy_without_people_names_nobody_and_gives_the_same_results():
    study = full_study()
    sources = ["Ada Example.csv", *study.scores["source"].iloc[1:]]  # came with a file that is called after somebody
    study = replace(study, tables={**study.tables, "scores": study.scores.assign(source=sources)})
    copy = without_people(study, random.Random(1))
    text = all_text(copy)
    assert not [name for name in (*NAMES, *ASSESSORS) if name in text]
    assert copy.raw_files == ()
    assert len(people_in(copy)) == len(people_in(study))
    assert set(people_in(copy)).isdisjoint(people_in(study))
    assert len(copy.table("reactions")) == 1  # that there was one is about the prototype
    before, after = (Answers(each).need(DIFFERENCES).pairs for each in (study, copy))
    pd.testing.assert_frame_equal(before, after)  # the correction of A02 still finds its score
    assert scores_used(copy).corrected["score"].size == scores_used(study).corrected["score"].size == 1
    assert "without_people" in {finding.kind for finding in check_study(copy)}


def test_a_code_that_is_also_a_number_or_a_session_changes_nothing_else():
    study = small_study()
    codes = dict(zip(ASSESSORS, "1234", strict=True))
    tables = {
        name: frame.assign(assessor=frame["assessor"].map(codes)) if "assessor" in frame else frame
        for name, frame in study.tables.items()
    }
    study = replace(study, tables=tables, facts={**study.facts, "notes": "after 2 hours"})
    study = with_correction(study, {**PLACE, "assessor": "2"}, new="50", who="Ben", why="slip", when="2025-03-15")
    for changed in (without_people(study), without_person(study, "2", who="Ben", why="asked", when="2025-04-01")[0]):
        assert set(changed.scores["session"]) == {"1", "2"}
        assert changed.facts["notes"] == "after 2 hours"
        for column in ("prototype", "attribute", "replicate"):
            assert set(changed.scores[column]) == set(study.scores[column])
    assert scores_used(without_people(study)).corrected["score"].size == 1


def test_new_codes_come_in_an_order_that_nobody_can_repeat():
    study = full_study()
    orders = {tuple(without_people(study).scores["assessor"].unique()) for _ in range(40)}
    assert len(orders) > 1  # 24 orders: all 40 alike has a chance of 24 ** -39


def test_the_archive_and_the_copy_are_made_by_command(tmp_path):
    write_study(full_study(), tmp_path / "s")
    done = CliRunner().invoke(
        main, ["archive", str(tmp_path / "s"), "--out", str(tmp_path / "a.zip"), "--without-people"]
    )
    assert done.exit_code == 0, done.output
    import zipfile

    with zipfile.ZipFile(tmp_path / "a.zip") as archive:
        readable = [name for name in archive.namelist() if name.endswith((".csv", ".json", ".html", ".txt"))]
        text = "".join(archive.read(name).decode() for name in readable)
    assert "H01" in text
    assert not [name for name in (*NAMES, *ASSESSORS) if name in text]


def test_a_removed_person_is_gone_and_what_was_done_is_a_finding():
    left, rows, files = without_person(full_study(), "A02", who="Ben", why="asked for it", when="2025-04-01")
    assert "A02" not in all_text(left)
    assert left.facts["notes"] == "(removed) came late."
    assert "walnut" not in all_text(left)
    assert rows == {"assessors": 1, "servings": 8, "scores": 24, "corrections": 1, "reactions": 1}
    assert files == ["Lore.csv"]
    assert [file.name for file in left.raw_files] == ["plain.csv"]  # A021 is somebody else
    reaction = left.table("reactions").iloc[0]
    assert (reaction["assessor"], reaction["signs"], reaction["severity"]) == ("", "not told", "mild")
    (found,) = [finding for finding in check_study(left) if finding.kind == "person_removed"]
    assert "on 2025-04-01 by Ben: asked for it. Rows taken out: " in found.message
    assert "scores 24" in found.message
    others = full_study().scores.loc[lambda rows: rows["assessor"] != "A02", "score"].to_numpy()
    np.testing.assert_array_equal(left.scores["score"].to_numpy(), others)


@pytest.mark.parametrize(
    ("person", "who", "why", "words"),
    [
        ("A02", "", "asked", "Write who removes them, and why"),
        ("A02", "Ben", " ", "Write who removes them, and why"),
        ("A77", "Ben", "asked", r"has the code 'A77'; the codes are A01, A02"),
        ("A02", "Ben", "A02 asked", "without the code of the person"),
    ],
)
def test_what_is_refused(person, who, why, words):
    with pytest.raises(StudyError, match=words):
        without_person(full_study(), person, who=who, why=why, when="2025-04-01")


def test_in_a_folder_nothing_of_the_person_is_left_not_even_in_the_journal(tmp_path):
    folder = tmp_path / "s"
    write_study(full_study(), folder)
    renamed = lambda now: replace(now, facts={**now.facts, "notes": "none"})  # noqa: E731  # one line
    save(folder, read_folder(folder), renamed, who="Ada", what="The notes are gone.")
    done = CliRunner().invoke(main, ["remove-person", str(folder), "A02", "--who", "Ben", "--why", "asked for it"])
    assert done.exit_code == 0, done.output
    assert "Taken out whole, because they name the person: Lore.csv." in done.output
    held = b"".join(file.read_bytes() for file in folder.rglob("*") if file.is_file())
    assert b"A02" not in held.replace(b"A021", b"")
    assert journal_faults(folder) == ()
    assert journal_rows(folder)["what"].tolist() == [
        "The data of one person were removed on request, and with them the journal of 1 changes before."
    ]
    assert open_study(folder).facts["removed_people"][0]["who"] == "Ben"
    again = CliRunner().invoke(main, ["remove-person", str(folder), "A02", "--who", "Ben", "--why", "again"])
    assert again.exit_code == 2


@pytest.mark.parametrize("reason", ["", "avoids nuts"])
def test_where_a_plan_tells_of_an_allergy_it_says_who_may_see_it(reason):
    forbidden = pd.DataFrame(
        [("A01", "P1", reason)] if reason else [], columns=["assessor", "prototype", "reason"], dtype="str"
    )
    plan = plan_servings(["P1", "P2", "P3"], ["A01", "A02"], np.random.default_rng(1), forbidden=forbidden)
    told = [item for drawer in tell_servings(plan, Naming()).drawers for item in drawer.items]
    assert (WHO_MAY_SEE in told) is bool(reason)


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("assessor 12 sneezed after 12 minutes", "assessor H01 sneezed after 12 minutes"),
        ("Judges 3, 7 and 12 left; 3 drops", "Judges H02, H03 and H01 left; 3 drops"),
        ("panellist no. 7, panelist #3", "panellist no. H03, panelist #H02"),
        ("person 12.5 g, 12 people", "person 12.5 g, 12 people"),
        ("assessor=12; prototype=3", "assessor=H01; prototype=3"),
        ("H01 and assessor=H01 said so", "H04 and assessor=H04 said so"),
    ],
)
def test_a_code_without_letters_is_one_after_a_word_for_people(said, told):
    assert _said(said, {"12": "H01", "3": "H02", "7": "H03", "H01": "H04"}) == told


@pytest.mark.parametrize(
    "odd", ["Jo", "Li", "ANNA", "Anna 2", "Ulrike-Marie von der Au", "Øv", "M. K.", "jo", "QUI", "Juror"]
)
def test_no_name_is_left_among_those_that_get_codes_whatever_its_length(odd):
    people = [odd, "Maria", "Hans", "Kim", "A02"]
    scores = pd.DataFrame({"assessor": people, "prototype": "P1", "attribute": "film", "score": 3.0})
    coded = people_by_code(Study({"scores": scores}))
    assert coded.scores["assessor"].tolist() == ["A01", "A03", "A04", "A05", "A02"]
    assert people_by_code(coded).scores["assessor"].tolist() == coded.scores["assessor"].tolist()


def test_codes_stay_as_they_are():
    people = ["A01", "judge 3", "user06", "P-12", "7", "B", "Tester 01"]
    scores = pd.DataFrame({"assessor": people, "prototype": "P1", "attribute": "film", "score": 3.0})
    assert people_by_code(Study({"scores": scores})).scores["assessor"].tolist() == people
