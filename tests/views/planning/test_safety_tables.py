"""Safety, readiness, reactions and protocol as tables."""

from panel.checks.all_checks import readiness
from panel.plan.protocol import read_protocol
from panel.plan.safety import no_reactions, no_sign_offs, record_reaction, record_sign_off, safety_gate
from panel.study.knowledge import safety_items
from panel.study.study import Study
from panel.views.planning.safety import checklist_table, gate_table, protocol_table, reactions_table, readiness_table
from tests.studies import small_study

SIGNED = {"who": "Dr A", "role": "safety assessor", "date": "2025-03-10", "document": "binder 4"}
ONE = record_sign_off(no_sign_offs(), "preservation", **SIGNED)


def study(signed=ONE):
    found = small_study({"dose": "40 mg"})
    return Study({**found.tables, "safety": signed}, found.facts)


def test_each_batch_has_its_colour_in_words():
    table = gate_table(safety_gate(study(), "2025-03-13"))
    assert table["Safety gate"].tolist() == ["red: closed"] * 4
    assert table["Items missing"].tolist() == [f"{len(safety_items()) - 1}"] * 4


def test_the_checklist_says_who_signed_and_what_is_missing():
    table = checklist_table(safety_gate(study(), "2025-03-13"), "P2-1").set_index("Item")
    assert len(table) == len(safety_items())
    signed = table.loc["Preservation shown"]
    assert signed.tolist() == ["all batches", "signed", "Dr A, safety assessor", "2025-03-10", "binder 4"]
    assert table.loc["Informed consent signed by everybody"].tolist() == ["all batches", "not signed", "–", "–", "–"]
    assert table.loc["Microbial count of the batch", "For"] == "batch P2-1"


def test_readiness_shows_numbers_and_reasons():
    table = readiness_table(readiness(study(), "2025-03-13T10:00"))
    assert table["Age at least"].tolist() == ["72 h", "48 h", "48 h", "72 h"]
    assert table["Ready"].tolist() == ["not ready"] * 4
    assert table["What is missing"].iloc[0] == "the safety gate is red"
    none = readiness_table(readiness(small_study(batches=None), "2025-03-13"))
    assert none["Age at least"].tolist() == ["–"] * 4
    assert none["Batch"].tolist() == ["–"] * 4


def test_reactions_are_shown_entry_by_entry():
    entries = record_reaction(
        no_reactions(), when="2025-03-14T10:20", who="leader", signs="burning", severity="mild", action="rinsed"
    )
    table = reactions_table(entries)
    assert table["Signs"].tolist() == ["burning"]
    assert table["Batch"].tolist() == ["–"]
    assert reactions_table(no_reactions()).empty


def test_the_protocol_card_says_what_is_stated_and_what_is_only_usual():
    table = protocol_table(read_protocol(study())).set_index("Item")
    assert table.loc["Dose", ["Here", "Stated"]].tolist() == ["40 mg", "by the study"]
    assert table.loc["Area", "Stated"] == "usual value, not stated"
    assert "from memory" in table.loc["Area", "Basis of the usual value"]
