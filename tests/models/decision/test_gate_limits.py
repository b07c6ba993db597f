"""Gates stated in a study: understood as written, or refused with what to write."""

import math

import pytest

from panel.errors import StudyError
from panel.models.decision.wanted import _gate_limits
from tests.studies import small_study


def test_limits_are_read_as_they_stand():
    gates = {"ph": [5, 6], "volatile_share": [None, 0.4], "free_of": ["lanolin "]}
    limits, free_of, stability = _gate_limits(small_study({"gates": gates}))
    assert limits["ph"] == (5, 6)
    assert math.isnan(limits["volatile_share"][0])
    assert limits["volatile_share"][1] == 0.4
    assert free_of == ("lanolin",)
    assert stability is None


def test_without_the_fact_there_is_no_gate():
    assert _gate_limits(small_study()) == ({}, (), None)


def test_a_stability_record_keeps_person_day_and_document():
    entry = {"outcome": "passed", "who": "lab", "date": "2025-06-01", "document": "ST-1"}
    facts = {"gates": {"stability": True}, "stability": {"P1": entry, "P2": {"outcome": "failed"}}}
    _, _, found = _gate_limits(small_study(facts))
    assert found["P1"] == entry
    assert found["P2"] == dict.fromkeys(entry, "") | {"outcome": "failed"}


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
        _gate_limits(small_study(facts))
    assert words in str(told.value)
