from panel.checks.all_checks import _check_rehearsed
from panel.study.study import Study
from tests.studies import small_study


def test_a_rehearsal_is_found_and_only_a_rehearsal():
    assert _check_rehearsed(small_study()) == []
    (finding,) = _check_rehearsed(Study(small_study().tables, {"rehearsal": True}))
    assert finding.severity == "warning"
    assert "no claim can rest on it" in finding.advice
    scores = small_study().scores.assign(source="rehearsal")
    assert len(_check_rehearsed(small_study(scores=scores))) == 1
