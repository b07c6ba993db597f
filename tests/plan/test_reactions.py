"""Adverse reactions: recorded with all that is needed, never changed, and they freeze batches until settled."""

import pytest

from panel.errors import StudyError
from panel.plan.safety import record_reaction, settle_reaction, unsettled_reactions, when_to_stop
from panel.study.study import Study, empty_table
from tests.studies import small_study

FACTS = {
    "when": "2025-03-14T10:20",
    "who": "panel leader",
    "signs": "burning after 4 min, red patch of 3 cm",
    "severity": "moderate",
    "action": "rinsed, sent to a physician",
}
SETTLED = {"when": "2025-03-15", "who": "Dr B", "action": "unrelated", "document": "report 7"}


def study_with(entries):
    study = small_study()
    return Study({**study.tables, "reactions": entries}, study.facts)


def frozen(entries):
    return unsettled_reactions(study_with(entries))["batch"].tolist()


def test_a_reaction_freezes_its_batch_until_it_is_settled():
    entries = record_reaction(empty_table("reactions"), **FACTS, assessor="A03", prototype="P2", batch="P2-1")
    assert frozen(entries) == ["P2-1"]
    settled = settle_reaction(entries, "1", **SETTLED)
    assert frozen(settled) == []
    assert settled.iloc[:1].equals(entries)  # the first entry stays as it was
    assert settled.iloc[1][["batch", "signs", "settled"]].tolist() == ["P2-1", FACTS["signs"], "yes"]


def test_without_a_batch_all_that_it_may_have_been_is_frozen():
    assert frozen(record_reaction(empty_table("reactions"), **FACTS, prototype="P2")) == ["P2-1"]
    assert len(frozen(record_reaction(empty_table("reactions"), **FACTS))) == 4
    assert frozen(record_reaction(empty_table("reactions"), **FACTS, prototype="P2", batch="unknown")) == ["P2-1"]
    assert len(frozen(record_reaction(empty_table("reactions"), **FACTS, batch="unknown"))) == 4


def test_each_reaction_has_its_number_and_is_settled_by_itself():
    entries = record_reaction(empty_table("reactions"), **FACTS, batch="P1-1")
    entries = record_reaction(entries, **FACTS, batch="P2-1")
    assert entries["reaction"].tolist() == ["1", "2"]
    assert frozen(settle_reaction(entries, "1", **SETTLED)) == ["P2-1"]


def test_a_study_without_the_table_has_none():
    assert not len(unsettled_reactions(small_study()))


@pytest.mark.parametrize("missing", ["when", "who", "signs", "action"])
def test_a_reaction_needs_time_person_signs_and_action(missing):
    with pytest.raises(StudyError, match="time, person, signs and what was done"):
        record_reaction(empty_table("reactions"), **(FACTS | {missing: " "}))


def test_other_mistakes_are_said():
    with pytest.raises(StudyError, match="The severity 'bad' is not known"):
        record_reaction(empty_table("reactions"), **(FACTS | {"severity": "bad"}))
    with pytest.raises(StudyError, match="which is no date"):
        record_reaction(empty_table("reactions"), **(FACTS | {"when": "this morning"}))
    with pytest.raises(StudyError, match="There is no reaction '7' on record"):
        settle_reaction(empty_table("reactions"), "7", **SETTLED)
    entries = record_reaction(empty_table("reactions"), **FACTS)
    with pytest.raises(StudyError, match="what was concluded and the document"):
        settle_reaction(entries, "1", **(SETTLED | {"document": ""}))


def test_when_to_stop_is_at_hand():
    assert "see a physician" in when_to_stop()
