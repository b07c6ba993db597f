"""What a finding proposes as data, and the study once one function has done it."""

from __future__ import annotations

import pandas as pd
import pytest

from panel.checks.all_checks import check_study, with_proposal
from panel.checks.finding import Finding, Proposal
from panel.errors import StudyError
from panel.study.editing import put_table, with_facts
from panel.study.raw_table import raw_file
from panel.study.score_sheets import score_table
from panel.study.scores_import import guess_layout, read_scores, study_from_scores
from panel.study.scores_used import scores_used
from panel.study.study import Study

BY = {"who": "B. Lead", "when": "2026-03-11T10:00"}
SCORES = {"glide": (3.0, 330.0), "film": (4.0, 5.0)}


def study(**tables: pd.DataFrame) -> Study:
    rows = [("A01", p, a, repr(s)) for a, scores in SCORES.items() for p, s in zip(("P1", "P2"), scores, strict=True)]
    made = Study({}, {"scale_min": 0, "scale_max": 100})
    given = {
        "prototypes": pd.DataFrame({"prototype": ["P1", "P2"], "role": "prototype"}),
        "attributes": pd.DataFrame({"attribute": list(SCORES), "stage": "rub-out"}),
        "assessors": pd.DataFrame({"assessor": ["A01"]}),
        "scores": pd.DataFrame(rows, columns=["assessor", "prototype", "attribute", "score"]),
    }
    for name, texts in (given | tables).items():
        made = put_table(made, name, texts)
    return made


def found(of: Study, kind: str) -> Finding:
    (one,) = [finding for finding in check_study(of) if finding.kind == kind]
    return one


def test_a_score_outside_the_scale_gets_a_written_correction():
    before = study()
    finding = found(before, "score_outside_scale")
    assert finding.proposals == (Proposal("scores", 3, "score", "330", "33.0"),)
    assert finding.proposals[0].sentence == "Write 33.0 in place of 330"
    after = with_proposal(before, finding, **BY)
    assert after.scores.equals(before.scores)
    assert scores_used(after).frame["score"].tolist() == [3.0, 33.0, 4.0, 5.0]
    assert after.table("corrections")[["who", "when", "new"]].values.tolist() == [
        ["B. Lead", "2026-03-11T10:00", "33.0"]
    ]
    assert not [finding for finding in check_study(after) if finding.kind == "score_outside_scale"]


def test_a_score_that_no_decimal_point_explains_is_better_left_blank():
    before = with_facts(study(), {"scale_max": 10})
    finding = found(before, "score_outside_scale")
    assert finding.proposals[0].value == ""
    assert finding.proposals[0].sentence == "Leave it blank (330 stands there)"
    assert len(scores_used(with_proposal(before, finding, **BY)).frame) == 3


def test_a_correction_needs_a_name():
    before = study()
    with pytest.raises(StudyError, match="A correction needs a name and a reason"):
        with_proposal(before, found(before, "score_outside_scale"))


def imported(cell: str, head: str = "Judge,Sample,glide,film", file: str = "panel.csv") -> Study:
    lines = [
        "Test of March",
        "",
        head,
        "A01,P1,3,4",
        f"A01,P2,{cell},5",
        "A02,P1,6,7",
        "A02,P2,8,9",
        "a02,P3,1,2",
        "A01,P3,3,3",
    ]
    raw = raw_file(file, "\n".join(lines).encode())
    table = score_table(raw)
    return study_from_scores(read_scores(table, guess_layout(table)), raw, "t", 0, 10)


@pytest.mark.parametrize(("cell", "value"), [("7*", "7"), ("1O", "10"), ("03. Mai", "3.5"), ("<1", ""), ("70*", "")])
def test_an_unread_score_gets_the_number_it_likely_means_if_that_is_on_the_scale(cell: str, value: str):
    before = imported(cell)
    finding = found(before, "cell_not_read")
    assert finding.proposals == (Proposal("scores", 4, "score", cell, value),)
    after = scores_used(with_proposal(before, finding, **BY)).frame
    assert after["score"].tolist()[2:3] == ([float(value)] if value else [5.0])


def test_the_row_is_told_as_it_stands_in_her_file():
    where = found(imported("7*"), "cell_not_read").where
    assert where == "scores, row 4 (line 5 of panel.csv), column score"
    outside = found(imported("12"), "score_outside_scale").where
    assert outside == "scores, row 4 (line 5 of panel.csv): A01, P2, glide"


def test_a_name_in_another_case_gets_the_commonest_one():
    before = imported("7")
    finding = found(before, "names_alike")
    assert finding.message == "'a02' and 'A02' differ only in capitals, accents, signs or zeros."
    after = with_proposal(before, finding)
    assert after.assessors == ("A01", "A02")
    assert after.table("assessors")["assessor"].tolist() == ["A01", "A02"]
    assert after.scores["assessor"].tolist() == ["A01"] * 4 + ["A02"] * 6 + ["A01"] * 2
    assert not [finding for finding in check_study(after) if finding.kind == "names_alike"]


SLIPS = {
    "Jorg": "Jörg",
    "Joerg": "Jörg",
    "Sofie": "Sophie",
    "Hana": "Hanna",
    "1": "01",
    "2.0": "2",
    "P I": "P 1",
    "A3.": "A3",
}


@pytest.mark.parametrize("slip", SLIPS)
def test_a_name_spelled_nearly_alike_is_asked_about_unless_both_scored_the_same(slip: str):
    def rows(name: str, products: str) -> list[list[str]]:
        return [[name, product, str(len(name) + n)] for n, product in enumerate(products)]

    def asked(*people: list[list[str]]) -> list[tuple[Proposal, ...]]:
        text = "\n".join(",".join(row) for row in [["Assessor", "Product", "glide"], *sum(people, rows("X", "QRS"))])
        table = score_table(raw_file("panel.csv", text.encode()))
        found = check_study(study_from_scores(read_scores(table, guess_layout(table)), raw_file("panel.csv", b""), "s"))
        return [finding.proposals for finding in found if finding.kind == "names_alike"]

    name = SLIPS[slip]
    ((of_people, of_scores),) = asked(rows(name, "QRS"), rows(slip, "T"))
    assert of_people == Proposal("assessors", 0, "assessor", slip, name)
    assert of_scores == Proposal("scores", 0, "assessor", slip, name)
    if slip in ("Sofie", "Hana", "P I"):
        assert not asked(rows(name, "QRS"), rows(slip, "QRS"))


def test_prototypes_told_apart_by_a_letter_are_not_asked_about():
    for names in (("Cream A", "Cream B"), ("RefA", "RefB")):
        rows = [["Assessor", "Product", "Session", "glide"]]
        rows += [[person, name, str(n), "5"] for person in "XYZ" for n, name in enumerate(names)]
        table = score_table(raw_file("panel.csv", "\n".join(map(",".join, rows)).encode()))
        found = check_study(study_from_scores(read_scores(table, guess_layout(table)), raw_file("panel.csv", b""), "s"))
        assert not [finding for finding in found if finding.kind == "names_alike"]


def test_a_twin_that_says_more_stays_in_the_list():
    people = pd.DataFrame({"assessor": ["A01", "a01"], "group": ["", "young"]})
    before = study(assessors=people)
    after = with_proposal(before, found(before, "names_alike"))
    assert after.table("assessors")["assessor"].tolist() == ["A01", "A01"]
    assert found(after, "row_named_twice").severity == "warning"


@pytest.mark.parametrize(("name", "known"), [("P 2", "P2"), ("p2", "P2"), ("P02", "P2"), ("P2 ", "P2")])
def test_a_name_that_is_not_listed_gets_the_known_one(name: str, known: str):
    formulas = pd.DataFrame({"prototype": ["P1", name], "ingredient": ["Aqua", "Aqua"], "percent": ["100", "100"]})
    before = study(formulas=formulas)
    finding = found(before, "prototype_not_listed")
    assert finding.proposals == (Proposal("formulas", 0, "prototype", name, known),)
    assert with_proposal(before, finding).table("formulas")["prototype"].tolist() == ["P1", "P2"]


def test_a_word_that_is_not_allowed_gets_the_nearest():
    before = study(prototypes=pd.DataFrame({"prototype": ["P1", "P2"], "role": ["benchmark", "Prototyp"]}))
    finding = found(before, "word_not_allowed")
    assert finding.where == "prototypes, row 3, column role"
    assert finding.proposals == (Proposal("prototypes", 0, "role", "Prototyp", "prototype"),)
    assert with_proposal(before, finding).table("prototypes")["role"].tolist() == ["benchmark", "prototype"]


@pytest.mark.parametrize(
    ("text", "day"), [("10.03.2026", "2026-03-10"), ("25/03/2026", "2026-03-25"), ("03/25/2026", "2026-03-25")]
)
def test_a_day_that_can_only_be_one_is_proposed(text: str, day: str):
    before = study(batches=pd.DataFrame({"batch": ["B1"], "prototype": ["P1"], "made_on": ["later"]}))
    before.tables["batches"]["made_on"] = [text]  # as a file brings it; what is typed is read at once
    finding = found(before, "date_not_understood")
    assert finding.proposals == (Proposal("batches", 2, "made_on", text, day),)
    assert with_proposal(before, finding).table("batches")["made_on"].tolist() == [day]


@pytest.mark.parametrize("text", ["03/04/2026", "last week", "31.02.2026"])
def test_a_day_that_could_be_two_or_none_is_not_proposed(text: str):
    before = study(batches=pd.DataFrame({"batch": ["B1"], "prototype": ["P1"], "made_on": [text]}))
    finding = found(before, "date_not_understood")
    assert finding.proposals == ()
    with pytest.raises(StudyError, match="Nothing is proposed for this"):
        with_proposal(before, finding)


def test_a_cell_that_was_changed_meanwhile_is_left_alone():
    before = study()
    texts = before.scores.astype("str").assign(score=["3", "30", "4", "5"])
    with pytest.raises(StudyError, match="330 no longer stands in scores, column score"):
        with_proposal(
            put_table(before, "scores", texts[["assessor", "prototype", "attribute", "score"]]),
            found(before, "score_outside_scale"),
            **BY,
        )


@pytest.mark.parametrize("fact", ["margin", "scale_min"])
def test_a_fact_is_told_by_its_own_name(fact: str):
    finding = found(with_facts(study(), {fact: "wide"}), "fact_not_read")
    assert finding.where == f"facts, {fact}"
    assert "datapackage" not in finding.advice
