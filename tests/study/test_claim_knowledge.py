"""Shared tables about claims: complete, every source explained, every rule one that a program can apply."""

import re

import pytest

from panel.claims.claim import NUMBERS, TEXTS
from panel.study.knowledge import claim_kinds, claim_stop_words, claim_wordings, sources, stop_patterns
from panel.study.tables import TABLES


@pytest.mark.parametrize("table", [claim_kinds, claim_wordings, claim_stop_words])
def test_every_source_is_explained(table):
    known = set(sources()["source"])
    assert {tag for cell in table()["source"] for tag in cell.split("; ")} <= known


@pytest.mark.parametrize("table", [claim_kinds, claim_wordings, claim_stop_words])
def test_a_table_is_a_copy(table):
    changed = table()
    changed.iloc[0, 0] = "changed"
    assert table().iloc[0, 0] != "changed"


def test_there_are_twelve_kinds_and_the_stop():
    kinds = claim_kinds()
    assert len(kinds) == 13
    assert kinds["kind"].is_unique
    assert "beyond_sensory" in set(kinds["kind"])
    assert (kinds[["words", "example", "minimum_design", "statistic", "refusal"]] != "").all(axis=None)


def test_what_a_kind_needs_is_a_column_of_the_table_of_claims():
    columns = set(TABLES["claims"].column_names)
    needed = {name for cell in claim_kinds()["needs"] for name in cell.split("; ") if name}
    assert needed <= columns
    assert columns == {*TEXTS, *NUMBERS}


def test_settings_are_numbers_where_they_are_there():
    kinds = claim_kinds().set_index("kind")
    assert kinds.loc["absolute_negative", "least_assessors"] == 8
    assert kinds.loc["agreement", "default_bar"] == 50


def test_every_pattern_compiles_and_every_severity_is_known():
    rules = claim_wordings()
    kinds = set(claim_kinds()["kind"])
    assert set(rules["severity"]) == {"change", "note"}
    for row in rules.to_dict("records"):
        re.compile(row["pattern"])
        named = {name for cell in (row["only_kinds"], row["not_kinds"]) for name in cell.split("; ") if name}
        assert named <= kinds, row["check"]
    assert (rules[["check", "message", "advice"]] != "").all(axis=None)


def test_stop_words_stand_alone_and_take_any_ending_where_they_say_so():
    found = {word: pattern for word, _, pattern in stop_patterns()}
    assert found["moistur*"].search("Moisturising")
    assert not found["treats"].search("retreats")
    assert not found["safe"].search("fail-safe")
    assert found["anti-age"].search("an anti-age cream")
    assert set(claim_stop_words()["category"]) == {"physiology", "medicine", "safety"}
