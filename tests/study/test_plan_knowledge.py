"""Shared tables for planning: complete, and every source explained."""

import pytest

from panel.study.knowledge import shared_table
from panel.study.tables import TABLES


@pytest.mark.parametrize("table", ["safety_gate", "protocol", "stage_times", "allergen_words"])
def test_every_source_is_explained(table):
    known = set(shared_table("sources")["source"])
    tags = {tag for cell in shared_table(table)["source"] for tag in cell.split("; ")}
    assert tags <= known
    assert (shared_table(table)["source"] != "").all()


def test_the_safety_items_are_complete():
    items = shared_table("safety_gate")
    assert items["item"].is_unique
    assert len(items) >= 10
    assert set(items["scope"]) == {"study", "batch"}
    assert set(items["needed"]) == {"always", "unless stated"}
    assert (items[["words", "detail", "signed_by", "basis"]] != "").all(axis=None)
    # what nobody may do without: an assessment, preservation, consent, a plan for reactions
    always = set(items.loc[items["needed"] == "always", "item"])
    assert {"safety_assessment", "preservation", "skin_tolerance", "informed_consent", "reaction_plan"} <= always


def test_the_protocol_has_a_usual_value_for_everything():
    items = shared_table("protocol")
    assert items["item"].is_unique
    assert (items[["words", "usual"]] != "").all(axis=None)
    assert {"dose", "area", "strokes", "times", "room"} <= set(items["item"])


def test_stage_times_cover_the_stages_and_agree_with_the_lexicon():
    times = shared_table("stage_times").set_index("stage")
    assert set(times.index) == set(TABLES["attributes"].column("stage").choices)
    known = shared_table("lexicon")
    for stage, rows in known.loc[known["minutes"].notna()].groupby("stage"):
        assert set(rows["minutes"]) == {times.loc[stage, "minutes"]}


def test_what_is_returned_is_a_copy():
    changed = shared_table("safety_gate")
    changed.loc[0, "needed"] = "never"
    assert "never" not in set(shared_table("safety_gate")["needed"])
