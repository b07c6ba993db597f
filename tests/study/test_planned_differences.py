"""The planned differences a study states: read where they can be, and said what to do where they cannot."""

import pytest

from panel.study.folder import write_study
from panel.study.open_study import open_study
from panel.study.scores_used import stated_differences
from tests.studies import small_study


def stated(entries):
    return stated_differences(small_study({"planned_differences": entries}))


def test_nothing_stated_nothing_read():
    found = stated_differences(small_study())
    assert found == ((), ())


def test_they_survive_being_written_and_read(tmp_path):
    entries = [{"prototype": "P2", "versus": "P1", "attribute": "AF_GREASE"}, {"prototype": "P3", "versus": "P1"}]
    write_study(small_study({"planned_differences": entries}), tmp_path / "kept")
    found = stated_differences(open_study(tmp_path / "kept"))
    assert found[0] == (("P2", "P1", "AF_GREASE"), ("P3", "P1", ""))
    assert not found[1]


@pytest.mark.parametrize(
    ("entry", "what", "advice"),
    [
        ("P2 against P1", "it is no object", "as a row: prototype P2, versus P1"),
        ({"prototype": "P2"}, "its versus is missing or no text", "Write it into planned_differences"),
        ({"prototype": 2, "versus": "P1"}, "its prototype is missing or no text", "Write it into planned_differences"),
        ({"prototype": "", "versus": "P1"}, "its prototype is missing or no text", "Write it into planned_differences"),
        ({"prototype": "P2", "versus": "P1", "attribute": ["AF_GREASE"]}, "its attribute is", "Write it in"),
        ({"prototype": "P2", "versus": "P1", "weight": 2}, "'weight' has no meaning here", "Use prototype, versus"),
        ({"prototype": "P9", "versus": "P1"}, "the study has no prototype 'P9'", "Choose among P1, P2, P3, P4."),
        ({"prototype": "P2", "versus": "P9"}, "the study has no prototype 'P9'", "Choose among P1, P2, P3, P4."),
        ({"prototype": "P2", "versus": "P2"}, "P2 is compared with itself", "Name another prototype under versus."),
        ({"prototype": "P2", "versus": "P1", "attribute": "GLOSS"}, "no attribute 'GLOSS'", "Choose among RO_ABS"),
        ({"prototype": "P1", "versus": "P4"}, "it is stated before, and counts once", "Take one of the two out."),
    ],
)
def test_what_cannot_be_read_is_said_and_the_others_stay(entry, what, advice):
    found = stated([{"prototype": "P4", "versus": "P1"}, entry])
    assert found[0] == (("P4", "P1", ""),)
    ((said, to_do),) = found[1]
    assert said.startswith("Planned difference 2 is not read: ")
    assert what in said
    assert advice in to_do


@pytest.mark.parametrize("entries", ["P2 against P1", {"prototype": "P2", "versus": "P1"}, 3, None])
def test_a_fact_that_is_no_list_is_said(entries):
    ((said, advice),) = stated(entries)[1]
    assert said == "The planned differences are not a list, so none is read."
    assert advice.startswith("Write it into planned_differences")


def test_the_same_pair_on_two_attributes_is_two_differences():
    pair = {"prototype": "P2", "versus": "P1"}
    found = stated([pair | {"attribute": "AF_GREASE"}, pair | {"attribute": "RO_ABS"}])
    assert len(found[0]) == 2
