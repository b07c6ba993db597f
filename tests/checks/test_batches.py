import pandas as pd
import pytest

from panel.checks.batches import check_batches
from panel.study.tables import TABLES
from tests.checks.planted import new_findings, table, the_one, with_cells
from tests.studies import small_study


def test_a_clean_study_is_told_to_have_one_batch_of_each():
    (finding,) = check_batches(small_study())
    assert (finding.severity, finding.kind, finding.where) == ("note", "one_batch_each", "batches")
    assert finding.message == "There is one batch of each prototype: the results describe these batches."
    assert finding.advice == ("Whether another batch would feel the same takes a second batch, best of the benchmark.")


def test_without_batches_one_note_says_so():
    scores = table("scores").assign(batch="")
    (finding,) = check_batches(small_study(batches=None, scores=scores))
    assert (finding.severity, finding.kind, finding.where) == ("note", "batches_not_recorded", "batches")
    assert finding.message == ("No batches are recorded: age, pH and making day of the samples cannot be checked.")
    named = finding.advice.removeprefix("Fill in the table batches: ").removesuffix(".").split(", ")
    assert tuple(named) == TABLES["batches"].column_names


def test_without_scores_there_is_nothing_to_say_about_batches():
    assert check_batches(small_study(scores=None)) == []


def test_a_scored_prototype_without_batch_is_told():
    scores = table("scores")
    scores.loc[scores["prototype"] == "P3", "batch"] = ""
    finding = the_one(small_study(scores=scores, batches=table("batches").drop(index=2)))
    assert (finding.severity, finding.kind, finding.where) == ("warning", "prototype_without_batch", "batches: P3")
    assert finding.message == "P3 was scored but has no batch."
    assert finding.advice.startswith("Add the batch with made_on and tested_on")


def test_many_prototypes_without_batch_give_one_finding():
    scores = table("scores")
    scores["prototype"] = scores["prototype"] + scores["assessor"]
    found = check_batches(small_study(scores=scores.assign(batch=""), batches=table("batches")))
    (finding,) = [finding for finding in found if finding.kind == "prototype_without_batch"]
    assert finding.message == ("16 prototypes were scored but have no batch: P1A01, P2A01, P4A01 and 13 more.")


def test_a_batch_of_another_prototype_is_told():
    scores = table("scores")
    scores.loc[6:8, "batch"] = "P3-1"
    finding = the_one(small_study(scores=scores))
    assert (finding.severity, finding.kind) == ("warning", "batch_of_other_prototype")
    assert finding.where == "scores, row 8: batch P3-1"
    assert finding.message == "Scores of P4 name batch P3-1, which is a batch of P3."
    assert finding.advice == "Correct the batch or the prototype: one of the two is wrong."


def test_many_batches_of_other_prototypes_give_one_finding():
    scores = table("scores")
    scores["prototype"] = scores["prototype"] + scores["assessor"]
    names = scores["prototype"].unique().tolist()
    batches = pd.DataFrame({"batch": [f"{name}-1" for name in names], "prototype": names})
    of_next = dict(zip(names, [*names[1:], names[0]], strict=True))
    scores["batch"] = scores["prototype"].map(of_next) + "-1"
    found = check_batches(small_study(scores=scores, batches=batches))
    (finding,) = [finding for finding in found if finding.kind == "batch_of_other_prototype"]
    assert finding.message == (
        "16 prototypes have scores from batches of others. The first: Scores of P1A01 name batch P2A01-1, which is a "
        "batch of P2A01."
    )


def second_batch_of_p1():
    batches = table("batches")
    return pd.concat([batches, batches.iloc[[0]].assign(batch="P1-2")], ignore_index=True)


OTHERS = " Of P2, P3 and P4 there is one: what is told is told in these batches."


def test_batches_pooled_by_name_are_noted():
    scores = table("scores")
    scores.loc[(scores["prototype"] == "P1") & (scores["session"] == "2"), "batch"] = "P1-2"
    finding = the_one(small_study(batches=second_batch_of_p1(), scores=scores))
    assert (finding.severity, finding.kind, finding.where) == ("note", "batches_pooled", "batches: P1")
    assert finding.message == "Scores of P1 come from several batches: P1-1 and P1-2." + OTHERS
    assert finding.advice.startswith("Where the scores allow it, the comparison counts batches as units")


def test_batches_pooled_without_a_name_are_told():
    finding = the_one(small_study(batches=second_batch_of_p1(), scores=table("scores").assign(batch="")))
    assert (finding.severity, finding.kind) == ("warning", "batches_pooled")
    assert finding.message == (
        "Several batches are pooled as P1: P1-1 and P1-2. The scores do not all say from which." + OTHERS
    )
    assert finding.advice.startswith("The analysis takes them for the same thing.")


def test_a_batch_that_no_score_names_is_not_looked_at():
    batches = second_batch_of_p1()
    batches.loc[4, "ph"] = 9.0
    assert new_findings(small_study(batches=batches)) == []


@pytest.mark.parametrize("ph", [4.4, 6.6])
def test_a_ph_outside_the_usual_range_is_noted(ph):
    finding = the_one(with_cells("batches", [1], ph=ph))
    assert (finding.severity, finding.kind, finding.where) == ("note", "ph_outside_range", "batches, batch P2-1")
    assert finding.message == f"pH {ph} is outside 4.5 to 6.5, the usual range of leave-on skin care."
    assert "ask the qualified person before anybody applies the batch" in finding.advice


@pytest.mark.parametrize(("ph", "told"), [(5.69, 0), (5.70, 1)])
def test_a_spread_of_ph_above_three_tenths_is_noted(ph, told):
    found = new_findings(with_cells("batches", [1], ph=ph))
    assert [finding.kind for finding in found] == ["ph_differs"] * told
    for finding in found:
        assert (finding.severity, finding.where) == ("note", "batches, ph")
        assert finding.message == "The pH of the batches differs by 0.31: 5.39 in P3-1, 5.7 in P2-1."
        assert finding.advice.startswith("Adjust to the same pH")


def test_unlike_ways_to_measure_viscosity_are_told():
    finding = the_one(with_cells("batches", [1], viscosity_method="cone and plate, 25 C"))
    assert (finding.severity, finding.kind) == ("warning", "viscosity_methods_differ")
    assert finding.where == "batches, viscosity_method"
    assert finding.message == (
        "Viscosity was measured in 2 ways: 'disc spindle, 10 rpm, 25 C, 1 min' and 'cone and plate, 25 C'."
    )
    assert finding.advice.startswith("Values from different spindles, speeds or temperatures cannot be compared.")


def test_a_viscosity_without_a_method_is_noted():
    finding = the_one(with_cells("batches", [1], viscosity_method=""))
    assert (finding.severity, finding.kind) == ("note", "viscosity_without_method")
    assert finding.message == "Viscosity without a method for 1 batch: P2-1."
    assert finding.advice == "Write down spindle, speed and temperature; without them the value means nothing."


def test_a_method_without_a_value_does_not_count():
    assert new_findings(with_cells("batches", [1], viscosity_method="", viscosity_mpa_s=float("nan"))) == []
