"""What all tests share."""

import gc
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import settings

from panel.answers import SEED, Answers
from panel.study.study import Study

# No deadline: how long an example takes depends on what else the machine does. Derandomised: a run can be repeated, and
# tries the same examples each time, so that more of them than a test says itself find little.
settings.register_profile("afterfeel", deadline=None, derandomize=True, max_examples=60)
settings.load_profile("afterfeel")

LONG = (
    *("tests/app/test_editors_browser.py", "tests/views/test_every_picture.py"),
    *("tests/study/test_hostile_archives.py", "tests/claims/test_fresh.py", "tests/claims/test_new_products.py"),
    *("tests/plan/test_assurance.py", "tests/app/test_journeys.py", "tests/test_hostile_study.py"),
    *("tests/app/test_pages.py", "tests/stats/curves/test_flow.py", "tests/claims/test_judge.py"),
    *("tests/checks/test_all_checks.py", "tests/study/test_editing.py", "tests/views/test_everything_told.py"),
    *("tests/app/test_browser.py", "tests/claims/test_wording.py", "tests/views/prototypes/test_one_word.py"),
    *("tests/stats/curves/test_apparent_viscosity.py", "tests/report/test_contents.py"),
    *("tests/report/test_pdf.py", "tests/test_interrupted.py", "tests/report/test_docx.py"),
    *("tests/cli/test_report.py", "tests/stats/curves/test_yield_stress.py", "tests/app/test_bench_browser.py"),
    *("tests/study/test_saving.py", "tests/report/test_archive.py", "tests/study/test_template.py"),
    *("tests/ballots/test_browser.py", "tests/study/test_two_writers.py", "tests/claims/test_any_word.py"),
    *("tests/claims/test_simulation.py", "tests/models/prototypes/test_batches_random.py"),
    *("tests/test_odd_studies.py", "tests/app/test_editors.py", "tests/test_cli.py", "tests/test_spread.py"),
    *("tests/app/test_ballots_page.py", "tests/study/test_facts.py", "tests/test_names_and_order.py"),
    *("tests/test_composition_truth.py", "tests/models/consumers/test_just_about_right.py"),
    *("tests/models/assessors/test_performance.py", "tests/ballots/test_rehearsal.py"),
    *("tests/claims/test_paraphrases.py", "tests/app/test_claims_page.py", "tests/views/test_glance.py"),
    *("tests/app/test_servings_page.py", "tests/study/test_made_by_hand.py"),
    *("tests/app/test_what_was_recorded.py", "tests/app/test_safety_page.py"),
    *("tests/models/prototypes/test_invariances.py", "tests/views/over_time/test_over_time_pictures.py"),
    *("tests/app/test_consumers_page.py", "tests/test_data_demo.py", "tests/models/consumers/test_liking.py"),
    *("tests/study/test_hostile_tables.py", "tests/app/test_decide_page.py"),
    *("tests/models/consumers/test_segments.py", "tests/report/test_case.py", "tests/ballots/test_load.py"),
    *("tests/ballots/test_gate_watch.py", "tests/ballots/test_security.py"),
    *("tests/models/consumers/test_forced_choice.py", "tests/app/test_guide.py"),
    *("tests/claims/test_outside_checks.py",),
)
"""Files that take longest, left out by `scripts/check quick`, begun first: what waits (a browser, a server, another
process) between what computes, so that both processors have something to do."""

_COLLECT_AFTER = 50_000  # new objects before the collector looks for cycles


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the files that take longest; the others keep their order."""
    places = {name: place for place, name in enumerate(LONG)}
    for item in items:
        if item.nodeid.partition("::")[0] in places:
            item.add_marker("long")
    items.sort(key=lambda item: places.get(item.nodeid.partition("::")[0], len(places)))


def pytest_collection_finish() -> None:
    """Spare the collector of garbage what was loaded: it is looked through again and again, and none of it goes."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(_COLLECT_AFTER)


@pytest.fixture(scope="module")
def asked_once() -> Iterator[None]:
    """Let commands, pages and files about one study share its answers, where only what they say is looked at."""
    begin, kept = Answers.__init__, {}

    def begin_with_what_is_known(answers: Answers, study: Study, seed: int = SEED) -> None:
        begin(answers, study, seed)
        known: dict[Any, Any] = kept.setdefault((study.content_hash, seed), answers._kept)
        answers._kept = known

    with pytest.MonkeyPatch.context() as changed:
        changed.setattr(Answers, "__init__", begin_with_what_is_known)
        yield
