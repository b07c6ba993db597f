"""A claim is fixed before the data, or it is exploratory; a change after the stamp shows. Constructed cases."""

import shutil
import subprocess
from dataclasses import replace

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from panel.checks.all_checks import check_study
from panel.checks.moments_recorded import (
    GIVE_DAYS,
    NOT_SHOWN,
    NOT_STAMPED,
    STAMPED,
    claim_seal,
    first_broken_link,
    stamps_hash,
)
from panel.claims.claim import read_claims
from panel.claims.judge import judge_claims
from panel.claims.time_stamp import (
    page_to_sign,
    standing,
    time_stamp_request,
    with_claim,
    with_statements,
    with_withdrawn,
)
from panel.claims.verdict import WITHDRAWN
from panel.errors import StudyError
from panel.plan.codes import note_opening
from panel.study.study import empty_table
from tests.claims.claim_studies import BEFORE, OPENED, answer_rows, claim_row, study_with

ROW = {"claim": "feels soft", "kind": "agreement", "prototype": "P1", "question": "soft", "bar": 50}


def study(row=None, **how):
    return study_with([row or claim_row(**ROW)], answers=answer_rows(50, 60), **how)


def stands(row=None, **how):
    made = study(row, **how)
    return standing(made, read_claims(made)[0])


def test_fixed_before_the_unblinding_it_counts():
    found = stands()
    assert found[0] == STAMPED
    assert found[1] == (
        "Stamped on 2025-03-01 09:00:00 by panel leader, before the first unblinding (2025-04-01 09:00:00; "
        "the study states this day, no record says who opened the key)."
    )


def stamped(when, **change):
    row = ROW | {"stamped_at": when, "stamped_by": "panel leader"}
    return row | {"stamp": claim_seal(row)} | change


@pytest.mark.parametrize("when", [OPENED, "2025-04-02", "2026-01-01T00:00:00+00:00"])
def test_fixed_at_or_after_the_unblinding_it_is_exploratory(when):
    found = stands(stamped(when))
    assert found[0] == NOT_STAMPED
    assert "not before the first unblinding" in found[1]


def test_a_time_with_an_offset_is_compared_in_the_same_zone():
    assert stands(stamped("2025-04-01T09:30:00+02:00"))[0] == STAMPED  # half past seven in UTC
    assert stands(stamped("2025-04-01T09:30:00-02:00"))[0] == NOT_STAMPED


@pytest.mark.parametrize(
    "change",
    [{"bar": 40}, {"claim": "feels very soft"}, {"question": "dry"}, {"margin": 3}, {"stamped_at": "2025-02-01"},
     {"stamped_by": "somebody else"}, {"family": "mine"}, {"prototype": "P2"}],
)  # fmt: skip
def test_a_change_after_the_stamp_shows(change):
    found = stands(stamped(BEFORE, **change))
    assert found[0] == NOT_STAMPED
    assert "changed after it was stamped" in found[1]


@pytest.mark.parametrize("missing", ["stamped_at", "stamped_by", "stamp"])
def test_without_a_stamp_it_is_exploratory(missing):
    assert stands(stamped(BEFORE, **{missing: ""}))[0] == NOT_STAMPED


def test_where_and_by_whom_it_is_wanted_does_not_touch_the_stamp():
    assert stands(stamped(BEFORE, media="pack", territory="EU", owner="brand"))[0] == STAMPED


def test_the_first_unblinding_of_the_list_counts_and_the_list_must_be_whole():
    openings = note_opening(empty_table("unblindings"), when="2025-02-01T08:00", who="physician", why="a rash")
    found = stands(unblindings=openings.to_dict("records"))
    assert found[0] == NOT_STAMPED
    assert "2025-02-01" in found[1]
    broken = openings.assign(who="nobody")
    assert "list of unblindings was changed" in stands(unblindings=broken.to_dict("records"))[1]


def test_without_an_unblinding_the_first_score_counts():
    row = {"assessor": "A1", "prototype": "P1", "attribute": "GREASE", "score": 4.0}
    early, late = ({**row, "recorded_at": when} for when in ("2025-02-20T10:00", "2025-03-20T10:00"))
    assert stands(facts={"unblinded_on": ""}, scores=[late])[0] == STAMPED
    found = stands(facts={"unblinded_on": ""}, scores=[late, early])
    assert found[0] == NOT_STAMPED
    assert "the first score or answer (2025-02-20 10:00; no unblinding is recorded)" in found[1]
    assert stands(facts={"unblinded_on": "", "dates": {"home use": ["2025-02-03", "2025-02-09"]}})[0] == NOT_STAMPED


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
    entry = {"session": "1", "who": "lead", "begun_at": "2025-02-20T13:00:00.000+00:00"}
    found = stands(stamped(when), facts={"unblinded_on": "", "locked_sessions": [entry]}, scores=[row])
    assert (found[0] == NOT_STAMPED) is exploratory


def test_where_no_moment_is_recorded_nothing_is_taken_for_granted():
    found = stands(facts={"unblinded_on": ""})
    assert found[0] == NOT_SHOWN
    assert "records neither an unblinding nor when" in found[1]
    assert GIVE_DAYS in found[1]  # what to do about it
    dated = stands(facts={"unblinded_on": "", "dates": {"": "2025-03-04"}})
    assert dated[0] == STAMPED


PANEL_CLAIM = claim_row("less greasy than P2", "superiority", attribute="GREASE", versus="P2")


@pytest.mark.parametrize(
    ("days", "word"),
    [
        ({}, NOT_SHOWN),  # nothing is dated
        ({"2": "2025-03-20"}, NOT_SHOWN),  # the first session may have come before the stamp
        ({"1": "2025-03-19", "2": "2025-03-20"}, STAMPED),
        ({"session": ["2025-03-19", "2025-03-20"]}, NOT_SHOWN),  # a label that stands for neither
        ({"1": "2025-02-19"}, NOT_STAMPED),  # one session before the stamp is enough
    ],
)
def test_each_session_behind_a_claim_of_the_panel_has_to_show_its_day(days, word):
    row = {"assessor": "A1", "prototype": "P1", "attribute": "GREASE", "score": 4.0}
    scores = [row | {"session": session} for session in ("1", "2")]
    found = stands(PANEL_CLAIM, facts={"unblinded_on": "", "dates": days}, scores=scores)
    assert found[0] == word
    assert (GIVE_DAYS in found[1]) is (word == NOT_SHOWN)


def test_a_moment_that_is_none_is_said():
    assert "which is no date" in stands(stamped("yesterday"))[1]


def test_a_claim_written_down_here_is_stamped_and_fits_its_seal():
    longer = with_claim(study(), ROW | {"claim": "drier", "minutes": None}, who=" panel leader ", when=BEFORE)
    claim = read_claims(longer)[1]
    assert (claim.claim, claim.stamped_by, claim.stamped_at) == ("drier", "panel leader", BEFORE)
    assert standing(longer, claim)[0] == STAMPED
    changed = longer.table("claims").assign(bar=10.0)
    tables = {**longer.tables, "claims": changed}
    assert standing(replace(longer, tables=tables), claim)[0] == STAMPED  # what was read is what was sealed
    read_again = read_claims(replace(longer, tables=tables))[1]
    assert standing(replace(longer, tables=tables), read_again)[0] == NOT_STAMPED


@pytest.mark.parametrize(
    ("row", "who", "words"),
    [
        (ROW, " ", "stamped by a named person"),
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


def two_claims():
    first = with_claim(study(), ROW | {"claim": "drier"}, who="leader", when=BEFORE)
    return with_claim(first, ROW | {"claim": "silkier"}, who="leader", when=BEFORE)


def changed(made, row, **cells):
    claims = made.table("claims").copy()
    for name, value in cells.items():
        claims.loc[row, name] = value
    return replace(made, tables={**made.tables, "claims": claims})


def test_stamps_are_chained_so_that_one_written_anew_shows():
    made = two_claims()
    assert first_broken_link(made.table("claims")) is None
    row = made.table("claims").iloc[1].to_dict() | {"bar": 60.0}
    forged = changed(made, 1, bar=60.0, stamp=claim_seal(row))  # its own seal fits again
    assert first_broken_link(forged.table("claims")) == 1
    claims = read_claims(forged)
    assert "chain of stamps is broken before claim 2" in standing(forged, claims[1])[1]
    assert standing(forged, claims[1])[0] == NOT_STAMPED
    gone = made.table("claims").drop(index=1).reset_index(drop=True)
    assert first_broken_link(gone) == 1


def test_a_broken_chain_and_a_changed_claim_are_findings_with_place_and_advice():
    made = two_claims()
    kinds = ("stamp_chain_broken", "claim_changed_after_stamp")
    assert not [each for each in check_study(made) if each.kind in kinds]
    row = made.table("claims").iloc[1].to_dict() | {"bar": 60.0}
    forged = changed(made, 1, bar=60.0, stamp=claim_seal(row))
    found = {each.kind: each for each in check_study(changed(forged, 2, bar=70.0)) if each.kind in kinds}
    assert found["stamp_chain_broken"].where == "claims, row 2, column chain"
    assert "Go back to the table of claims as it was stamped." in found["stamp_chain_broken"].advice
    assert found["claim_changed_after_stamp"].where == "claims, row 3, column stamp"
    assert "stamp the new ones as another claim" in found["claim_changed_after_stamp"].advice
    assert all(each.severity == "warning" for each in found.values())


def test_a_claim_is_withdrawn_with_a_reason_and_stays():
    made = with_withdrawn(two_claims(), 2, who="brand owner", when="2025-05-01T10:00:00", why="not needed")
    assert len(made.table("claims")) == 3
    found = judge_claims(made)
    assert found.claims["verdict"].iloc[1] == WITHDRAWN
    reason = found.reasons.loc[found.reasons["number"] == 2, "reason"].iloc[0]
    assert reason == "Withdrawn on 2025-05-01 10:00:00 by brand owner: not needed"
    assert found.claims["family"].iloc[1] == found.claims["family"].iloc[0]  # its test was made, and counts
    assert first_broken_link(made.table("claims")) is None
    with pytest.raises(StudyError, match="Claim 2 is withdrawn already"):
        with_withdrawn(made, 2, who="brand owner", when=BEFORE, why="again")


@pytest.mark.parametrize(
    ("number", "who", "why", "words"),
    [
        (9, "owner", "x", r"There is no claim 9. Choose one of the 3"),
        (1, " ", "x", "by a named person, with a reason"),
        (1, "owner", " ", "by a named person, with a reason"),
    ],
)
def test_a_withdrawal_needs_claim_name_and_reason(number, who, why, words):
    with pytest.raises(StudyError, match=words):
        with_withdrawn(two_claims(), number, who=who, when=BEFORE, why=why)


def test_a_request_for_a_time_stamp_is_what_rfc_3161_asks_for():
    digest = stamps_hash(two_claims().table("claims"))
    request = time_stamp_request(digest)
    # byte by byte from RFC 3161, 2.4.1, and the algorithm identifier of RFC 5754, 2.2: version 1; SHA-256 with NULL;
    # the hash; certReq TRUE
    expected = "3039020101" + "3031" + "300d" + "0609608648016503040201" + "0500" + "0420" + digest + "0101ff"
    assert request.hex() == expected
    openssl = shutil.which("openssl")
    if openssl:  # a second reader
        told = subprocess.run(
            [openssl, "ts", "-query", "-in", "/dev/stdin", "-text"], input=request, capture_output=True, check=True
        ).stdout.decode()
        assert "Version: 1" in told
        assert "sha256" in told.casefold()
        assert "Certificate required: yes" in told


def test_the_page_to_sign_names_every_claim_and_the_hash():
    made = two_claims()
    page = page_to_sign(made)
    assert "2. “drier”, stamped at 2025-03-01 09:00:00 by leader" in page
    assert stamps_hash(made.table("claims")) in page
    assert "self-declaration" in page
    assert stamps_hash(made.table("claims")) != stamps_hash(changed(made, 2, stamp="0" * 64).table("claims"))


def test_the_first_score_of_its_own_evidence_is_the_limit_where_it_is_known():
    row = {"assessor": "A1", "prototype": "P1", "attribute": "GREASE", "score": 4.0}
    scored = [row | {"recorded_at": "2025-02-20T10:00:00"}]  # before the stamp, the unblinding is later
    assert stands(scores=scored)[0] == STAMPED  # rests on answers
    claim = {"claim": "less greasy", "kind": "superiority", "prototype": "P1", "versus": "P2", "attribute": "GREASE"}
    found = stands(claim_row(**claim), scores=scored)
    assert found[0] == NOT_STAMPED
    assert "not before the first score or answer behind it (2025-02-20 10:00:00)" in found[1]


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"kind": "comparison"}, "The kind 'comparison' is not known. Choose one of: agreement"),
        ({"prototype": "P9"}, "The prototype 'P9' is not in the study. Choose among P1"),
        ({"versus": "Px"}, "The prototype 'Px' is not in the study"),
        ({"attribute": "shine"}, "The attribute 'shine' is not in the study. Choose among "),
        ({"question": "soft as silk"}, "Nobody answered the question 'soft as silk'. Choose among soft"),
    ],
)
def test_a_statement_of_what_there_is_not_is_refused_before_it_is_stamped(wrong, told):
    made = study()
    listed = empty_table("attributes").assign(attribute=["glide"]).fillna({"unit": "", "name": ""})
    made = replace(made, tables={**made.tables, "attributes": listed})
    texts = pd.DataFrame([ROW | {"claim": "soft"}, ROW | wrong]).fillna("").astype("str")
    with pytest.raises(StudyError) as refused:
        with_statements(made, texts, "leader", BEFORE)
    assert str(refused.value).startswith("Nothing was stamped. Row 2: ")
    assert told in str(refused.value)
    assert len(made.table("claims")) == 1


def test_what_is_still_to_come_may_be_stamped_and_signs_do_not_hide_a_question():
    texts = pd.DataFrame([ROW | {"question": "Soft?"}]).astype("str")
    assert with_statements(study(), texts, "leader", BEFORE).table("claims")["question"].tolist() == ["soft", "soft"]
    later = texts.assign(question="Would you buy it?")
    nobody = study_with([claim_row(**ROW)], answers=[])
    assert with_statements(nobody, later, "leader", BEFORE).table("claims")["question"].iloc[1] == "Would you buy it?"
    planned = replace(study(), facts={**study().facts, "questions": [{"question": "Would you buy it"}]})
    assert with_statements(planned, later, "leader", BEFORE).table("claims")["question"].iloc[1] == "Would you buy it"


@pytest.mark.parametrize(("ends", "told"), [({}, "agreed or agreed strongly"), ({"high_end": "yes"}, "said yes")])
def test_a_yes_is_told_as_a_yes(ends, told):
    made = study()
    made = replace(made, facts={**made.facts, "questions": [{"question": "soft", "kind": "agreement", **ends}]})
    found = judge_claims(made)
    said = " ".join([*found.reasons["reason"], *found.claims["footnote"]])
    assert f"50 of 60 (83.3 %) {told} (" in said
    other = {"agreed or agreed strongly", "said yes"} - {told}
    assert other.pop() not in said


@pytest.mark.parametrize("typed", ["soft", "Soft?", "soft."])
def test_a_stamped_question_is_found_with_or_without_its_last_sign_and_keeps_its_seal(typed):
    made = study_with(
        [stamped(BEFORE) | {"question": typed} | {"stamp": claim_seal(stamped(BEFORE) | {"question": typed})}],
        answers=answer_rows(50, 60),
    )
    (claim,) = read_claims(made)
    assert claim.question == "soft"
    assert not claim.problems
    assert standing(made, claim)[0] == STAMPED
