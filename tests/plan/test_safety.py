"""The safety gate: closed until named persons have signed everything, and closed again when something changes."""

import pandas as pd
import pytest

from panel.errors import StudyError
from panel.plan.safety import _AMBER, GREEN, RED, _record_sign_off, record_reaction, safety_gate, settle_reaction
from panel.study.knowledge import shared_table
from panel.study.study import Study, empty_table
from panel.study.tables import TABLES
from tests.studies import small_study

ITEMS = shared_table("safety_gate")
BATCHES = ("P1-1", "P2-1", "P3-1", "P4-1")
SIGNED = {"who": "Dr A", "role": "safety assessor", "date": "2025-03-10", "document": "binder 4"}
NOT_NEEDED = {"who": "Dr A", "role": "safety assessor", "date": "2025-03-10", "document": "", "outcome": "not needed"}
DAY = "2025-03-13"


def everything_signed(skip=()):
    signed = empty_table("safety")
    for item in ITEMS.to_dict("records"):
        for batch in BATCHES if item["scope"] == "batch" else ("",):
            if item["item"] not in skip and (item["item"], batch) not in skip:
                signed = _record_sign_off(signed, item["item"], batch=batch, **SIGNED)
    return signed


def gate_of(signed=None, reactions=None, on=DAY):
    study = small_study()
    tables = {"safety": signed, "reactions": reactions}
    kept = {name: frame for name, frame in tables.items() if frame is not None}
    return safety_gate(Study({**study.tables, **kept}, study.facts), on)


def states(gate):
    return dict(zip(gate.batches["batch"], gate.batches["state"], strict=True))


def test_without_a_signature_the_gate_is_closed_for_every_batch():
    gate = gate_of()
    assert states(gate) == dict.fromkeys(BATCHES, RED)
    assert not gate.batches["open"].any()
    assert (gate.batches["missing"] == len(ITEMS)).all()
    assert (gate.items["reason"] == "not signed").all()


def test_with_everything_signed_it_is_open():
    gate = gate_of(everything_signed())
    assert states(gate) == dict.fromkeys(BATCHES, GREEN)
    assert gate.batches["open"].all()


@pytest.mark.parametrize("item", list(ITEMS["item"]))
def test_one_missing_item_keeps_it_closed(item):
    gate = gate_of(everything_signed(skip=(item,)))
    expected = RED if ITEMS.set_index("item").loc[item, "needed"] == "always" else _AMBER
    assert states(gate) == dict.fromkeys(BATCHES, expected)
    assert not gate.batches["open"].any()


def test_what_is_signed_batch_by_batch_opens_only_that_batch():
    gate = gate_of(everything_signed(skip=(("batch_identity", "P3-1"),)))
    assert states(gate) == {"P1-1": GREEN, "P2-1": GREEN, "P3-1": RED, "P4-1": GREEN}


def test_amber_turns_green_when_a_named_person_states_that_an_item_is_not_needed():
    signed = everything_signed(skip=("ethics_review",))
    assert set(states(gate_of(signed)).values()) == {_AMBER}
    stated = _record_sign_off(signed, "ethics_review", note="not required for this use", **NOT_NEEDED)
    assert set(states(gate_of(stated)).values()) == {GREEN}


def test_a_withdrawn_signature_closes_it_again():
    withdrawn = {**NOT_NEEDED, "outcome": "withdrawn"}
    signed = _record_sign_off(everything_signed(), "preservation", note="challenge test failed", **withdrawn)
    assert set(states(gate_of(signed)).values()) == {RED}
    assert set(states(gate_of(_record_sign_off(signed, "preservation", **SIGNED))).values()) == {GREEN}


def test_what_is_withdrawn_for_one_batch_is_not_freed_by_an_older_or_newer_signature_for_all():
    withdrawn = {**NOT_NEEDED, "outcome": "withdrawn"}
    signed = _record_sign_off(everything_signed(), "preservation", batch="P2-1", note="mould seen", **withdrawn)
    signed = _record_sign_off(signed, "preservation", **SIGNED)
    assert states(gate_of(signed)) == {"P1-1": GREEN, "P2-1": RED, "P3-1": GREEN, "P4-1": GREEN}
    signed = _record_sign_off(signed, "preservation", batch="P2-1", **SIGNED)
    assert states(gate_of(signed))["P2-1"] == GREEN
    # withdrawn for all after that closes all, also the batch signed by itself
    signed = _record_sign_off(signed, "preservation", note="method wrong", **withdrawn)
    assert set(states(gate_of(signed)).values()) == {RED}


def test_what_is_signed_later_or_no_longer_valid_does_not_count():
    assert set(states(gate_of(everything_signed(), on="2025-03-09")).values()) == {RED}
    signed = _record_sign_off(everything_signed(), "skin_tolerance", valid_until="2025-03-12", **SIGNED)
    assert set(states(gate_of(signed, on="2025-03-12")).values()) == {GREEN}
    gate = gate_of(signed, on="2025-03-13")
    assert set(states(gate).values()) == {RED}
    assert "out of date" in set(gate.items["reason"])


def test_a_withdrawal_counts_also_on_a_date_that_cannot_be_read():
    withdrawn = {**NOT_NEEDED, "outcome": "withdrawn"}
    signed = _record_sign_off(everything_signed(), "preservation", note="mould seen", **withdrawn)
    signed.loc[len(signed) - 1, "date"] = "last week"
    assert set(states(gate_of(signed)).values()) == {RED}
    # one of later has not happened yet
    signed.loc[len(signed) - 1, "date"] = "2025-04-01"
    assert set(states(gate_of(signed)).values()) == {GREEN}


def test_a_table_written_by_hand_is_not_trusted_blindly():
    signed = everything_signed()
    row = (signed["item"] == "informed_consent").to_numpy()
    for change, reason in (
        ({"who": ""}, "no person or no document"),
        ({"document": ""}, "no person or no document"),
        ({"outcome": "ok"}, "outcome not understood"),
        ({"outcome": "not needed", "note": "why"}, "cannot be declared unneeded"),
        ({"date": "soon"}, "cannot be read"),
        ({"date": ""}, "cannot be read"),
    ):
        changed = signed.copy()
        for column, value in change.items():
            changed.loc[row, column] = value
        gate = gate_of(changed)
        assert not gate.batches["open"].any()
        assert any(reason in text for text in gate.items.loc[gate.items["item"] == "informed_consent", "reason"])


def test_a_reaction_freezes_the_batch_whatever_was_signed():
    facts = {"when": "2025-03-13T10:00", "who": "leader", "signs": "hives", "severity": "serious", "action": "rinsed"}
    reactions = record_reaction(empty_table("reactions"), **facts, assessor="A02", batch="P2-1")
    gate = gate_of(everything_signed(), reactions)
    assert states(gate) == {"P1-1": GREEN, "P2-1": RED, "P3-1": GREEN, "P4-1": GREEN}
    why = dict(zip(gate.batches["batch"], gate.batches["frozen"], strict=True))
    assert why["P2-1"] == "the reaction of A02 on 2025-03-13T10:00 is not settled"
    assert why["P1-1"] == ""
    settled = settle_reaction(reactions, "1", when="2025-03-14", who="Dr B", action="unrelated", document="r 7")
    assert set(states(gate_of(everything_signed(), settled)).values()) == {GREEN}


def test_it_says_what_it_does_not_replace():
    words = "This record does not replace a safety assessor, a physician, an ethics committee or local law."
    assert gate_of().notes[0] == words
    assert gate_of(everything_signed()).notes[0] == words


def test_strange_entries_are_named():
    strange = pd.DataFrame(
        [("horoscope", "P9-9", "signed", "X", "y", "2025-03-01", "z", "", "")], columns=TABLES["safety"].column_names
    )
    notes = " ".join(gate_of(strange.astype("str")).notes)
    assert "items that the checklist does not have do not count: horoscope" in notes
    assert "not in the table of batches: P9-9" in notes


def test_without_batches_it_is_open_for_none():
    gate = safety_gate(small_study(batches=None), DAY)
    assert not len(gate.batches)
    assert any("No batches are recorded" in note for note in gate.notes)


def test_sign_offs_stay_and_the_last_one_is_added():
    once = _record_sign_off(empty_table("safety"), "preservation", **SIGNED)
    twice = _record_sign_off(once, "preservation", **SIGNED | {"document": "binder 5"})
    assert twice.iloc[:1].equals(once)


@pytest.mark.parametrize(
    ("item", "change", "words"),
    [
        ("horoscope", {}, "The checklist has no item 'horoscope'"),
        ("preservation", {"outcome": "fine"}, "The outcome 'fine' is not known"),
        ("preservation", {"who": " "}, "a named person, her role and a date"),
        ("preservation", {"role": ""}, "a named person, her role and a date"),
        ("preservation", {"date": ""}, "a named person, her role and a date"),
        ("preservation", {"date": "soon"}, "The date of preservation is 'soon', which is no date"),
        ("preservation", {"valid_until": "later"}, "The end of validity of preservation is 'later'"),
        ("preservation", {"document": ""}, "a reference to the signed document"),
        ("ethics_review", {"outcome": "not needed"}, "'not needed' needs a reason"),
        ("preservation", {"outcome": "not needed", "note": "why"}, "preservation is always needed"),
        ("batch_identity", {}, "batch_identity is signed batch by batch. Name the batch."),
    ],
)
def test_incomplete_sign_offs_are_refused(item, change, words):
    with pytest.raises(StudyError, match=words):
        _record_sign_off(empty_table("safety"), item, **(SIGNED | change))


def test_a_day_that_cannot_be_read_is_said():
    with pytest.raises(StudyError, match="The day of the test is 'soon'"):
        gate_of(on="soon")
