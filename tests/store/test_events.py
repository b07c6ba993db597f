import threading

import pytest
from sqlalchemy import func, select

from panel.errors import StudyError
from panel.store.database import now
from panel.store.events import Entry, let_go_on, record
from panel.store.tables import EVENT, SCORE, SUBMISSION
from tests.databases import add_correction

PLACE = {"collection": 1, "session": "1", "assessor": "A01"}


@pytest.fixture(autouse=True)
def _prepared(collection):
    assert collection == 1


def send(store, *entries, submission="s", **place):
    return record(store, entries, submission=submission, at=now(), **(PLACE | place))


def answer(value, attribute="GLOSS", serving=1):
    return Entry("answer", serving, attribute, value, text=str(value))


def values(store):
    with store.reading() as connection:
        wanted = select(SCORE.c.attribute, SCORE.c.value).order_by(SCORE.c.attribute)
        return dict(tuple(row) for row in connection.execute(wanted))


def history(store, *columns):
    with store.reading() as connection:
        wanted = select(*(EVENT.c[name] for name in columns)).order_by(EVENT.c.event)
        return [tuple(row) for row in connection.execute(wanted)]


def count_events(store, collection):
    with store.reading() as connection:
        wanted = select(func.count()).select_from(EVENT).where(EVENT.c.collection == collection)
        return connection.execute(wanted).scalar_one()


def test_the_same_submission_sent_again_adds_nothing(store):
    assert send(store, answer(48.7), answer(10.0, "SPREAD"))
    assert not send(store, answer(48.7), answer(10.0, "SPREAD"))
    assert count_events(store, 1) == 2
    assert values(store) == {"GLOSS": 48.7, "SPREAD": 10.0}


def test_the_time_of_a_retry_does_not_make_it_another_one(store):
    assert send(store, Entry("answer", 1, "GREASE", 5.0, flag="early", minutes=1.9))
    assert not send(store, Entry("answer", 1, "GREASE", 5.0, flag="", minutes=2.1))
    assert history(store, "flag", "minutes") == [("early", 1.9)]


def test_a_page_sent_again_with_another_mark_is_a_change_and_the_last_one_counts(store):
    # somebody goes back in the browser and moves a mark: the identifier is the old one, the content is not
    for value in (10.0, 20.0, 10.0):
        assert send(store, answer(value))
    assert values(store) == {"GLOSS": 10.0}
    assert history(store, "value") == [(10.0,), (20.0,), (10.0,)]


def test_many_phones_sending_the_same_at_once_add_it_once(store):
    results = []
    threads = [threading.Thread(target=lambda: results.append(send(store, answer(7.0)))) for _ in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(results) == [False] * 11 + [True]
    assert count_events(store, 1) == 1


def test_the_view_of_scores_shows_the_last_event_of_each_attribute(store):
    send(store, answer(1.0), submission="a")
    send(store, Entry("cannot_judge", 1, "GLOSS"), answer(2.0, "SPREAD"), submission="b")
    send(store, Entry("comment", 1, text="x"), Entry("shown", 1, text="2"), submission="c")
    assert values(store) == {"GLOSS": None, "SPREAD": 2.0}
    send(store, answer(3.0), submission="d")
    assert values(store) == {"GLOSS": 3.0, "SPREAD": 2.0}


def test_all_of_a_submission_is_kept_or_nothing(store):
    with pytest.raises(StudyError, match="not one of this person's"):
        send(store, answer(1.0), answer(2.0, serving=9999))
    assert count_events(store, 1) == 0
    with store.reading() as connection:
        assert connection.execute(select(SUBMISSION)).first() is None
    assert send(store, answer(1.0))  # its identifier was not used up


def test_nobody_answers_for_somebody_else_or_for_another_session(store):
    for place in ({"assessor": "A02"}, {"session": "2"}):
        with pytest.raises(StudyError, match="This sample is not one of this person's in this session"):
            send(store, answer(1.0), **place)
    with pytest.raises(StudyError, match="There is no session 7 in the record"):
        send(store, answer(1.0), session="7")


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        (Entry("opinion", 1), "'opinion' is not something the record keeps"),
        (Entry("comment", 1, text="x" * 4001), "longer than 4000 characters"),
        (Entry("answer", 1, "GLOSS", float("nan")), "The score of GLOSS is not a finite number"),
        (Entry("answer", 1, "GLOSS", float("inf")), "The score of GLOSS is not a finite number"),
    ],
)
def test_what_cannot_be_kept_is_refused(store, entry, words):
    with pytest.raises(StudyError, match=words):
        send(store, entry)
    assert count_events(store, 1) == 0


def test_an_older_correction_says_who_and_why_and_keeps_the_answer(store):
    send(store, answer(480.0))
    add_correction(store, 1, "GLOSS", 48.0, "one digit too many")
    assert values(store) == {"GLOSS": 48.0}
    rows = history(store, "kind", "value", "text", "who", "why")
    assert rows == [
        ("answer", 480.0, "480.0", "A01", ""),
        ("correction", 48.0, "480.0", "lead", "one digit too many"),
    ]
    add_correction(store, 1, "GLOSS", None, "spilt")
    assert values(store) == {"GLOSS": None}
    assert history(store, "text")[-1] == ("48.0",)


def test_a_release_is_kept_with_name_and_reason(store):
    let_go_on(store, 1, "1", "A01", who="lead", why="nothing found", at=now())
    assert history(store, "kind", "assessor", "who", "why") == [
        ("resumed", "A01", "lead", "nothing found"),
    ]
    with pytest.raises(StudyError, match="kept with a name and a reason"):
        let_go_on(store, 1, "1", "A01", who="lead", why="", at=now())
