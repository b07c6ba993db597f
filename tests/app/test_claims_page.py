"""The page about claims: with the demo, without claims, and writing one down."""

from __future__ import annotations

import re
from pathlib import Path

import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from panel.app.state import STUDY_VARIABLE
from panel.checks.moments_recorded import stamps_hash
from panel.claims.time_stamp import time_stamp_request
from panel.study.folder import write_study
from panel.study.open_study import open_study
from panel.study.study import Study
from tests.app.running import part_of_app, with_open_drawers
from tests.claims.test_time_stamp import OPENSSL, Authority
from tests.claims.test_wording import DEMO
from tests.studies import small_study


def shown(app: AppTest) -> str:
    """Return everything the page says, without the signs that keep it from being taken for formatting."""
    parts = [*app.title, *app.header, *app.subheader, *app.markdown, *app.caption, *app.warning, *app.success]
    return " ".join(part.value for part in parts).replace("\\", "").replace("\u00a0", " ")


def opened() -> AppTest:
    return part_of_app("claims")


def labelled(widgets, label: str):
    return next(widget for widget in widgets if widget.label == label)


@pytest.fixture
def small(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "small"
    write_study(small_study({"unblinded_on": "2999-01-01"}), folder)
    monkeypatch.setenv(STUDY_VARIABLE, str(folder))
    return folder


def test_the_demo_and_one_claim_after_another(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.delenv(STUDY_VARIABLE, raising=False)
    app = with_open_drawers(opened())
    assert not app.exception
    text = shown(app)
    assert app.title[0].value == "Say"
    assert "3 of 10 sentences hold, 2 of them with limits; adjusted together in 2 families." in text
    assert "Local law decides what may be claimed" in text
    drawers = [each.label.replace("\\", "").replace("\u00a0", " ") for each in app.expander]
    assert "✓ supported as worded, in these batches: “less greasy than our previous hand cream”" in drawers
    assert "± supported, with contrary evidence: “does not leave hands feeling greasy”" in drawers
    verdicts = [label for label in drawers if "“" in label]
    assert verdicts[0].startswith("✓")  # from supported to not
    assert verdicts[-1].startswith("–")
    assert "Against it: trained panel, greasy film: 42.8 of 100 (37.8 to 47.8)." in text
    assert "Home-use test, 58 adults" in text
    chosen = labelled(app.selectbox, "Claim")
    app = chosen.select(next(n for n in range(1, 11) if "8 in 10" in chosen.options[n - 1])).run()
    assert not app.exception


def test_a_study_without_claims_says_so_and_offers_the_form(small: Path):
    app = with_open_drawers(opened())
    assert not app.exception
    assert "No claim has been written down yet." in shown(app)
    assert labelled(app.text_input, "Sentence, exactly as it is to be said")
    assert labelled(app.selectbox, "Kind of claim").value == "superiority"  # nobody was asked whether they agree


def test_only_who_was_asked_about_a_statement_can_have_agreed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    for kind, answer, first in (("liking", "7", "superiority"), ("agreement", "yes", "agreement")):
        row = {"assessor": "C1", "prototype": "P2", "question": "soft", "kind": kind, "answer": answer}
        study = small_study()
        tables = {**study.tables, "answers": pd.DataFrame([row], dtype="str")}
        write_study(Study(tables, study.facts), tmp_path / kind)
        monkeypatch.setenv(STUDY_VARIABLE, str(tmp_path / kind))
        assert labelled(with_open_drawers(opened()).selectbox, "Kind of claim").value == first


def form(app: AppTest, sentence: str, kind: str) -> AppTest:
    labelled(app.text_input, "Sentence, exactly as it is to be said").input(sentence)
    labelled(app.selectbox, "Kind of claim").select(kind)
    return app.run()


def test_the_form_shows_what_a_kind_needs_and_no_other(small: Path):
    app = form(with_open_drawers(opened()), "less greasy than our previous cream", "superiority")
    labels = {each.label for each in (*app.selectbox, *app.text_input)}
    assert {"Prototype", "Compared with", "Attribute", "Margin"} <= labels
    assert not {"Question", "Bar", "Ingredient", "Sitting before", "Bar of the panel"} & labels
    app = form(app, "does not feel greasy", "absolute_negative")
    labels = {each.label for each in (*app.selectbox, *app.text_input)}
    assert {"Question", "Bar", "Bar of the panel"} <= labels
    assert not {"Compared with", "Margin", "Competitors or range"} & labels


def test_everyday_words_find_the_attribute(small: Path):
    app = form(with_open_drawers(opened()), "less oily than our previous cream", "superiority")  # oily is greasy
    assert labelled(app.selectbox, "Attribute").value == "AF_GREASE"
    assert labelled(app.selectbox, "It says").value == "less"


def test_a_sentence_is_tried_and_forgotten(small: Path):
    app = form(with_open_drawers(opened()), "less greasy than our previous cream, and kills germs", "superiority")
    labelled(app.selectbox, "Prototype").select("P4")
    labelled(app.selectbox, "Compared with").select("P1")
    labelled(app.selectbox, "Attribute").select("AF_GREASE")
    labelled(app.button, "Try it").click()
    app = app.run()
    assert not app.exception
    assert "Nothing is recorded, and a draft supports no claim" in shown(app)
    assert re.search(r"Not covered: [^.]*germs", shown(app))
    assert open_study(small).table("claims").empty
    labelled(app.button, "Delete this draft").click()
    app = app.run()
    assert "Nothing is recorded" not in shown(app)


def test_a_sentence_has_one_draft_the_last_one_first_and_none_once_it_is_stamped(small: Path):
    app = form(with_open_drawers(opened()), "less greasy than P1", "superiority")
    labelled(app.button, "Try it").click().run()  # nothing is chosen yet
    for label, chosen in (("Prototype", "P4"), ("Compared with", "P1"), ("Attribute", "AF_GREASE")):
        labelled(app.selectbox, label).select(chosen)
    labelled(app.button, "Try it").click().run()
    form(app, "stickier than P1", "superiority")
    labelled(app.button, "Try it").click().run()
    drafts = [each.label.partition(": ")[2] for each in app.expander if each.label.startswith("Draft.")]
    assert drafts == ["“stickier than P1”", "“less greasy than P1”"]
    assert shown(app).count("A draft: judged as if") == 1
    form(app, "less greasy than P1", "superiority")
    labelled(app.text_input, "Who stamps it").set_value("EK")
    labelled(app.button, "Write the claim and stamp it").click().run()
    assert not app.exception
    drafts = [each.label.partition(": ")[2] for each in app.expander if each.label.startswith("Draft.")]
    assert drafts == ["“stickier than P1”"]


def test_what_a_draft_is_worth_is_said_once(small: Path):
    app = form(with_open_drawers(opened()), "less greasy than P1", "superiority")
    for label, chosen in (("Prototype", "P4"), ("Compared with", "P1"), ("Attribute", "AF_GREASE")):
        labelled(app.selectbox, label).select(chosen)
    labelled(app.button, "Try it").click()
    app = app.run()
    assert not app.exception
    assert "P4 minus P1" in shown(app)
    assert shown(app).count("A draft: judged as if it had been stamped before the data.") == 1


def test_a_claim_is_written_down_stamped_judged_and_withdrawn(small: Path):
    app = form(with_open_drawers(opened()), "less greasy than our previous cream", "superiority")
    labelled(app.selectbox, "Prototype").select("P4")
    labelled(app.selectbox, "Compared with").select("P1")
    labelled(app.selectbox, "Attribute").select("AF_GREASE")
    labelled(app.text_input, "Margin").input("8,5")
    labelled(app.text_input, "Who stamps it").input("panel leader")
    next(box for box in app.checkbox if box.label.startswith("Also write it into")).check()
    labelled(app.button, "Write the claim and stamp it").click()
    app = app.run()
    assert not app.exception
    assert "The claim is written and stamped." in shown(app)
    row = open_study(small).table("claims").iloc[0]
    assert (row["kind"], row["margin"], row["stamped_by"]) == ("superiority", 8.5, "panel leader")
    assert (len(row["stamp"]), len(row["chain"])) == (64, 64)
    app = with_open_drawers(app)
    assert "Stamped on" in shown(app)
    labelled(app.text_input, "Why it is withdrawn").input("not needed")
    labelled(app.text_input, "Who withdraws it").input("brand owner")
    labelled(app.button, "Withdraw it").click()
    app = app.run()
    assert "The claim is withdrawn; it stays in the table." in shown(app)
    assert open_study(small).table("claims")["withdrawn_because"].tolist() == ["not needed"]


def test_a_claim_without_a_name_is_not_written(small: Path):
    app = form(with_open_drawers(opened()), "soft", "superiority")
    labelled(app.button, "Write the claim and stamp it").click()
    app = app.run()
    assert "A claim is stamped by a named person" in shown(app)
    assert open_study(small).table("claims").empty


def test_a_margin_that_is_no_number_is_said(small: Path):
    app = form(with_open_drawers(opened()), "soft", "superiority")
    labelled(app.text_input, "Who stamps it").input("leader")
    labelled(app.text_input, "Margin").input("some")
    labelled(app.button, "Write the claim and stamp it").click()
    app = app.run()
    assert "Margin" in " ".join(warning.value for warning in app.warning)


def test_what_may_be_said_takes_the_place_of_a_draft_in_one_tap(small: Path):
    app = form(with_open_drawers(opened()), "less greasy than our previous cream, and how", "superiority")
    labelled(app.selectbox, "Prototype").select("P4")
    labelled(app.selectbox, "Compared with").select("P1")
    labelled(app.selectbox, "Attribute").select("AF_GREASE")
    labelled(app.button, "Try it").click()
    app = app.run()
    labelled(app.button, "Say this instead").click()
    app = app.run()
    assert not app.exception
    drafts = [each.label for each in app.expander if each.label.startswith("Draft.")]
    assert len(drafts) == 1
    said = labelled(app.text_input, "Sentence, exactly as it is to be said").value
    assert said
    assert drafts[0].startswith("Draft. ✓ supported as worded")
    assert said in drafts[0].replace("\\", "").replace("\u00a0", " ")
    assert "Say this instead" not in [each.label for each in app.button]


def test_words_that_a_draft_lacks_are_stated_by_a_named_person_in_one_tap(small: Path):
    app = form(with_open_drawers(opened()), "clags less than P1", "superiority")
    labelled(app.selectbox, "Prototype").select("P4")
    labelled(app.selectbox, "Compared with").select("P1")
    labelled(app.selectbox, "Attribute").select("AF_GREASE")
    labelled(app.selectbox, "It says").select("less")
    labelled(app.button, "Try it").click()
    app = app.run()
    state = next(each for each in app.button if each.label.startswith("State “clags” for "))
    state.click()
    app = app.run()
    assert "Write who states them" in shown(app)
    labelled(app.text_input, "Who states it").input("leader")
    next(each for each in app.button if each.label == state.label).click()
    app = app.run()
    assert not app.exception
    assert "“clags” is stated for" in shown(app)
    labelled(app.button, "Try it").click()
    app = app.run()
    assert "State “clags”" not in " ".join(each.label for each in app.button)
    assert "“clags” is read as this attribute, because the study states so." in shown(app)


@pytest.mark.skipif(OPENSSL is None, reason="openssl is not installed")
def test_the_reply_of_an_authority_is_uploaded_and_verified(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.delenv(STUDY_VARIABLE, raising=False)
    claims = open_study(DEMO).table("claims")
    authority = Authority(tmp_path)
    asked = time_stamp_request(stamps_hash(claims), 77)
    app = with_open_drawers(opened())
    given = {
        "Reply (.tsr)": ("claims.tsr", authority.reply(asked), "application/timestamp-reply"),
        "The request it answers (.tsq)": ("claims.tsq", asked, "application/timestamp-query"),
        "Certificate of an authority that you trust": ("root.pem", authority.root, "application/x-pem-file"),
    }
    for label, file in given.items():
        labelled(app.file_uploader, label).set_value(file)
    app = app.run()
    assert not app.exception
    assert f"Claims 1 to {len(claims)} stood as they are on" in shown(app)
    other = authority.reply(time_stamp_request("11" * 32, 77))
    labelled(app.file_uploader, "Reply (.tsr)").set_value(("other.tsr", other, "application/timestamp-reply"))
    app = app.run()
    assert any("another hash" in each.value for each in app.error)
