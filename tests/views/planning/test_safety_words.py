"""The safety gate in words."""

from panel.checks.all_checks import readiness
from panel.plan.safety import no_reactions, no_sign_offs, record_reaction, safety_gate
from panel.study.study import Study
from panel.views.planning.safety import what_is_ready, what_the_gate_cannot_say, what_the_gate_says
from tests.checks.test_readiness import signed
from tests.studies import small_study

DAY = "2025-03-13T10:00"


def study(entries):
    found = small_study()
    return Study({**found.tables, "safety": entries}, found.facts)


def test_closed_open_and_still_open_are_told_apart():
    everything = signed()
    lines = what_the_gate_says(safety_gate(study(no_sign_offs()), DAY))
    assert lines[0] == "The safety gate is closed for all 4 batches. Nobody may apply it."
    assert "Preservation shown: not signed (all 4 batches)." in lines
    lines = what_the_gate_says(safety_gate(study(everything), DAY))
    assert lines == ["The safety gate is open for all 4 batches: every item is signed by a named person."]
    without = everything.loc[everything["item"] != "ethics_review"]
    lines = what_the_gate_says(safety_gate(study(without), DAY))
    assert lines[0].startswith("The safety gate is closed for all 4 batches: all that is always needed is signed")
    one = everything.loc[~((everything["item"] == "batch_identity") & (everything["batch"] == "P3-1"))]
    lines = what_the_gate_says(safety_gate(study(one), DAY))
    assert lines[0] == "The safety gate is closed for batch P3-1. Nobody may apply it."
    assert lines[1].startswith("The safety gate is open for batches P1-1, P2-1 and P4-1")


def test_a_frozen_batch_is_named_with_its_reason():
    facts = {"when": "2025-03-13T09:00", "who": "leader", "signs": "hives", "severity": "serious", "action": "rinsed"}
    found = study(signed())
    found = Study({**found.tables, "reactions": record_reaction(no_reactions(), **facts, batch="P2-1")}, found.facts)
    lines = what_the_gate_says(safety_gate(found, DAY))
    assert lines[0] == "The safety gate is closed for batch P2-1. Nobody may apply it."
    assert "P2-1 is frozen: the reaction of somebody on 2025-03-13T09:00 is not settled." in lines


def test_what_it_does_not_replace_comes_first():
    words = what_the_gate_cannot_say(safety_gate(study(no_sign_offs()), DAY))
    assert words[0] == (
        "This record does not replace a safety assessor, a physician, an ethics committee or local law."
    )


def test_what_is_ready_and_why_the_rest_is_not():
    assert what_is_ready(readiness(study(signed()), DAY)) == "Ready on 2025-03-13T10:00: P1, P2, P3 and P4."
    said = what_is_ready(readiness(study(no_sign_offs()), DAY))
    assert said.startswith("Nothing is ready on 2025-03-13T10:00. Not ready: P1 (the safety gate is red);")
    assert what_is_ready(readiness(Study({}), DAY)) == "There are no prototypes yet."
