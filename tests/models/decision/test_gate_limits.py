"""Gates stated in a study: understood as written, or refused with what to write."""

import math

import pytest

from panel.errors import StudyError
from panel.models.decision.wanted import gate_limits
from tests.studies import small_study


def test_limits_are_read_as_they_stand():
    found = gate_limits(small_study({"gates": {"ph": [5, 6], "volatile_share": [None, 0.4], "free_of": ["lanolin "]}}))
    assert found.limits["ph"] == (5, 6)
    assert math.isnan(found.limits["volatile_share"][0])
    assert found.limits["volatile_share"][1] == 0.4
    assert found.free_of == ("lanolin",)
    assert not found.stability_needed


def test_without_the_fact_there_is_no_gate():
    found = gate_limits(small_study())
    assert (dict(found.limits), found.free_of, found.stability_needed) == ({}, (), False)


def test_a_stability_record_keeps_person_day_and_document():
    entry = {"outcome": "passed", "who": "lab", "date": "2025-06-01", "document": "ST-1"}
    found = gate_limits(small_study({"stability": {"P1": entry, "P2": {"outcome": "failed"}}}))
    assert found.stability["P1"] == entry
    assert found.stability["P2"] == dict.fromkeys(entry, "") | {"outcome": "failed"}


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"gates": ["ph"]}, "The fact 'gates' is not understood. Write an object such as"),
        ({"gates": {"pH": [5, 6]}}, "unknown gates: pH. Known are ph, viscosity_mpa_s"),
        ({"gates": {"ph": 5.5}}, "The gate 'ph' is 5.5. Write lowest and highest value, null for none"),
        ({"gates": {"ph": [5, 5.5, 6]}}, "The gate 'ph' is [5, 5.5, 6]."),
        ({"gates": {"ph": ["5", "6"]}}, "The gate 'ph' is ['5', '6']."),
        ({"gates": {"ph": [True, 6]}}, "The gate 'ph' is [True, 6]."),
        ({"gates": {"cost": [None, float("nan")]}}, "The gate 'cost' is [None, nan]."),
        ({"gates": {"ph": [None, None]}}, "The gate 'ph' has no limit at all. Give it one, or take the gate out."),
        ({"gates": {"ph": [6, 5]}}, "lowest value 6 above its highest 5. Exchange them."),
        (
            {"gates": {"solid_share": [None, 30]}},
            "a share of the emollients, from 0 to 1; it says [None, 30]. Write 0.4",
        ),
        ({"gates": {"free_of": "lanolin"}}, "The gate 'free_of' is 'lanolin'. Write a list of ingredients"),
        ({"gates": {"free_of": [""]}}, "The gate 'free_of' is ['']."),
        ({"gates": {"stability": "yes"}}, "The gate 'stability' is 'yes'. Write true"),
        ({"stability": ["P1"]}, "The fact 'stability' is not understood. Write for each prototype outcome, who, date"),
        (
            {"stability": {"P1": "passed"}},
            "The stability of P1 has the outcome None. Write one of passed, failed, running.",
        ),
        ({"stability": {"P1": {"outcome": "ok"}}}, "The stability of P1 has the outcome 'ok'."),
    ],
)
def test_what_is_not_understood_is_refused(facts, words):
    with pytest.raises(StudyError) as told:
        gate_limits(small_study(facts))
    assert words in str(told.value)
