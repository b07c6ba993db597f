"""How sentences write shares (cut, never rounded up; common practice, no source), and what is offered to be printed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panel.claims import wording
from panel.claims.claim import read_claims
from panel.claims.judge import _find_evidence
from panel.claims.materials import Materials
from panel.words import cut_share, less_of
from tests.claims.claim_studies import claim_row, panel_scores, seeded, study_with, words_judge


@pytest.mark.parametrize(("share", "text"), [(0.797, "79 %"), (0.29, "29 %"), (1.0, "100 %"), (0.9999, "99 %")])
def test_shares_are_cut(share, text):
    assert cut_share(share) == text


@given(st.integers(0, 500), st.integers(1, 500))
def test_a_share_is_never_above_the_count(x, n):
    assert int(cut_share(min(x, n) / n).split()[0]) * n <= 100 * min(x, n)


STROKES = {"attribute": "STROKES", "name": "strokes until even", "direction": "less"}


@pytest.mark.parametrize(
    ("row", "offered"),
    [
        ({"kind": "superiority", "versus": "P2"}, "fewer strokes until even than our current body lotion"),
        (
            {"kind": "ranking", "competitors": "P2; P3; P4"},
            "fewer strokes until even than the other three body lotions tested",
        ),
        (
            {"kind": "unsurpassed", "competitors": "P2; P3; P4", "margin": 5},
            "not more strokes until even than the other three body lotions tested",
        ),
        ({"kind": "ranking", "competitors": "P2; P3"}, "fewer strokes until even than our current body lotion and P3"),
    ],
)
def test_what_is_offered_can_be_printed_and_the_reader_of_sentences_holds_it_too(row, offered, monkeypatch):
    """Rules of English and of packs: what is counted is fewer, and no name of a trial formula where all were tried."""
    means = {"P1": 20, "P2": 50, "P3": 45, "P4": 40}
    claim = claim_row("x", row.pop("kind"), attribute="STROKES", **row)
    study = study_with(
        [claim],
        scores=panel_scores({"STROKES": means}, seeded(), scatter=3.0, own_view=1.0),
        attributes=[STROKES],
        names={"P1": "new body lotion", "P2": "current body lotion"},
        facts={"title": "Body lotion"},
    )
    assert _find_evidence(*_claim_of(study)).suggestion == offered
    monkeypatch.setattr(wording, "_said_by_the_tool", lambda *_: False)  # else it is held because it was offered
    holds = words_judge(study, claim)
    assert holds(offered)
    assert not holds(offered.replace("fewer", "many more").replace("not more", "fewer"))


def _claim_of(study):
    claims = read_claims(study)
    return claims[0], Materials(study, claims)


@pytest.mark.parametrize(
    ("name", "word"),
    [
        ("strokes until even", "fewer"),
        ("white marks on a cloth", "fewer"),
        ("hard patches", "fewer"),
        ("gloss of the hands", "less"),
        ("softness", "less"),
        ("waxiness on the own forearm", "less"),
        ("white film on the arms", "less"),
        ("time until it softens", "less"),
    ],
)
def test_what_is_counted_is_fewer_and_what_is_measured_less(name, word):
    """Common English: fewer before a noun in the plural."""
    assert less_of(name) == word
