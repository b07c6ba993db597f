"""One finding for each planned difference that cannot be read."""

from panel.checks.all_checks import _check_planned_differences
from tests.studies import small_study


def test_a_sound_statement_is_not_mentioned():
    assert _check_planned_differences(small_study()) == []
    assert _check_planned_differences(small_study({"planned_differences": [{"prototype": "P2", "versus": "P1"}]})) == []


def test_each_wrong_entry_is_a_finding_with_advice():
    found = _check_planned_differences(small_study({"planned_differences": [7, {"prototype": "P9", "versus": "P1"}]}))
    assert [(one.severity, one.kind) for one in found] == [("warning", "planned_difference_not_read")] * 2
    assert found[0].where == "planned_differences"
    assert found[1].message == "Planned difference 2 is not read: the study has no prototype 'P9'."
    assert found[1].advice == "Choose among P1, P2, P3, P4."
