"""What all tests share."""

import gc
from typing import Any

import pytest
from hypothesis import settings

from panel.answers import SEED, Answers
from panel.study.study import Study

# No deadline: how long an example takes depends on what else the machine does. Derandomised: a run can be repeated.
settings.register_profile("afterfeel", deadline=None, derandomize=True)
settings.load_profile("afterfeel")

SLOWEST_FIRST = (
    *("tests/test_interrupted.py", "tests/app/test_editors_browser.py", "tests/claims/test_wording.py"),
    *("tests/study/test_two_writers.py", "tests/app/test_what_was_recorded.py", "tests/test_odd_studies.py"),
    *("tests/app/test_browser.py", "tests/report/test_elsewhere.py", "tests/study/test_hostile_archives.py"),
    *("tests/app/test_journeys.py", "tests/views/test_every_picture.py", "tests/report/test_pdf.py"),
    *("tests/ballots/test_browser.py", "tests/views/test_glance.py"),
    *("tests/cli/test_claim.py", "tests/report/test_archive.py", "tests/cli/test_report.py"),
    *("tests/study/test_saving.py", "tests/ballots/test_load.py", "tests/test_composition_truth.py"),
    *("tests/checks/test_all_checks.py", "tests/test_spread.py", "tests/test_house.py"),
)
"""Files over twenty seconds, by `pytest --durations`: begun last, one process would be waited for alone."""

_COLLECT_AFTER = 50_000  # new objects before the collector looks for cycles


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the files that take longest; the others keep their order."""
    places = {name: place for place, name in enumerate(SLOWEST_FIRST)}
    items.sort(key=lambda item: places.get(item.nodeid.partition("::")[0], len(places)))


def pytest_collection_finish() -> None:
    """Spare the collector of garbage what was loaded: it is looked through again and again, and none of it goes."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(_COLLECT_AFTER)


@pytest.fixture
def asked_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let all commands and files about one study share its answers, where only what they say of them is looked at."""
    begin, kept = Answers.__init__, {}

    def begin_with_what_is_known(answers: Answers, study: Study, seed: int = SEED) -> None:
        begin(answers, study, seed)
        known: dict[Any, Any] = kept.setdefault((study.content_hash, seed), answers._kept)
        answers._kept = known

    monkeypatch.setattr(Answers, "__init__", begin_with_what_is_known)
