from dataclasses import replace
from datetime import timedelta
from urllib.parse import urlencode

import pytest

from panel.ballots.answers import _LONGEST_COMMENT, _MOST_FIELDS, Step, form_fields, read_marks
from panel.ballots.app import _submission
from panel.errors import StudyError
from panel.store.ballot import Question, Serving
from panel.store.database import now
from panel.store.events import Entry

NOW = now()
GLOSS = Question("GLOSS", "gloss", "appearance", None, None, None, "", "", "", "", 0.0, 100.0)
SPREAD = Question("SPREAD", "ease of spreading", "appearance", None, None, None, "", "", "", "", 0.0, 100.0)
GREASE = Question("GREASE", "greasy film", "after-feel", 2.0, 1.75, 5.0, "", "", "", "", 0.0, 100.0)
AT_ONCE = Step(Serving(7, 1, "417", ""), 1, "appearance", None, (GLOSS, SPREAD), False, None, (GLOSS, SPREAD), False)
TIMED = replace(AT_ONCE, minutes=2.0, questions=(GREASE,), left=(GREASE,), rubbing_ended=NOW)
ENDS = replace(AT_ONCE, ends_rubbing=True)


def read(step=AT_ONCE, after=0.0, **fields):
    return read_marks(fields, step, NOW + timedelta(minutes=after))


def test_lines_that_were_not_touched_give_nothing():
    assert read(v0="", v1="  ")[0] == []
    assert read(v0="", v1="")[1] == {}


@pytest.mark.parametrize(
    ("typed", "value"), [("48.7", 48.7), ("48,7", 48.7), (" 0 ", 0.0), ("100", 100.0), ("7.0", 7.0)]
)
def test_numbers_are_read_as_people_type_them(typed, value):
    (entry,), _ = read(v0=typed)
    assert (entry.kind, entry.serving, entry.attribute, entry.value) == ("answer", 7, "GLOSS", value)
    assert entry.text == typed.strip()


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("330", "gloss: 330 lies outside the line, which goes from 0 to 100"),
        ("-1", "gloss: -1 lies outside the line"),
        ("much", "gloss cannot be read: 'much' is not a number"),
        ("1,234", "gloss cannot be read: '1,234' could be"),
        ("1e999", "gloss cannot be read"),
        ("nan", None),
        ("9" * 500, "gloss"),
    ],
)
def test_what_cannot_be_a_mark_is_told_and_not_guessed(typed, words):
    entries, unclear = read(v0=typed, v1="12")
    assert [entry.attribute for entry in entries] == ["SPREAD"]
    if words is None:  # says that there is no value
        assert unclear == {}
    else:
        assert unclear["GLOSS"].startswith(words)


def test_cannot_judge_wins_over_a_mark():
    assert read(v0="50", c0="1")[0] == [Entry("cannot_judge", 7, "GLOSS")]


def test_a_comment_is_kept_as_written_and_not_longer_than_allowed():
    (entry,), _ = read(comment=" <b>oily</b> & wet\n ")
    assert entry == Entry("comment", 7, text="<b>oily</b> & wet")
    (entry,), _ = read(comment="x" * 5000)
    assert len(entry.text) == _LONGEST_COMMENT


@pytest.mark.parametrize(("after", "flag"), [(1.0, "early"), (1.74, "early"), (1.76, ""), (4.99, ""), (5.01, "late")])
def test_an_answer_out_of_its_time_is_flagged_and_kept(after, flag):
    # in time from 1.75 to 5 minutes: the slack of the stage is data of the protocol
    (entry,), _ = read(TIMED, after, v0="50")
    assert (entry.flag, entry.value) == (flag, 50.0)
    assert entry.minutes == pytest.approx(after, abs=1e-3)


def test_a_timed_answer_without_the_end_of_rubbing_is_flagged():
    (entry,), _ = read(replace(TIMED, rubbing_ended=None), v0="50")
    assert (entry.flag, entry.minutes) == ("no clock", None)


def test_the_end_of_rubbing_is_noted_where_it_belongs_with_the_marks_so_far():
    entries, _ = read(ENDS, act="rubbed", v0="50")
    assert [entry.kind for entry in entries] == ["rubbing_ended", "answer"]
    again, _ = read(replace(ENDS, rubbing_ended=NOW), act="rubbed")
    assert [entry.kind for entry in again] == ["rubbing_ended"]
    assert read(AT_ONCE, act="rubbed")[0] == []
    assert read(TIMED, act="rubbed")[0] == []


def test_forms_are_read_whatever_they_hold():
    assert form_fields(b"v0=48%2C7&v1=&comment=cr%C3%A8me") == {"v0": "48,7", "v1": "", "comment": "crème"}
    assert form_fields(b"v0=1&v0=2") == {"v0": "2"}
    assert form_fields(b"comment=a%00b") == {"comment": "ab"}
    assert form_fields(b"\xff\xfe=%ff") == {"\ufffd\ufffd": "\ufffd"}
    assert form_fields(b"") == {}


def test_a_form_with_too_many_fields_is_refused():
    with pytest.raises(StudyError, match="more fields than a ballot"):
        form_fields(urlencode([("v0", "1")] * (_MOST_FIELDS + 1)).encode())


def test_the_identifier_of_a_page_is_cut_to_a_length_that_is_kept():
    assert len(_submission({"submission": "x" * 5000})) == 64
