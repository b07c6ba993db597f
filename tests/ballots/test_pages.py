from dataclasses import replace
from datetime import timedelta

import pytest

from panel.ballots import pages
from panel.ballots.answers import steps_of
from panel.ballots.rehearsal import _SeenPage
from panel.store.ballot import find_ballot
from panel.store.database import now
from panel.study.open_study import open_study
from tests.ballot_studies import ballot_study
from tests.ballots.running import ROOT, ready_store, tokens_of

FIRST_PAGE = 8 * 1024  # bytes; half a second on a slow mobile connection of 128 kbit/s
MARKUP = "<script>alert(1)</script> & \"quoted\" 'too' {{ 7*7 }} {% raw %}"


@pytest.fixture(scope="module")
def ballot(tmp_path_factory):
    store, number = ready_store(
        tmp_path_factory.mktemp("demo") / "b.sqlite", open_study(ROOT / "data_demo" / "reading_room")
    )
    found = find_ballot(store, tokens_of(store, number)["A01"])
    store.close()
    return found


def test_the_first_page_and_every_other_one_of_the_demo_is_small(ballot):
    path, moment = f"/b/{'x' * 24}", now()
    assert len(pages.overview_page(ballot, path, moment, "n" * 16).encode()) < FIRST_PAGE
    sizes = [len(pages.step_page(ballot, step, path, moment, "n" * 16).encode()) for step in steps_of(ballot)]
    assert max(sizes) < FIRST_PAGE


def test_a_page_shows_code_site_stage_and_how_to_judge(ballot):
    step = steps_of(ballot)[2]
    words = _SeenPage("/", 200, pages.step_page(ballot, step, "/b/x", now(), "n")).words
    assert words.startswith("Sample 375 1 of 8, left forearm 1. Rub-out")
    for part in ("wetness", "judge during strokes 1 to 3", "not wet very wet", "cannot judge", "Comment", "Send"):
        assert part in words


def test_words_of_the_study_are_shown_as_text(tmp_path):
    attributes = (
        ballot_study()
        .table("attributes")
        .assign(name=MARKUP, definition=MARKUP, procedure=MARKUP, low_end=MARKUP, high_end=MARKUP)
    )
    plan = ballot_study().table("servings").assign(site=MARKUP)
    store, number = ready_store(tmp_path / "b.sqlite", ballot_study(attributes=attributes, servings=plan))
    ballot = find_ballot(store, tokens_of(store, number)["A01"])
    store.close()
    step = steps_of(ballot)[2]
    unclear = {"GREASE": f"{MARKUP} cannot be read"}
    for html in (
        pages.step_page(ballot, step, "/b/x", now(), "n", unclear=unclear),
        pages.overview_page(ballot, "/b/x", now(), "n"),
        pages.page_of("plain.html", "n", words=MARKUP),
        pages.page_of("not_kept.html", "n", words=MARKUP, fields={MARKUP: MARKUP}),
    ):
        assert "<script>alert" not in html
        assert "&lt;script&gt;alert(1)&lt;/script&gt;" in html
        assert "{{ 7*7 }}" in html
        assert " ".join(MARKUP.split()) in _SeenPage("/", 200, html).words


def test_the_overview_says_what_is_done_and_what_waits(ballot):
    moment = now()
    first = ballot.servings[0].serving
    at_once = {(first, q.attribute): "answer" for q in ballot.questions if q.minutes is None}
    waiting = replace(ballot, given=at_once, rubbing_ended={first: moment})
    page = _SeenPage("/", 200, pages.overview_page(waiting, "/b/x", moment, "n"))
    assert page.waits
    assert "Sample 375 , left forearm 1: wait until" in page.words
    later = _SeenPage("/", 200, pages.overview_page(waiting, "/b/x", moment + timedelta(minutes=2), "n"))
    assert "Go on with sample 375" in later.words
    assert "Sample 375 , left forearm 1: due now" in later.words
    every = {(s.serving, q.attribute): "answer" for s in ballot.servings for q in ballot.questions}
    done = replace(ballot, given=every, rubbing_ended={s.serving: moment for s in ballot.servings})
    finished = _SeenPage("/", 200, pages.overview_page(done, "/b/x", moment, "n"))
    assert finished.waits is False
    assert finished.words.count(": done") == 8


def test_a_rehearsal_says_so_on_every_page(ballot):
    rehearsed, words = replace(ballot, rehearsal=True), "Rehearsal. Do not apply anything; these answers never count."
    for html in (
        pages.overview_page(rehearsed, "/b/x", now(), "n"),
        pages.step_page(rehearsed, steps_of(rehearsed)[0], "/b/x", now(), "n"),
        pages.page_of("reaction.html", "n", ballot=rehearsed, ballot_path="/b/x", submission="s"),
    ):
        assert words in html
    assert words not in pages.overview_page(ballot, "/b/x", now(), "n")


def test_the_clock_counts_from_the_server_and_is_written_out_for_phones_without_scripts(ballot):
    moment = now()
    first = ballot.servings[0].serving
    rubbed = replace(ballot, rubbing_ended={first: moment})
    step = next(step for step in steps_of(rubbed) if step.minutes == 2.0)
    html = pages.step_page(rubbed, step, "/b/x", moment + timedelta(seconds=30), "n")
    assert 'data-seconds="90"' in html
    assert (moment + timedelta(minutes=2)).astimezone().strftime("judge this at <strong>%H:%M:%S") in html
    assert "Too early" not in pages.step_page(rubbed, step, "/b/x", moment + timedelta(seconds=120), "n")
