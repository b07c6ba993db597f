"""The protocol: what the study states, what is usual, and when a stage may be scored."""

import numpy as np

from panel.plan.protocol import read_protocol
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


def test_what_is_usual_does_not_stand_for_what_the_study_does_not_state():
    items = read_protocol(small_study({"dose": "40 mg"})).items.set_index("item")
    assert items.loc["dose", "value"] == "40 mg"
    assert items.loc["area", "value"] == ""
    assert items.loc["area", "usual"].startswith("circle of 5 cm")
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


def test_a_score_is_in_time_from_the_slack_before_to_the_slack_after():
    times = read_protocol(small_study(attributes=LATER)).times.set_index("attribute")
    assert times.loc["LA_SOFT", ["earliest", "latest"]].tolist() == [19.0, 30.0]
    assert times.loc["AF_GREASE", "earliest"] == 1.75
    assert times.loc["RO_ABS", ["earliest", "latest"]].isna().all()


def test_a_stage_that_is_not_known_is_tied_to_no_time():
    times = read_protocol(small_study(attributes=LATER.assign(stage=""))).times
    assert times["minutes"].isna().all()


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
