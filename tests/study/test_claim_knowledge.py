"""Shared tables about claims: complete, every source explained, every rule one that a program can apply."""

import re

import pytest
from scipy.stats import binom

from panel.claims.claim import _NUMBERS, _TEXTS
from panel.claims.parts import entries_at, whole_words, words_of
from panel.claims.wording import _refused_words
from panel.study.knowledge import shared_table
from panel.study.tables import TABLES
from tests.study.small_study import shared


def refused():
    return shared("claim_refused_en")


ABOUT_CLAIMS = ["claim_kinds", "claim_words_en", "claim_sayings_en", "claim_floors"]


@pytest.mark.parametrize("table", [*ABOUT_CLAIMS, "claim_refused_en"])
def test_every_source_is_explained(table):
    known = set(shared_table("sources")["source"])
    assert {tag for cell in shared_table(table)["source"] for tag in cell.split("; ")} <= known


@pytest.mark.parametrize("table", ABOUT_CLAIMS)
def test_a_table_is_a_copy(table):
    changed = shared_table(table)
    changed.iloc[0, 0] = "changed"
    assert shared_table(table).iloc[0, 0] != "changed"


def test_there_are_twelve_kinds_and_the_stop():
    kinds = shared_table("claim_kinds")
    assert len(kinds) == 13
    assert kinds["kind"].is_unique
    assert "beyond_sensory" in set(kinds["kind"])
    assert (kinds[["words", "example", "minimum_design", "statistic", "refusal"]] != "").all(axis=None)


def test_what_a_kind_needs_is_a_column_of_the_table_of_claims():
    columns = set(TABLES["claims"].column_names)
    needed = {name for cell in shared_table("claim_kinds")["needs"] for name in cell.split("; ") if name}
    assert needed <= columns
    assert columns == {*_TEXTS, *_NUMBERS, "chain"}  # the seal is of all of them


def test_settings_are_numbers_where_they_are_there():
    kinds = shared_table("claim_kinds").set_index("kind")
    assert kinds.loc["absolute_negative", "least_assessors"] == 8
    assert kinds.loc["agreement", "default_bar"] == 50


def test_refused_words_are_explained_and_stop_or_change():
    table = refused()
    assert table["phrase"].is_unique
    stops = table["category"].isin(["physiology", "medicine", "safety"])
    assert {"physiology", "medicine", "safety"} <= set(table["category"])
    assert (table.loc[~stops, ["message", "advice"]] != "").all(axis=None)


def test_refused_words_stand_alone_and_take_any_ending_where_they_say_so():
    assert {"moistur*", "treats", "anti age"} <= {row["phrase"] for row in _refused_words()}
    assert re.search(whole_words("moistur*"), "moisturising")
    assert not re.search(whole_words("treats"), "retreats")
    assert re.search(whole_words("anti age"), "an anti age cream")


def test_no_refused_word_is_a_word_of_the_grammar_that_would_let_it_pass():
    # a refused phrase may hold such a word (up to, any other), but never stand in the table of words as a whole
    stops = shared("claim_refused_en").loc[
        shared("claim_refused_en")["category"].isin(["physiology", "medicine", "safety"]), "phrase"
    ]
    words = {stop: words_of(stop) for stop in stops}
    assert [stop for stop, own in words.items() if any(n == len(own) for n, _ in entries_at(own, 0))] == []


def test_how_many_people_a_claim_of_a_time_takes():
    """The share of people within the time is tested against nine in ten, exactly and one-sided at 5 %."""
    least = [next(n for n in range(1, 99) if binom.cdf(late, n, 0.1) < 0.05) for late in (0, 1)]
    kinds = shared_table("claim_kinds").set_index("kind")
    told = kinds.loc["time", "minimum_design"]
    assert f"takes {least[0]} people if all are, {least[1]} if one is not" in told
