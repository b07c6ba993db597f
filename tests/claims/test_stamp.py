"""A claim is fixed before the data, or it is exploratory; a change after the stamp shows. Constructed cases."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panel.claims.claim import read_claims
from panel.claims.stamp import claim_seal, standing, with_claim
from panel.errors import StudyError
from panel.plan.codes import no_openings, note_opening
from panel.study.facts import LockedSession, with_lock
from tests.claims.claim_studies import BEFORE, OPENED, answer_rows, claim_row, study_with

ROW = {"claim": "feels soft", "kind": "agreement", "prototype": "P1", "question": "soft", "bar": 50}


def study(row=None, **how):
    return study_with([row or claim_row(**ROW)], answers=answer_rows(50, 60), **how)


def stands(row=None, **how):
    made = study(row, **how)
    return standing(made, read_claims(made)[0])


def test_fixed_before_the_unblinding_it_counts():
    found = stands()
    assert not found.exploratory
    assert found.words == (
        "Fixed on 2025-03-01 09:00:00 by panel leader, before the first unblinding (2025-04-01 09:00:00; "
        "the study states this day, no record says who opened the key)."
    )


def stamped(when, **change):
    row = ROW | {"stamped_at": when, "stamped_by": "panel leader"}
    return row | {"stamp": claim_seal(row)} | change


@pytest.mark.parametrize("when", [OPENED, "2025-04-02", "2026-01-01T00:00:00+00:00"])
def test_fixed_at_or_after_the_unblinding_it_is_exploratory(when):
    found = stands(stamped(when))
    assert found.exploratory
    assert "not before the first unblinding" in found.words


def test_a_time_with_an_offset_is_compared_in_the_same_zone():
    assert not stands(stamped("2025-04-01T09:30:00+02:00")).exploratory  # half past seven in UTC
    assert stands(stamped("2025-04-01T09:30:00-02:00")).exploratory


@pytest.mark.parametrize(
    "change",
    [{"bar": 40}, {"claim": "feels very soft"}, {"question": "dry"}, {"margin": 3}, {"stamped_at": "2025-02-01"},
     {"stamped_by": "somebody else"}, {"family": "mine"}, {"prototype": "P2"}],
)  # fmt: skip
def test_a_change_after_the_stamp_shows(change):
    found = stands(stamped(BEFORE, **change))
    assert found.exploratory
    assert "changed after it was stamped" in found.words


@pytest.mark.parametrize("missing", ["stamped_at", "stamped_by", "stamp"])
def test_without_a_stamp_it_is_exploratory(missing):
    assert stands(stamped(BEFORE, **{missing: ""})).exploratory


def test_where_and_by_whom_it_is_wanted_does_not_touch_the_stamp():
    assert not stands(stamped(BEFORE, media="pack", territory="EU", owner="brand")).exploratory


def test_the_first_unblinding_of_the_list_counts_and_the_list_must_be_whole():
    openings = note_opening(no_openings(), when="2025-02-01T08:00", who="physician", why="a rash")
    found = stands(unblindings=openings.to_dict("records"))
    assert found.exploratory
    assert "2025-02-01" in found.words
    broken = openings.assign(who="nobody")
    assert "list of unblindings was changed" in stands(unblindings=broken.to_dict("records")).words


def test_without_an_unblinding_the_first_score_counts():
    row = {"assessor": "A1", "prototype": "P1", "attribute": "GREASE", "score": 4.0}
    early, late = ({**row, "recorded_at": when} for when in ("2025-02-20T10:00", "2025-03-20T10:00"))
    assert not stands(facts={"unblinded_on": ""}, scores=[late]).exploratory
    found = stands(facts={"unblinded_on": ""}, scores=[late, early])
    assert found.exploratory
    assert "the first score or answer (2025-02-20 10:00; no unblinding is recorded)" in found.words
    assert stands(facts={"unblinded_on": "", "dates": {"home use": ["2025-02-03", "2025-02-09"]}}).exploratory


@pytest.mark.parametrize(
    ("clock", "when", "exploratory"),
    [
        ("08:00:00", "2025-02-20T12:30:00+00:00", False),  # five hours behind UTC, stamped before the first mark
        ("22:00:00", "2025-02-20T14:00:00+00:00", True),  # nine hours ahead, stamped after it
    ],
)
def test_of_a_locked_session_the_moment_in_its_record_counts(clock, when, exploratory):
    # the times of scores show the clock on the wall, the record knows the distance from UTC
    row = {"assessor": "A1", "prototype": "P1", "attribute": "GREASE", "score": 4.0, "session": "1"}
    row["recorded_at"] = f"2025-02-20T{clock}"
    locked = with_lock({}, LockedSession("1", "", "lead", "", "2025-02-20T13:00:00.000+00:00"))
    found = stands(stamped(when), facts={"unblinded_on": "", **locked}, scores=[row])
    assert found.exploratory is exploratory


def test_where_no_moment_is_recorded_nothing_is_taken_for_granted():
    found = stands(facts={"unblinded_on": ""})
    assert found.exploratory
    assert "records neither an unblinding nor when" in found.words


def test_a_moment_that_is_none_is_said():
    assert "which is no date" in stands(stamped("yesterday")).words


def test_a_claim_written_down_here_is_stamped_and_fits_its_seal():
    longer = with_claim(study(), ROW | {"claim": "drier", "minutes": None}, who=" panel leader ", when=BEFORE)
    claim = read_claims(longer)[1]
    assert (claim.claim, claim.stamped_by, claim.stamped_at) == ("drier", "panel leader", BEFORE)
    assert not standing(longer, claim).exploratory
    changed = longer.table("claims").assign(bar=10.0)
    tables = {**longer.tables, "claims": changed}
    assert standing(replace(longer, tables=tables), claim).exploratory is False  # what was read is what was sealed
    read_again = read_claims(replace(longer, tables=tables))[1]
    assert standing(replace(longer, tables=tables), read_again).exploratory


@pytest.mark.parametrize(
    ("row", "who", "words"),
    [
        (ROW, " ", "fixed by a named person"),
        (ROW | {"claim": ""}, "leader", "needs its sentence"),
        (ROW | {"kind": " "}, "leader", "needs its sentence"),
    ],
)
def test_a_claim_without_sentence_kind_or_name_is_not_written(row, who, words):
    with pytest.raises(StudyError, match=words):
        with_claim(study(), row, who=who, when=BEFORE)


def test_a_claim_is_stamped_at_a_moment():
    with pytest.raises(StudyError, match="which is no date"):
        with_claim(study(), ROW, who="leader", when="soon")


@given(st.text(max_size=30), st.floats(allow_nan=False, allow_infinity=False))
def test_the_seal_is_the_same_for_the_same_claim_and_another_for_another(text, bar):
    row = ROW | {"claim": text, "bar": bar}
    assert claim_seal(row) == claim_seal(dict(reversed(row.items())))
    assert claim_seal(row) != claim_seal(row | {"claim": f"{text}x"})
    assert claim_seal(row | {"margin": float("nan")}) == claim_seal(row) == claim_seal(row | {"margin": ""})
