import json
from datetime import UTC, datetime

from panel.store.board import session_record, sessions_table
from panel.store.database import now
from panel.store.events import Entry, record
from panel.store.preparing import prepare
from tests.ballot_studies import SECRETS, ballot_study

MOMENT = datetime(2025, 3, 14, 13, 0, 10, tzinfo=UTC)


def send(store, *entries, key="s"):
    place = {"collection": 1, "session": "1", "assessor": "A01"}
    record(store, entries, submission=key, at=MOMENT, **place)


def test_each_event_is_one_line_of_json_in_its_order(store, collection):
    send(store, Entry("shown", 1, text="1"), Entry("answer", 1, "GLOSS", 48.7, text="48,7"))
    send(store, Entry("comment", 1, text="crème, “riche”\nsecond line"), key="t")
    lines = session_record(store, 1, "1").decode().splitlines()
    events = [json.loads(line) for line in lines]
    assert [event["number"] for event in events] == [1, 2, 3]
    assert [event["kind"] for event in events] == ["shown", "answer", "comment"]
    assert (events[1]["value"], events[1]["text"], events[1]["at"]) == (48.7, "48,7", "2025-03-14T13:00:10.000+00:00")
    assert events[2]["text"] == "crème, “riche”\nsecond line"
    assert events[1]["rehearsal"] is False
    assert events[1]["code"] in {"417", "582", "936"}


def test_the_record_differs_once_anything_is_added(store, collection):
    send(store, Entry("answer", 1, "GLOSS", 48.7))
    content = session_record(store, 1, "1")
    send(store, Entry("answer", 1, "GLOSS", 48.8), key="t")
    assert session_record(store, 1, "1") != content


def test_the_record_is_that_of_the_session_and_without_health_data(store, collection):
    send(store, Entry("answer", 1, "GLOSS", 1.0), Entry("reaction", 1, text="burning"))
    record(
        store, [Entry("comment", None, text="x")], submission="u", collection=1, session="2", assessor="A01", at=MOMENT
    )
    content = session_record(store, 1, "1").decode()
    assert len(content.splitlines()) == 1
    assert "burning" not in content
    assert not any(word in content for word in SECRETS)


def test_both_kinds_of_database_give_the_same_bytes(store, collection):
    # the seal must not depend on where the ballots are kept
    send(store, Entry("answer", 1, "GLOSS", 0.1 + 0.2, text="x"), Entry("cannot_judge", 1, "SPREAD"))
    expected = (
        '{"assessor":"A01","at":"2025-03-14T13:00:10.000+00:00","attribute":"GLOSS","code":"CODE","flag":"",'
        '"kind":"answer","minutes":null,"number":1,"position":POSITION,"rehearsal":false,"session":"1","text":"x",'
        '"value":0.30000000000000004,"who":"A01","why":""}'
    )
    line = session_record(store, 1, "1").decode().splitlines()[0]
    event = json.loads(line)
    assert line == expected.replace("CODE", event["code"]).replace("POSITION", str(event["position"]))


def test_all_sessions_are_listed_and_the_rehearsed_ones_marked(store, collection):
    rehearsed, _ = prepare(store, ballot_study(), "hills", at=now(), rehearsal=True)
    table = sessions_table(store)
    assert table[["collection", "session", "rehearsal"]].to_numpy().tolist() == [
        [collection, "1", False],
        [collection, "2", False],
        [rehearsed, "1", True],
        [rehearsed, "2", True],
    ]
    assert set(table["locked_at"]) == {""}


def test_an_empty_record_has_no_sessions(store):
    assert sessions_table(store).empty
