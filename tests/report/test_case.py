"""The first pages of the evidence file: the whole case, a page for each claim, and an annex that says nothing twice."""

from __future__ import annotations

from collections import Counter
from functools import cache

import pandas as pd
import pytest

from panel.answers import Answers
from panel.claims.judge import CLAIMS
from panel.plan.safety import _record_sign_off
from panel.report.contents.blocks import (
    Numbers,
    Report,
    TextTable,
    Words,
    printed_id,
    read_printed_id,
    said,
)
from panel.report.contents.case import (
    _DECLARED,
    _JUDGEMENT,
    _MOST_LINES,
    _NOT_RECORDED,
    _TOUCHES,
    AGAINST,
    FOR,
    _claims_on_other_skin,
    _items_in,
)
from panel.report.contents.evidence import report_of
from panel.study.study import Study, empty_table
from panel.views.decision.claims import verdict_words
from tests.claims.claim_studies import claim_row, panel_scores, seeded, study_with
from tests.report.evidence_studies import MADE_ON, demo_report, demo_results
from tests.studies import small_study


@cache
def bare_report() -> Report:
    """Of the small study as it is, with nothing recorded beside it."""
    return report_of(Answers(small_study()), made_on=MADE_ON)


def table(section, title):
    return next(block.shown for block in section.blocks if isinstance(block, TextTable) and block.title == title)


def column(shown):
    return dict(zip(shown.iloc[:, 0], shown.iloc[:, 1], strict=True))


def texts_of(section, kind):
    """All words of a kind in a section."""
    words = [block for block in section.blocks if isinstance(block, Words) and block.kind == kind]
    return [text for block in words for text in block.texts]


def test_the_title_block_says_what_is_recorded_and_what_is_not():
    told = column(table(demo_report().summary, "What this file is"))
    assert told["Applicant"] == told["Laboratory"] == told["Report number"] == _NOT_RECORDED
    assert told["Made on"] == MADE_ON
    assert told["Data as of"].startswith("2025-03-30")
    assert told["Form of the PDF"] == _DECLARED
    facts = {"applicant": "Brand owner", "laboratory": "Bench 3", "product": "Hand cream", "report_number": "R-7"}
    told = column(table(report_of(Answers(small_study(facts)), made_on=MADE_ON).summary, "What this file is"))
    assert [told[name] for name in ("Applicant", "Laboratory", "Product", "Report number")] == list(facts.values())


def test_the_verdicts_of_all_claims_stand_on_the_first_pages_with_their_signs():
    shown = table(demo_report().summary, "The verdict on each claim")
    judged = demo_results().ask(CLAIMS).in_order
    assert list(shown["Claim"]) == [str(number) for number in judged["number"]]
    assert list(shown["Verdict"]) == [verdict_words(verdict) for verdict in judged["verdict"]]
    assert all(not verdict[0].isalpha() for verdict in shown["Verdict"])


def test_sign_offs_on_record_are_shown_and_none_is_made_up():
    signed = _record_sign_off(
        empty_table("safety"), "safety_assessment", who="Dr X", role="assessor", date="2025-03-01", document="SA-1"
    )
    shown = table(report_of(Answers(small_study(safety=signed))).summary, "Sign-offs on record")
    assert shown.to_numpy().tolist() == [["Safety gate: 1 entry", "Dr X", "assessor", "2025-03-01"]]
    bare = bare_report().summary
    assert said("paragraph", "Sign-offs on record: none.") in bare.blocks


def test_each_claim_has_a_page_with_all_it_needs():
    report, judged = demo_report(), demo_results().ask(CLAIMS).claims
    assert len(report.claims) == len(judged)
    for page, row in zip(report.claims, judged.to_dict("records"), strict=True):
        assert page.on_new_page
        assert said("sentence", f"“{row['claim']}”") in page.blocks
        assert said("verdict", verdict_words(row["verdict"])) in page.blocks
        assert [text for block in page.blocks if getattr(block, "kind", "") == "sign-off" for text in block.texts][
            2:
        ] == [""]
        told = " ".join(
            text for block in page.blocks for text in (block.texts if getattr(block, "kind", "") == "points" else ())
        )
        assert "Source: " in told
        assert "Common criteria touched: " in told
        if row["footnote"]:
            assert said("paragraph", row["footnote"]) in page.blocks


@pytest.mark.parametrize(
    ("name", "facts", "told"),
    [
        ("tightness after drying", {}, "Time after drying"),
        ("tightness", {"moment": "after rinsing"}, "Time after rinsing"),
        ("tightness", {}, "Time after rubbing in"),
    ],
)
def test_the_time_of_a_claim_counts_from_what_the_study_says(name, facts, told):
    claim = claim_row("less tight than P2", "superiority", attribute="X", versus="P2", direction="less", minutes=10)
    study = study_with(
        [claim],
        scores=panel_scores({"X": {"P1": 30, "P2": 50}}, seeded()),
        facts=facts,
        attributes=[{"attribute": "X", "name": name, "direction": "less", "minutes": 10.0}],
    )
    report = report_of(Answers(study), made_on=MADE_ON)
    assert column(table(report.claims[0], "Statement"))[told] == "10 min"
    assert f"10 min {told.removeprefix('Time ')}" in " ".join(texts_of(report.claims[0], "paragraph"))


def test_what_speaks_against_a_claim_is_on_its_page():
    # the panel's mean of 42.8 refuses 'non-greasy' although the users agree
    page = demo_report().claims[6]
    shown = table(page, "Numbers that bear on it")
    against = shown.loc[shown["Side"] == AGAINST]
    assert list(against["Estimate"]) == ["42.8"]
    assert set(shown.loc[shown["Side"] == FOR, "What"]) == {"agreed"}


def test_the_annex_says_no_sentence_twice_and_a_claim_is_not_quoted_all_over():
    seen = Counter()
    for section in demo_report().sections:
        for block in section.blocks:
            match block:
                case Words("paragraph" | "caution" | "points", texts):
                    seen.update(texts)
    assert len(seen) > 100
    assert max(seen.values()) == 1
    text = "\n".join(
        " ".join(block.shown.astype("str").to_numpy().ravel())
        if isinstance(block, TextTable)
        else " ".join(getattr(block, "texts", ()))
        for section in demo_report().all_sections
        for block in section.blocks
    )
    for claim in demo_results().study.table("claims")["claim"]:
        assert 1 < text.count(f"“{claim}”") <= 3, claim


def test_long_tables_and_lists_keep_to_what_claims_are_about():
    blocks = [block for section in demo_report().sections for block in section.blocks]
    tables = {block.code: block for block in blocks if isinstance(block, Numbers)}
    kept = tables["D"].full.iloc[list(tables["D"].on_paper)]
    assert set(kept["prototype"]) == {"P4"}
    assert len(kept) == (tables["D"].full["prototype"] == "P4").sum()
    assert set(tables["S"].full.iloc[list(tables["S"].on_paper)]["attribute"]) == {"AF_GREASE", "LA_SOFT"}
    assert not tables["CN"].printed
    methods = {block.method for block in blocks if isinstance(block, Numbers)}
    analysis = next(section for section in demo_report().sections if section.number == "10")
    for block in analysis.blocks:
        lines = block.texts if getattr(block, "kind", "") == "points" else ()
        if len(lines) > _MOST_LINES and lines[0] not in methods:
            assert len(lines) == _MOST_LINES + 1
            assert "of this kind: the tables and the workbook hold their numbers." in lines[-1]


@pytest.mark.parametrize(
    ("note", "touched"),
    [
        ("A04 came to session 2 with a sunburnt right forearm: all samples went on the left one.", "the skin itself"),
        ("The third assessor applied 80 mg by mistake.", "dose"),
        ("Two people arrived 20 minutes late.", "time and order"),
        ("B7 was absent on the second day.", "who came"),
        ("The jar of P2 leaked in the night.", "samples and batches"),
        ("Humidity rose to 70 % in the afternoon.", "room"),
        ("One assessor recognised the benchmark by its smell.", "blinding"),
        ("Samples of the second set went on the left cheek.", "where on the skin"),
    ],
)
def test_a_note_that_touches_the_protocol_is_a_deviation_whose_judgement_is_left_empty(note, touched):
    assert touched in _items_in(_TOUCHES, note)
    section = next(part for part in report_of(Answers(small_study({"notes": [note]}))).sections if part.number == "5")
    shown = table(section, "Deviations from the protocol, recorded or read from the notes")
    assert list(shown["What was done otherwise"]) == [note]
    assert set("".join(shown[_JUDGEMENT])) == {"_"}


def test_another_note_is_a_note():
    note = "The purchase order came from the head office in Armagh."
    assert _items_in(_TOUCHES, "Everything in this study is invented.") == []
    assert "where on the skin" not in _items_in(_TOUCHES, note)  # not every word with 'arm' in it is an arm


def claims_study(sentence, area, title="Cream", attribute="AF_GREASE"):
    claims = pd.DataFrame({"claim": [sentence], "kind": "superiority", "prototype": "P2", "attribute": attribute})
    return Study({"claims": small_study(claims=claims).table("claims")}, {"title": title, "area": area})


@pytest.mark.parametrize(
    ("sentence", "area", "title", "about"),
    [
        ("leaves hands less greasy", "inner forearm", "Cream", "hand"),
        ("less greasy", "inner forearm", "Rich hand cream", "hand"),
        ("less greasy on the face", "back of the hand", "Hand cream", "face"),
        ("leaves hands less greasy", "back of the hand", "Hand cream", ""),
        ("less greasy", "inner forearm", "Cream", ""),
        ("less greasy", "", "Hand cream", ""),
    ],
)
def test_claims_about_other_skin_than_was_judged_are_named(sentence, area, title, about):
    told = _claims_on_other_skin(claims_study(sentence, area, title))
    assert told == ([f"Claim 1 is about the {about}; the trained panel judged elsewhere: {area}."] if about else [])
    assert (
        _claims_on_other_skin(claims_study(sentence, area, title, attribute="")) == []
    )  # users' own skin is not named


def test_what_was_laid_down_beforehand_stands_with_its_day():
    section = next(part for part in demo_report().sections if part.number == "5")
    shown = table(section, "What was laid down beforehand").set_index("What")
    assert shown.loc["Margin of 'preference'", "Laid down"] == "0.1"
    assert shown.loc["Margin of 'preference'", "When and by whom"] == "2025-03-10, panel leader"
    assert shown.loc["Difference that matters, trained panel", "When and by whom"] == _NOT_RECORDED
    assert said("paragraph", "Date of the plan as a whole: not recorded.") in section.blocks


def test_each_test_has_its_own_balance():
    # counted by hand from servings.csv: the home use served P4 alone, the hall test every prototype in two sittings
    full = next(found.full for found in demo_report().tables if found.code == "NC")
    assert list(dict.fromkeys(full["test"])) == ["hall 1, hall 2", "home"]
    home = full.loc[full["test"] == "home"]
    assert set(home["what"]) == {"place"}
    assert list(full.loc[full["what"] == "place", "largest"]) == [16, 60, 60]


def test_a_printed_id_is_read_as_it_was_written():
    assert printed_id("CN", 0) == "CN1"
    assert read_printed_id("CN1") == ("CN", 0, "")
    assert read_printed_id("D12-p_value") == ("D", 11, "p_value")
    assert read_printed_id("D-AF_GREASE-P4-P1-estimate") is None
    assert read_printed_id("D0") is None


def test_what_is_missing_is_named_once_on_the_first_pages():
    bare = bare_report()
    lines = [line.partition(": ")[2] for line in texts_of(bare.summary, "points") if line.startswith("Part ")]
    assert len(lines) == len(set(lines)) > 5
    assert sum("Nobody has written down a claim" in line for line in lines) == 1


def test_without_claims_the_annex_goes_on_where_the_case_ends():
    assert not any(section.on_new_page for section in bare_report().sections)
    assert demo_report().sections[0].on_new_page


def test_a_panel_that_is_no_part_of_a_study_leaves_no_gaps():
    names = ("answers", "prototypes", "assessors", "servings")
    tables = {name: demo_results().study.table(name) for name in names}
    consumers = tables["assessors"].loc[tables["assessors"]["kind"] == "consumer"]
    served = tables["servings"].loc[tables["servings"]["assessor"].isin(consumers["assessor"])]
    hall = Study({**tables, "assessors": consumers, "servings": served}, {"title": "hall"})
    made = report_of(Answers(hall), made_on=MADE_ON)
    gaps = [gap for _, gap in made.gaps()]
    words = ("no scores", "its panel", "the assessors", "trained", "table of attributes, so", "scored")
    assert not [gap for gap in gaps if any(each in gap for each in words)]
    assert "What differs" not in column(table(made.summary, "People, prototypes, batches, and what was found"))
    for number in ("6", "8", "10"):
        (part,) = [section for section in made.sections if section.number == number]
        told = [text.lower() for text in texts_of(part, "paragraph")]
        assert any(text.endswith("trained panel: not part of this study.") for text in told)


def test_a_study_without_consumers_misses_no_servings_of_theirs():
    assert not [gap for _, gap in bare_report().gaps() if "serving plan of the consumers" in gap]


def test_words_not_covered_are_listed_by_the_rule_that_fired_and_not_again():
    for section in demo_report().claims:
        listed = [line for line in texts_of(section, "points") if "ot covered" in line]
        assert len(listed) <= 1
