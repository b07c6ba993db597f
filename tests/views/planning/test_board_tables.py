import pandas as pd

from panel.study.naming import Naming
from panel.study.shown import shown
from panel.views.planning.safety import PROGRESS, what_locking_leaves_out, who_has_answered
from panel.views.planning.safety import SAMPLES as EACH_SAMPLE

PEOPLE = pd.DataFrame(
    [
        ("1", "A01", 2, 2, 10, 9, 1, 2, 1, False, 1, "2025-03-14T12:00:10"),
        ("1", "A02", 2, 1, 10, 6, 0, 0, 0, False, 1, "2025-03-14T12:01:00"),
        ("1", "A03", 2, 0, 10, 0, 0, 0, 0, False, 1, ""),
        ("1", "A04", 2, 0, 10, 1, 0, 0, 0, True, 1, "2025-03-14T12:02:00"),
    ],
    columns=[
        *("session", "assessor", "servings", "finished", "asked", "answered"),
        *("cannot_judge", "early", "comments", "stopped", "phones", "last_at"),
    ],
)
SAMPLES = pd.DataFrame(
    [
        ("1", "A01", 1, "417", "left", 5, 4, 1, 0, 0, True, "2025-03-14T12:00:10"),
        ("1", "A02", 1, "582", "", 5, 4, 0, 1, 0, True, "2025-03-14T12:00:10"),
        ("1", "A03", 1, "936", "", 5, 0, 0, 0, 0, False, ""),
        ("1", "A03", 2, "263", "", 5, 2, 0, 0, 0, True, "2025-03-14T12:00:10"),
    ],
    columns=[
        *("session", "assessor", "position", "code", "site", "asked"),
        *("answered", "cannot_judge", "early", "comments", "opened", "last_at"),
    ],
)


def test_each_assessor_has_a_state_and_counts():
    table = shown(PROGRESS, PEOPLE, Naming())
    assert table["State"].tolist() == ["finished", "under way", "not begun", "stopped: skin reaction"]
    assert table["Samples done"].tolist() == ["2 of 2", "1 of 2", "0 of 2", "0 of 2"]
    assert table["Marks"].tolist() == ["10 of 10", "6 of 10", "0 of 10", "1 of 10"]
    assert table["Last sent"].tolist() == ["12:00:10", "12:01:00", "–", "12:02:00"]


def test_each_sample_is_known_by_its_code():
    table = shown(EACH_SAMPLE, SAMPLES, Naming())
    assert table["Sample"].tolist() == ["1: 417", "1: 582", "1: 936", "2: 263"]
    assert table["Opened"].tolist() == ["yes", "yes", "not yet", "yes"]
    assert table["Marks"].tolist() == ["5 of 5", "4 of 5", "0 of 5", "2 of 5"]


def test_who_has_answered_in_a_sentence():
    assert who_has_answered(PEOPLE) == (
        "1 of 4 assessors have finished. Not begun: A03. Stopped after a skin reaction: A04."
    )
    doubled = PEOPLE.assign(phones=[2, 1, 0, 3])
    assert who_has_answered(doubled).endswith(
        "Opened on more than one phone: A01 and A04; ask whether it was the same person."
    )
    assert shown(PROGRESS, doubled, Naming())["State"].tolist()[0] == "finished, on 2 phones"
    many = pd.concat([PEOPLE.iloc[[2]].assign(assessor=f"B{number}") for number in range(9)])
    assert "Not begun: B0, B1" in who_has_answered(many)
    assert who_has_answered(many).endswith(" more.")
    assert who_has_answered(PEOPLE.iloc[:0]) == "Nobody is served in this session."


def test_what_locking_leaves_out():
    assert what_locking_leaves_out(SAMPLES) == [
        "A02: 1 mark is missing (code 582).",
        "A03: 8 marks are missing (codes 936 and 263).",
    ]
    assert what_locking_leaves_out(SAMPLES.iloc[:1]) == []
