"""The safety gate: what is missing and who must sign it, read from the record; it never says more than was signed."""

from panel.checks.all_checks import readiness
from panel.plan.protocol import read_protocol
from panel.plan.safety import _record_sign_off, record_reaction, safety_gate
from panel.study.knowledge import shared_table
from panel.study.naming import Naming
from panel.study.shown import shown
from panel.study.study import Study, empty_table
from panel.views.planning.safety import _READY, GATE, MISSING, PROTOCOL, REACTIONS, checklist, tell_gate
from tests.checks.test_readiness import signed
from tests.studies import small_study
from tests.views.examples import words_covering_words, words_outside

DAY, NAMES = "2025-03-13T10:00", Naming()
SIGNED = {"who": "Dr A", "role": "safety assessor", "date": "2025-03-10", "document": "binder 4"}
ONE = _record_sign_off(empty_table("safety"), "preservation", **SIGNED)


def study(entries=ONE):
    found = small_study({"dose": "40 mg"})
    return Study({**found.tables, "safety": entries}, found.facts)


def told(entries):
    return tell_gate(safety_gate(study(entries), DAY), NAMES)


def test_closed_open_and_still_open_are_told_apart():
    count = len(shared_table("safety_gate"))
    assert told(empty_table("safety")).headline == (
        f"The ballots stay closed for all 4 batches: {count} items are not signed (to be signed by: qualified safety "
        "assessor, regulatory professional, microbiologist and 6 more)."
    )
    everything = signed()
    assert told(everything).headline == "The ballots may open for all 4 batches: a named person signed every item."
    without = told(everything.loc[everything["item"] != "ethics_review"])
    assert without.headline.startswith("The ballots stay closed for all 4 batches: 1 item is not signed")
    assert set(shown(GATE, without.result, NAMES)["Safety gate"]) == {"closed: something is open"}
    one = told(everything.loc[~((everything["item"] == "batch_identity") & (everything["batch"] == "P3-1"))])
    assert one.headline.startswith(
        "The ballots stay closed for batch P3-1: 1 item is not signed (to be signed by: maker"
    )


def test_what_is_missing_names_who_must_sign():
    gate = safety_gate(study(), DAY)
    table = shown(MISSING, gate, NAMES).set_index("Item")
    assert len(table) == len(shared_table("safety_gate")) - 1
    assert "Preservation shown" not in table.index
    row = table.loc["Microbial count of the batch"]
    assert row.tolist() == ["microbiologist or safety assessor", "not signed", "all 4 batches"]


def test_a_frozen_batch_is_named_with_its_reason():
    facts = {"when": "2025-03-13T09:00", "who": "leader", "signs": "hives", "severity": "serious", "action": "rinsed"}
    found = study(signed())
    found = Study(
        {**found.tables, "reactions": record_reaction(empty_table("reactions"), **facts, batch="P2-1")}, found.facts
    )
    frozen = tell_gate(safety_gate(found, DAY), NAMES)
    assert frozen.headline == "The ballots stay closed for batch P2-1: a reaction is not settled."
    assert frozen.mind == ("P2-1 is frozen: the reaction of somebody on 2025-03-13T09:00 is not settled.",)
    entries = shown(REACTIONS, found.table("reactions"), NAMES)
    assert entries[["Signs", "Batch; prototype"]].to_numpy().tolist() == [["hives", "P2-1; –"]]
    assert shown(REACTIONS, empty_table("reactions"), NAMES).empty


def test_without_batches_nothing_may_be_applied():
    found = small_study(batches=None)
    assert tell_gate(safety_gate(found, DAY), NAMES).headline.startswith("The ballots stay closed: no batches")


def test_what_it_does_not_replace_comes_first_and_nothing_is_said_twice():
    words = [
        str(item) for each in told(empty_table("safety")).every_drawer() for item in each.items if isinstance(item, str)
    ]
    assert words[1] == (
        "This record does not replace a safety assessor, a physician, an ethics committee or local law."
    )
    assert not any("Not a safety assessment." in line for line in words)  # it stands under every page


def test_the_picture_shows_what_is_missing_and_is_not_there_when_nothing_is():
    assert told(signed()).picture is None
    picture = told(ONE).picture
    words = [text.get_text() for text in picture.figure().axes[0].texts]
    assert words.count("signed") == 4
    assert words[words.index("Preservation shown") + 1] == "signed"
    assert "Preservation shown: 4 of 4" in picture.alt
    assert "Microbial count of the batch: 0 of 4" in picture.alt
    assert words_outside(picture.figure()) == []
    assert words_covering_words(picture.figure()) == []


def test_the_checklist_says_who_signed_and_what_is_missing():
    table = shown(checklist("P2-1"), safety_gate(study(), DAY), NAMES).set_index("Item")
    assert len(table) == len(shared_table("safety_gate"))
    expected = ["all batches", "signed", "Dr A, safety assessor", "2025-03-10", "binder 4"]
    assert table.loc["Preservation shown"].tolist() == expected
    assert table.loc["Informed consent signed by everybody"].tolist() == ["all batches", "not signed", "–", "–", "–"]
    assert table.loc["Microbial count of the batch", "For"] == "batch P2-1"


def test_readiness_shows_numbers_and_reasons():
    ready = readiness(study(), DAY)
    table = shown(_READY, ready, NAMES)
    assert table["Age at least"].tolist() == ["72 h", "48 h", "48 h", "72 h"]
    assert table["Ready"].tolist() == ["no"] * 4
    assert table["What is missing"].iloc[0] == "the safety gate is closed"
    later = shown(_READY, ready.assign(age_hours=[71.6, 95.9, 96.0, 1159.0]), NAMES)
    assert later["Age at least"].tolist() == ["72 h", "96 h", "4 days", "48 days"]  # 1159 / 24 = 48.3
    none = shown(_READY, readiness(small_study(batches=None), "2025-03-13"), NAMES)
    assert none["Age at least"].tolist() == ["–"] * 4
    drawers = {each.title for each in tell_gate(safety_gate(study(), DAY), NAMES, ready, DAY).every_drawer()}
    assert "Ready to be served?" in drawers


def test_the_protocol_card_holds_nothing_as_done_that_the_study_does_not_state():
    table = shown(PROTOCOL, read_protocol(study()), NAMES).set_index("Item")
    usual = "Usual for a cream on forearm or hand"
    assert table.loc["Dose", ["Here", usual]].tolist() == ["40 mg", ""]
    assert table.loc["Area", ["Here", usual]].tolist() == [
        "not stated",
        "circle of 5 cm diameter (19.6 cm²) (from memory)",
    ]
    assert set(table["Here"]) == {"40 mg", "not stated"}
