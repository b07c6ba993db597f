import pandas as pd
import pytest

from panel.checks.batches import check_batches
from panel.study.study import Study
from tests.checks.planted import new_findings, table, the_one
from tests.studies import small_study

FAST = "Dicaprylyl Carbonate → C13-15 Alkane"
MEDIUM = "Caprylic/Capric Triglyceride → Isopropyl Isostearate"
EARLY, LATE = "2025-03-10T10:00", "2025-03-11T09:00"


def made(*days):
    batches = table("batches").assign(made_on=days, tested_on="2025-03-14T10:00")
    return small_study(batches=batches, scores=table("scores").assign(recorded_at=""))


# P2 and P4 hold the swap of the fast slot, P3 and P4 that of the medium slot
@pytest.mark.parametrize(
    ("days", "swap", "word"),
    [
        ((EARLY, LATE, EARLY, LATE), FAST, "later"),
        ((LATE, EARLY, LATE, EARLY), FAST, "earlier"),
        ((EARLY, EARLY, LATE, LATE), MEDIUM, "later"),
    ],
)
def test_a_swap_that_goes_with_the_making_day_is_told(days, swap, word):
    finding = the_one(made(*days), days=True)
    assert (finding.severity, finding.kind) == ("warning", "making_day_and_swap")
    assert finding.where == f"batches and formulas, swap {swap}"
    assert finding.message == (
        f"Making day and the swap {swap} cannot be told apart: in both matched pairs the prototype with the swap "
        f"was made {word}."
    )
    assert finding.advice == (
        "What looks like the swap may be the day. Make one of the pairs again on one day, and test it."
    )


@pytest.mark.parametrize(
    "days", [(EARLY, LATE, LATE, EARLY), (EARLY, EARLY, EARLY, EARLY), (EARLY, LATE, EARLY, EARLY)]
)
def test_days_that_go_with_no_swap_are_fine(days):
    assert new_findings(made(*days), days=True) == []


def test_days_that_go_up_and_down_with_a_swap_are_told_too():
    # three days and two pairs: effects of the days alone give any two differences
    found = new_findings(made("2025-03-10", "2025-03-12", "2025-03-11", "2025-03-10"), days=True)
    told = [finding.message for finding in found if finding.kind == "making_day_and_swap"]
    assert len(told) == 2
    assert all("the prototype with the swap was made on another day." in message for message in told)


def test_two_swaps_that_go_with_the_day_are_told_each():
    found = new_findings(made("2025-03-10", "2025-03-11", "2025-03-11", "2025-03-12"), days=True)
    assert sorted(finding.where for finding in found if finding.kind == "making_day_and_swap") == [
        f"batches and formulas, swap {MEDIUM}",
        f"batches and formulas, swap {FAST}",
    ]


def test_many_swaps_that_go_with_the_day_give_one_finding():
    names = [f"P{number}" for number in range(1, 7)]
    esters = ["Isopropyl Myristate", "Decyl Oleate", "Octyldodecanol", "Squalane", "Isohexadecane", "Decyl Cocoate"]
    formulas = pd.DataFrame(
        [(name, ester, 20.0, "B", "emollient") for name, ester in zip(names, esters, strict=True)]
        + [(name, "Aqua", 80.0, "A", "other") for name in names],
        columns=["prototype", "ingredient", "percent", "phase", "kind"],
    )
    batches = pd.DataFrame({"batch": names, "prototype": names, "made_on": [f"2025-03-1{n}" for n in range(6)]})
    scores = pd.DataFrame({"assessor": "A01", "prototype": names, "attribute": "T1", "score": [1.0, 2, 3, 4, 5, 6]})
    study = Study({"formulas": formulas, "batches": batches, "scores": scores})
    (finding,) = [finding for finding in check_batches(study) if finding.kind == "making_day_and_swap"]
    assert finding.message == (
        "15 swaps cannot be told apart from the making day. The first: Making day and the swap Isopropyl Myristate → "
        "Decyl Oleate cannot be told apart: in the only matched pair the prototype with the swap was made later."
    )
    assert finding.where.endswith("; and 12 more")


def test_a_day_that_is_not_known_says_nothing():
    found = new_findings(made(EARLY, LATE, EARLY, ""), days=True)
    assert "making_day_and_swap" not in {finding.kind for finding in found}


def test_a_prototype_made_on_two_days_says_nothing():
    batches = table("batches").assign(made_on=[EARLY, LATE, EARLY, LATE], tested_on="2025-03-14T10:00")
    more = batches.iloc[[3]].assign(batch="P4-2", made_on=EARLY)
    frame = pd.concat([batches, more], ignore_index=True)
    scores = table("scores").assign(recorded_at="")
    # the second session has the second batch; a batch that nobody scored would tell nothing
    scores.loc[(scores["prototype"] == "P4") & (scores["session"] == "2"), "batch"] = "P4-2"
    found = new_findings(small_study(batches=frame, scores=scores), days=True)
    assert "making_day_and_swap" not in {finding.kind for finding in found}


def test_the_only_pair_of_a_swap_is_told_as_such():
    study = made(EARLY, LATE, EARLY, LATE)
    tables = {name: frame[frame["prototype"] != "P4"] for name, frame in study.tables.items() if "prototype" in frame}
    found = new_findings(
        small_study(**{name: frame.reset_index(drop=True) for name, frame in tables.items()}), days=True
    )
    (finding,) = [finding for finding in found if finding.kind == "making_day_and_swap"]
    assert "in the only matched pair the prototype with the swap was made later." in finding.message
