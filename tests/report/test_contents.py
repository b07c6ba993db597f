"""The content of the evidence file: the parts in order, gaps named, every number with an id of its own."""

from __future__ import annotations

import hashlib
import shlex
from datetime import date

import numpy as np
import pandas as pd
import pytest
from click import Context
from hypothesis import given
from hypothesis import strategies as st

from panel.answers import Answers, NoAnswer
from panel.app import places
from panel.app.guide import EDITORS
from panel.ballots.rehearsal import _to_rehearse
from panel.claims.judge import CLAIMS
from panel.cli import main
from panel.errors import StudyError
from panel.models.decision.decide import with_decision
from panel.plan.codes import note_opening
from panel.plan.safety import _record_sign_off, record_reaction
from panel.report.contents.blocks import (
    Numbers,
    TextTable,
    Words,
    _id_part,
    _row_ids,
    number_id,
)
from panel.report.contents.evidence import evidence_report, mended_at, report_of
from panel.report.contents.part_claims import evidence_matrix
from panel.report.contents.part_study import _first_test_day, last_score
from panel.report.html import with_breaks
from panel.report.trace import _TABLE_MAKERS
from panel.study.editing import typed_fact, with_facts
from panel.study.facts import FOR_REVIEW, STATED
from panel.study.knowledge import shared_table
from panel.study.study import Study, empty_table
from panel.study.tables import TABLES
from panel.views.planning.study import _INVENTED, _REHEARSED, mark
from panel.views.told import Picture
from panel.words import _SHOWN_INSTEAD, plain_text
from tests.report.evidence_studies import DEMO, demo_report, demo_results, hostile_report, small_report
from tests.studies import small_study

# What reviewers of sensory and consumer claims look for, in this order; common practice, no source.
PARTS = (
    "Claim sheet",
    "Evidence behind each claim",
    "Product identity",
    "Safety gate",
    "Protocol and deviations",
    "Panel and consumers",
    "Blinding",
    "Ballot",
    "Raw data",
    "Analysis and results",
    "References",
    "Limits",
    "Wording options",
    "Sign-offs",
    "Expiry",
    "Decision record",
)


def words(section) -> str:
    parts = []
    for block in section.blocks:
        match block:
            case Words("paragraph" | "gap" | "points", texts):
                parts += texts
            case TextTable() | Numbers():
                parts += [block.title, *block.shown.astype("str").to_numpy().ravel()]
    return "\n".join(parts)


def part(report, number):
    return next(section for section in report.sections if section.number == number)


@pytest.mark.parametrize("report", [demo_report, small_report, hostile_report])
def test_every_part_is_there_in_order(report):
    sections = report().sections
    assert [section.number for section in sections] == [str(number) for number in range(1, len(PARTS) + 1)]
    for section, heading in zip(sections, PARTS, strict=True):
        assert section.heading.startswith(heading)
        assert section.blocks


def test_what_is_missing_is_named_as_a_gap():
    gaps = "\n".join(gap for _, gap in small_report().gaps())
    for missing in ("written down a claim", "sign-off", "consent", "recruited", "carry over"):
        assert missing in gaps
    assert "after how many years" in gaps


def test_a_fact_that_is_stated_fills_its_gap():
    stated = evidence_report(small_study({"pack": "tube, 50 mL", "recheck_after_years": 3}))
    assert "tube, 50 mL" in words(part(stated, "3"))
    assert not any("pack" in gap for gap in part(stated, "3").gaps)
    assert "3 years" in words(part(stated, "15"))
    assert part(stated, "15").gaps == ()


def test_a_study_without_consumers_says_so_and_calls_it_no_gap():
    told = words(part(small_report(), "10"))
    assert "Consumer answers: not part of this study." in told
    assert "consumer" not in "".join(part(small_report(), "10").gaps).lower()


def test_questions_named_by_whole_sentences_are_their_own_words():
    named = ["I see no marks on my clothes", "Too sticky?", "liking", "Q3"]
    answers = pd.DataFrame(
        {
            "assessor": "C1",
            "prototype": "P1",
            "question": named,
            "kind": ["agreement"] * 2 + ["liking"] * 2,
            "answer": "5",
        }
    )
    ballot = part(evidence_report(small_study(answers=answers)), "8")
    assert ballot.gaps == ("Consumers answered, but the words of these questions are not in the study: liking and Q3.",)
    assert words(ballot).count("I see no marks on my clothes") == 2  # its name, and the words shown
    recorded = {"questions": [{"question": name, "kind": "liking", "words": "How?"} for name in ("liking", "Q3")]}
    assert part(evidence_report(small_study(recorded, answers=answers)), "8").gaps == ()


def test_no_adverse_event_recorded_is_said_and_not_taken_for_none_that_happened():
    told = words(part(demo_report(), "4"))
    assert "Adverse events: none recorded." in told
    assert "does not show that nothing happened" in told


def test_the_demo_names_the_verdict_on_each_claim_in_its_summary():
    claims = demo_results().study.table("claims")["claim"]
    told = words(demo_report().summary)
    assert len(claims) > 5
    for claim in claims:
        assert f"“{claim}”" in told


def lines_to_sign(section):
    return [block.texts for block in section.blocks if isinstance(block, Words) and block.kind == "sign-off"]


def test_the_tool_signs_nothing():
    roles = [role for role, _, named in lines_to_sign(demo_report().summary) if named == ""]
    assert roles == ["panel leader", "analyst", "claim reviewer"]
    for page in demo_report().claims:
        ((role, _, named),) = lines_to_sign(page)
        assert (role, named) == ("claim reviewer", "")


def test_a_person_the_study_names_stands_beside_her_role_and_a_conflict_is_a_gap():
    team = [{"person": "F1", "roles": ["formulator", "analyst"], "made": ["P1"]}]
    report = evidence_report(small_study({"people": team}))
    named = {role: name for role, _, name in lines_to_sign(report.summary)}
    assert named["analyst"] == "F1"
    assert any("not independent" in gap for gap in part(report, "14").gaps)


def test_hashes_are_those_of_the_files_on_disk():
    # the demo's files were written by the program, so what is saved again is the same, byte for byte
    (table,) = [
        block for block in part(demo_report(), "9").blocks if isinstance(block, TextTable) and "SHA-256" in block.shown
    ]
    stated = dict(zip(table.shown["File"], table.shown["SHA-256"], strict=True))
    on_disk = {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in DEMO.iterdir() if path.is_file()}
    assert stated == on_disk


def test_the_data_are_as_of_the_last_score_and_the_file_of_the_day_it_is_made():
    study = demo_results().study
    assert last_score(study) == "2025-03-30" == demo_report().data_as_of  # the last day of the home use
    assert _first_test_day(study) == "2025-03-14"
    assert last_score(Study({}, {})) == _first_test_day(Study({}, {})) == ""
    assert last_score(Study({}, {"dates": "no date"})) == ""
    assert evidence_report(Study({}, {})).made_on == date.today().isoformat()
    assert evidence_report(Study({}, {}), made_on="2026-01-31").made_on == "2026-01-31"
    with pytest.raises(StudyError, match=r"'31 January' is no day. Give the day the file is made as YEAR-MONTH-DAY"):
        evidence_report(Study({}, {}), made_on="31 January")


def test_invented_and_rehearsed_data_are_marked():
    assert demo_report().mark == _INVENTED
    assert mark(_to_rehearse(demo_results().study)) == _REHEARSED
    assert mark(small_study()) == ""


def test_the_seed_and_the_versions_stand_in_it():
    told = words(part(evidence_report(small_study(), rng_seed=7), "10"))
    assert "Seed of everything that is drawn\n7" in told
    assert f"numpy\n{np.__version__}" in told
    assert f"pandas\n{pd.__version__}" in told


def test_the_same_seed_gives_the_same_numbers_and_another_one_does_not():
    again, one, other = (
        {table.code: table for table in evidence_report(small_study(), rng_seed=seed).tables} for seed in (1, 1, 2)
    )
    for code, table in one.items():
        pd.testing.assert_frame_equal(again[code].full, table.full)
    pd.testing.assert_frame_equal(one["D"].full, other["D"].full)  # nothing is drawn for it
    assert not one["CP"].full.equals(other["CP"].full)  # the rings of the map are drawn


@pytest.mark.parametrize("report", [demo_report, small_report, hostile_report])
def test_every_number_has_an_id_of_its_own(report):
    names = [
        number_id(row, column) for table in report().tables for row in table.full_ids for column in table.number_columns
    ]
    assert len(names) > 100
    assert len(set(names)) == len(names)


@pytest.mark.parametrize("report", [demo_report, small_report])
def test_every_row_shown_leads_to_numbers(report):
    for table in report().tables:
        assert len(table.shown) == len(table.shown_ids)
        assert len(table.full) == len(table.full_ids)
        assert len(set(table.printed_ids) - {""}) == len([name for name in table.printed_ids if name])
        leading = [name for name in table.shown_ids if name]
        assert leading
        assert len(set(leading)) == len(leading)
        for name in leading:
            assert any(full == name or full.startswith(f"{name}-") for full in table.full_ids)


def test_the_letters_of_tables_are_those_that_can_be_asked_for():
    held = {table.code for table in demo_report().tables}
    assert len(held) > 40
    for code, make in _TABLE_MAKERS.items():
        made = make(demo_results())
        # a table that the report leaves out is one that this study does not have
        assert made.code == code if code in held else isinstance(made, NoAnswer), code
    assert held <= set(_TABLE_MAKERS)


def test_the_scheme_of_ids_can_be_read():
    ids = {table.code: table.full_ids for table in demo_report().tables}
    assert "D-AF_GREASE-P4-P1" in ids["D"]
    assert "S-AF_GREASE-Dicaprylyl.Carbonate-C13~15.Alkane" in ids["S"]


@given(st.text(), st.text())
def test_different_names_give_different_parts_of_an_id(one, other):
    assert (_id_part(one) == _id_part(other)) == (one == other)
    assert "-" not in _id_part(one)
    assert not any(sign.isspace() for sign in _id_part(one))


@given(st.lists(st.tuples(st.text(max_size=3), st.text(max_size=3)), max_size=8))
def test_rows_have_different_ids_whatever_their_names(names):
    frame = pd.DataFrame(names, columns=["one", "other"], dtype="str")
    found = _row_ids("D", frame, ["one", "other"])
    assert len(set(found)) == len(found) == len(names)


def test_pictures_are_drawn_when_asked_for_and_only_once():
    pictures = [block for section in demo_report().sections for block in section.blocks if isinstance(block, Picture)]
    assert len({block.name for block in pictures}) == len(pictures) > 5
    for block in pictures[:2]:
        assert block.alt
        assert block.printed_svg.startswith("<svg ")
        assert block.printed_svg is block.printed_svg


def test_an_absolute_negative_needs_both_kinds_of_people():
    claims = demo_results().ask(CLAIMS)
    matrix = evidence_matrix(claims, NoAnswer("not measured")).set_index("claim")
    assert matrix.loc["non-greasy", "strength"] == "direct"  # panel and consumers are both there
    assert matrix.loc["moisturises for 24 hours", "strength"] == "none"
    assert matrix.loc["less greasy than our previous hand cream", "consumers"] == "none"
    assert set(matrix["instruments"]) == {"none"}  # no readings were handed in
    with_readings = evidence_matrix(claims, demo_results().readings).set_index("claim")
    assert with_readings.loc["less greasy than our previous hand cream", "instruments"] == "partial"


def test_text_that_steers_readers_is_made_harmless():
    assert plain_text("a\x07b\x00c\x1b") == f"a{_SHOWN_INSTEAD}b{_SHOWN_INSTEAD}c{_SHOWN_INSTEAD}"
    assert plain_text("\u202eabc\ud800\ue000\uffff") == f"{_SHOWN_INSTEAD}abc{_SHOWN_INSTEAD * 3}"
    assert plain_text("one\ntwo\tthree\u2028four") == "one two three four"
    assert plain_text("Ελληνικά Кириллица 漢字 é") == "Ελληνικά Кириллица 漢字 é"
    assert plain_text("soft\u00adhy\u200bphen") == "softhyphen"


@given(st.text(max_size=60), st.integers(1, 20))
def test_breaking_long_words_changes_nothing_that_is_read(text, longest):
    whole = plain_text(text)
    broken = with_breaks(whole, longest)
    assert broken.replace("\u200b", "") == whole
    assert max(len(piece) for word in broken.split(" ") for piece in word.split("\u200b")) <= longest


def test_a_study_with_nothing_in_it_gives_a_file_of_gaps():
    report = evidence_report(Study({}, {}))
    assert report.title == "Study without a title"
    assert report.data_as_of == ""
    assert len(list(report.gaps())) > 25
    assert report.tables == ()


def test_a_study_of_consumers_alone_has_their_results_and_no_gap_in_their_place():
    demo = demo_results().study
    kept = {name: demo.table(name) for name in ("prototypes", "answers", "assessors")}
    report = evidence_report(Study(kept, demo.facts))
    codes = {table.code for table in report.tables}
    assert {"H", "G", "J", "X", "Y", "E", "FC"} <= codes
    assert not codes & {"M", "T", "D", "S"}
    pd.testing.assert_frame_equal(
        next(table.full for table in report.tables if table.code == "H"),
        next(table.full for table in demo_report().tables if table.code == "H"),
    )


@pytest.mark.parametrize("value", ["a word", 7, ["one", 2], {"a": [1, 2]}, None])
def test_facts_of_another_shape_than_expected_do_no_harm(value):
    facts = ("people", "dates", "rules", "notes", "questions", "deviations", "seal", "panel")
    few = dict.fromkeys(("scores", "formulas", "batches"))
    report = evidence_report(small_study(dict.fromkeys(facts, value), **few))
    assert len(report.sections) == len(PARTS)


def test_records_that_people_made_stand_in_their_parts():
    signed = _record_sign_off(
        empty_table("safety"), "safety_assessment", who="Dr X", role="assessor", date="2025-03-01", document="SA-1"
    )
    reaction = record_reaction(
        empty_table("reactions"),
        when="2025-03-14T15:00",
        who="leader",
        signs="burning",
        severity="mild",
        action="rinsed",
    )
    opened = note_opening(empty_table("unblindings"), when="2025-04-07T10:00", who="analyst", why="analysis")
    study = with_decision(
        small_study(safety=signed, reactions=reaction, unblindings=opened),
        chosen="P2",
        reason="less greasy",
        not_established="how it is liked",
        who="head of development",
        date="2025-04-08",
    )
    report = evidence_report(study)
    assert "burning" in words(part(report, "4"))
    assert "closed for all 4 batches" in words(part(report, "4"))
    assert "analyst" in words(part(report, "7"))
    assert "how it is liked" in words(part(report, "16"))
    assert part(report, "16").gaps[:1] != ("No decision is recorded in this study.",)
    changed = opened.assign(why="curiosity")
    spoilt = Study({**study.tables, "unblindings": changed}, study.facts)
    gaps = [*part(evidence_report(spoilt), "7").gaps, *part(evidence_report(spoilt), "16").gaps]
    assert any("was changed after it was written" in gap for gap in gaps)
    assert any("changed after the last decision" in gap for gap in gaps)


# Where each gap is mended: the table shared/gap_places.csv, held against the parts of the app and the commands.


def test_each_gap_has_a_place_that_is_there_and_a_command_that_is_known():
    named = shared_table("gap_places")
    assert set(named["open"]) <= {"", *EDITORS, *places.PARTS}
    known = set(main.list_commands(Context(main)))
    facts = {column.name for column in STATED} | set(FOR_REVIEW) | {"FACT", "recheck_after_years"}
    for command in named["command"]:
        program, name, study, *rest = command.split()
        assert (program, study) == ("afterfeel", "STUDY")
        assert name in known, command
        assert name != "set" or {rest[0]} & {*TABLES, *facts, "benchmark", "decision"}, command


@pytest.mark.parametrize("named", [True, False])
def test_without_servings_the_gap_says_whether_the_scores_name_positions(named: bool):
    scores = small_study().scores
    study = small_study(servings=None, scores=scores if named else scores.assign(position=np.nan))
    (gap,) = [gap for _, gap in report_of(Answers(study)).gaps() if "holds no serving plan" in gap]
    assert ("though its scores name positions: codes and balance" in gap) == named
    assert ("codes, orders and balance" in gap) != named


@pytest.mark.parametrize("made", [small_report, hostile_report, demo_report])
def test_every_gap_leads_somewhere_and_most_to_the_very_thing(made):
    gaps = [(section.number, gap) for section, gap in made().gaps()]
    commands = [mended_at(*each)[1] for each in gaps]
    assert all(command.startswith("afterfeel ") for command in commands)
    last = shared_table("gap_places").iloc[-1]["command"]
    assert commands.count(last) <= len(gaps) / 8


@pytest.mark.parametrize("fact", [name for name in FOR_REVIEW if name not in ("users", "panel")])
def test_the_command_for_a_fact_closes_its_gap(fact):
    gap = FOR_REVIEW[fact][1]
    command = shlex.split(mended_at("3", gap)[1])
    assert command[:4] == ["afterfeel", "set", "STUDY", fact]
    told = with_facts(small_study({}), {command[3]: typed_fact(command[3], command[4])})
    assert gap in {each for _, each in small_report().gaps()} or fact in ("screener", "recruitment", "training")
    assert gap not in {each for _, each in report_of(Answers(told)).gaps()}


@pytest.mark.parametrize(
    ("gap", "opened", "begins"),
    [
        ("Nobody has written down a claim, so none is judged here.", "claims", "afterfeel set STUDY claims"),
        ("The study does not say on which days it was run.", "facts", "afterfeel set STUDY dates"),
        ("No sign-off of the safety gate is recorded in this study.", "safety", "afterfeel sign-off STUDY"),
        ("The study holds no formulas.", "formulas", "afterfeel set STUDY formulas"),
        ("The study does not say who is panel leader.", "facts", "afterfeel set STUDY people"),
    ],
)
def test_a_gap_leads_to_where_it_is_mended(gap, opened, begins):
    part = "4" if "sign-off" in gap else "5"
    found = mended_at(part, gap)
    assert found[0] == opened
    assert found[1].startswith(begins)
