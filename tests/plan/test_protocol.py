"""The protocol: what the study states, what is usual, and when a stage may be scored."""

import numpy as np
import pytest

from panel.plan.protocol import ANY_TIME, EARLY, IN_TIME, LATE, read_protocol
from panel.study.knowledge import shared_table
from tests.studies import small_study

LATER = (
    small_study()
    .table("attributes")
    .assign(
        attribute=["RO_ABS", "AF_GREASE", "LA_SOFT"],
        stage=["rub-out", "after-feel", "later after-feel"],
        minutes=[0.0, np.nan, 20.0],
    )
)


def test_what_the_study_states_comes_before_what_is_usual():
    items = read_protocol(small_study({"dose": "40 mg"})).items.set_index("item")
    assert items.loc["dose", "value"] == "40 mg"
    assert items.loc["dose", "stated"]
    assert items.loc["area", "value"] == items.loc["area", "usual"]
    assert not items.loc["area", "stated"]
    assert list(items.index) == list(shared_table("protocol")["item"])


def test_facts_can_stand_in_an_object_of_their_own():
    items = read_protocol(small_study({"protocol": {"room": "21 °C"}})).items.set_index("item")
    assert items.loc["room", "value"] == "21 °C"


def test_what_is_not_stated_is_named():
    (note,) = read_protocol(small_study({"dose": "40 mg", "area": ""})).notes
    assert "Area" in note
    assert "Dose" not in note
    everything = dict.fromkeys(shared_table("protocol")["item"], "as written")
    assert read_protocol(small_study(everything)).notes == ()


def test_times_come_from_the_attribute_then_from_the_stage():
    times = read_protocol(small_study(attributes=LATER)).times.set_index("attribute")
    assert np.isnan(times.loc["RO_ABS", "minutes"])  # judged while rubbing, whatever its minutes say
    assert times.loc["AF_GREASE", "minutes"] == 2.0
    assert times.loc["LA_SOFT", "minutes"] == 20.0
    sooner = LATER.assign(minutes=[0.0, 5.0, 10.0])
    times = read_protocol(small_study(attributes=sooner)).times.set_index("attribute")
    assert times.loc[["AF_GREASE", "LA_SOFT"], "minutes"].tolist() == [5.0, 10.0]


@pytest.mark.parametrize(
    ("attribute", "minutes", "expected"),
    [
        ("LA_SOFT", 2.0, EARLY),
        ("LA_SOFT", 18.9, EARLY),
        ("LA_SOFT", 19.0, IN_TIME),
        ("LA_SOFT", 30.0, IN_TIME),
        ("LA_SOFT", 31.0, LATE),
        ("AF_GREASE", 1.7, EARLY),
        ("AF_GREASE", 1.75, IN_TIME),
        ("RO_ABS", 0.1, ANY_TIME),
        ("RO_ABS", 90.0, ANY_TIME),
        ("no such attribute", 1.0, ANY_TIME),
        ("LA_SOFT", np.nan, ANY_TIME),
    ],
)
def test_a_score_entered_before_its_time_is_seen(attribute, minutes, expected):
    assert read_protocol(small_study(attributes=LATER)).when_scored(attribute, minutes) == expected


def test_a_stage_that_is_not_known_is_tied_to_no_time():
    protocol = read_protocol(small_study(attributes=LATER.assign(stage="")))
    assert protocol.when_scored("LA_SOFT", 1.0) == ANY_TIME


def test_deviations_are_read_as_they_are_listed():
    listed = [
        {"when": "2025-03-17T10:00", "session": "2", "assessor": "A04", "what": "eight circles on one arm"},
        {"when": "2025-03-18", "what": "room at 24 °C"},
    ]
    found = read_protocol(small_study({"deviations": listed})).deviations
    assert found["what"].tolist() == ["eight circles on one arm", "room at 24 °C"]
    assert found["session"].tolist() == ["2", ""]


def test_a_list_of_deviations_written_by_hand_does_not_break_anything():
    assert not len(read_protocol(small_study({"deviations": "none"})).deviations)
    assert read_protocol(small_study({"deviations": [{"what": "x"}, "y"]})).deviations["what"].tolist() == ["x"]
