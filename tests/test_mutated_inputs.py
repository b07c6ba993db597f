"""Half a minute of changed inputs; `python -m benchmarks.fuzz --hours 1` runs as long as one wants."""

import random

import pytest

from benchmarks import fuzz

SECONDS = 7.0


def test_changed_inputs_end_in_a_table_or_a_sentence_and_no_value_is_changed_in_silence():
    outcome = fuzz.run(SECONDS)
    assert outcome.wrong == []
    assert min(outcome.counts[kind.__name__.strip("_")] for kind in fuzz.KINDS) > 20
    assert outcome.counts["read"] > 50
    assert outcome.counts["refused"] > 20


@pytest.mark.parametrize("encoding", fuzz.ENCODINGS)
@pytest.mark.parametrize("sign", fuzz.SIGNS)
def test_the_reader_that_judges_gives_what_was_written(encoding, sign):
    text = f'a{sign}b\r\n"x{sign}y"{sign}"he said ""no"""\r\n{sign}é\r\n'
    wanted = (("a", "b"), (f"x{sign}y", 'he said "no"'), ("", "é"))
    assert fuzz.own_reader(text.encode(encoding), encoding, sign) == wanted


def test_what_goes_wrong_is_seen(monkeypatch):
    def broken(rng):
        raise ZeroDivisionError

    def changed(rng):
        fuzz._same_cells((("a",),), (("b",),))

    for kind, word in ((broken, "TRACEBACK"), (changed, "CHANGED")):
        monkeypatch.setattr(fuzz, "KINDS", (kind, kind, kind))
        outcome = fuzz.run(5.0, inputs=3)
        assert outcome.counts[word] == len(outcome.wrong) == 3


def test_a_wrong_encoding_or_sign_would_be_seen(monkeypatch):
    from panel.study import raw_table

    monkeypatch.setattr(raw_table, "_likely_encodings", lambda content: ("cp1252",))
    outcome = fuzz.Outcome()
    monkeypatch.setattr(fuzz, "KINDS", (fuzz._as_written,) * 3)
    for number in range(200):
        fuzz.try_one(1, number, outcome)
    assert outcome.counts["CHANGED"] > 0


def test_an_input_can_be_made_again():
    tables = [fuzz.written_table(random.Random("1 7")) for _ in range(2)]
    assert tables[0] == tables[1]
