"""What is ready for the panel: gate, age, pH and viscosity all have to be there."""

import pandas as pd
import pytest

from panel.checks.all_checks import readiness
from panel.errors import StudyError
from panel.plan.safety import _record_sign_off
from panel.study.knowledge import shared_table
from panel.study.study import Study, empty_table
from tests.studies import small_study

WHEN = "2025-03-13T10:00"  # the batches of the small study were made on 10 and 11 March at 10:00
SIGNED = {"who": "Dr A", "role": "safety assessor", "date": "2025-03-10", "document": "binder 4"}


def signed():
    found = empty_table("safety")
    for item in shared_table("safety_gate").to_dict("records"):
        for batch in [f"P{n}-1" for n in range(1, 5)] if item["scope"] == "batch" else [""]:
            found = _record_sign_off(found, item["item"], batch=batch, **SIGNED)
    return found


def study_with(changes=None, gate=True):
    study = small_study()
    batches = study.table("batches").copy()
    for column, value in (changes or {}).items():
        batches.loc[1, column] = value  # the batch of P2
    tables = {**study.tables, "batches": batches} | ({"safety": signed()} if gate else {})
    return Study(tables, study.facts)


def p2(changes=None, on=WHEN, **how):
    return readiness(study_with(changes, **how), on).set_index("prototype").loc["P2"]


def test_a_signed_measured_and_aged_batch_is_ready():
    result = readiness(study_with(), WHEN)
    assert result["ready"].all()
    assert result["age_hours"].tolist() == [72.0, 48.0, 48.0, 72.0]
    assert (result["missing"] == "").all()


def test_nothing_is_ready_before_the_gate_is_open():
    result = readiness(study_with(gate=False), WHEN)
    assert not result["ready"].any()
    assert (result["missing"] == "the safety gate is closed").all()


@pytest.mark.parametrize(
    ("changes", "missing"),
    [
        ({"made_on": "2025-03-12T14:00"}, "it may be only 20 h old, under 24 h"),
        ({"made_on": ""}, "its age is not known"),
        ({"ph": float("nan")}, "its pH is not known"),
        ({"viscosity_mpa_s": float("nan")}, "its viscosity is not known"),
        ({"viscosity_method": ""}, "how its viscosity was measured is not known"),
    ],
)
def test_what_is_missing_is_said(changes, missing):
    row = p2(changes)
    assert not row["ready"]
    assert row["missing"] == missing


def test_a_day_without_time_is_taken_at_its_least_favourable():
    # made some time on the 12th, tested some time on the 13th: perhaps minutes later
    assert p2({"made_on": "2025-03-12"}, on="2025-03-13")["missing"] == "it may be only 0 h old, under 24 h"
    assert p2({"made_on": "2025-03-12"}, on="2025-03-14")["ready"]
    assert p2({"made_on": "2025-03-12T18:00"}, on="2025-03-13T14:00")["missing"].startswith("it may be only 20 h")


def test_a_prototype_without_a_batch_is_not_ready():
    study = study_with()
    batches = study.table("batches").iloc[1:]
    result = readiness(Study({**study.tables, "batches": batches}, study.facts), WHEN)
    row = result.set_index("prototype").loc["P1"]
    assert row["missing"] == "no batch"
    assert not row["ready"]


def test_before_anything_was_scored_it_works_too():
    study = study_with()
    tables = {name: frame for name, frame in study.tables.items() if name != "scores"}
    assert readiness(Study(tables, study.facts), WHEN)["ready"].all()


def test_without_batches_nothing_is_ready():
    result = readiness(small_study(batches=None), WHEN)
    assert not result["ready"].any()
    assert isinstance(result, pd.DataFrame)


def test_a_day_that_cannot_be_read_is_said():
    with pytest.raises(StudyError, match="The day of the test is 'soon'"):
        readiness(study_with(), "soon")
