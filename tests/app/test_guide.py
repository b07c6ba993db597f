"""Words of the field explained where they stand, a tour of the demo, and findings that lead to what mends them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from panel.app.guide import _TOUR, _words_in, way_to_mend
from panel.app.places import PARTS
from panel.app.state import STUDY_VARIABLE
from panel.checks.confounds import BETWEEN, WHOLLY, find_confounds, untold_findings
from panel.errors import StudyError
from panel.plan.codes import plan_fits_seal
from panel.plan.study_plan import with_session
from panel.study.editing import put_block
from panel.study.folder import write_study
from panel.study.knowledge import shared_table
from panel.study.renaming import rename
from panel.study.study import Study
from tests.app.running import part_of_app
from tests.app.test_pages import labelled, shown
from tests.studies import small_study


def test_each_word_is_explained_once_and_in_few_words():
    known = shared_table("glossary")
    assert known["term"].is_unique
    assert (known["meaning"].str.split().str.len() <= 25).all()
    spellings = [word.strip() for row in known.itertuples() for word in (row.term, *row.also.split(";")) if word]
    assert len(spellings) == len(set(spellings))


def test_words_are_met_whole_and_in_the_order_of_the_sentence():
    met = [term for term, _ in _words_in(["Swapping says nothing; the Margin counts, then intervals.", "The swap."])]
    assert met == ["margin", "interval", "swap"]


def test_a_tour_goes_through_six_parts_and_can_be_left(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.delenv(STUDY_VARIABLE, raising=False)
    assert len(_TOUR) == 6
    for number, (part, words) in enumerate(_TOUR[:2]):
        app = part_of_app(part)
        app.session_state["stop of the tour"] = number
        assert f"Stop {number + 1} of 6. {words}" in shown(app.run()).replace("*", "")
        assert labelled(app.button, f"On to: {PARTS[_TOUR[number + 1][0]][1].title}")
    labelled(app.button, "Leave the tour").click().run()
    assert "Stop 2 of 6" not in shown(app)


def apart() -> Study:
    """Return the small study with the scores of P1 in session 1 alone, the others in session 2."""
    study = small_study()
    scores = study.scores
    first = scores["prototype"] == study.prototypes[0]
    kept = scores.assign(session=np.where(first, "1", "2"))
    return replace(study, tables={**study.tables, "scores": kept.loc[first | (scores["session"] == "2")]})


def test_a_confound_leads_to_the_session_that_is_missing_and_that_session_ends_it():
    study = apart()
    ways = {way_to_mend(finding) for finding in untold_findings(find_confounds(study))}
    assert "Plan the missing session" in ways
    planned = with_session(study, list(study.prototypes), "K. Ito", 1)
    new = planned.table("servings").iloc[len(study.table("servings")) :]
    assert set(new["session"]) == {"3"}
    assert set(new["prototype"]) == set(study.prototypes)
    assert plan_fits_seal(planned)
    served = new[["session", "assessor", "prototype", "position"]].merge(
        study.scores[["attribute"]].drop_duplicates(), "cross"
    )
    texts = served.assign(score="5", position=served["position"].astype(int)).astype("str")
    again = replace(planned, tables={**planned.tables, "scores": put_block(study, "scores", texts).scores})
    pairs = find_confounds(again).pairs
    assert pairs.loc[(pairs["kind"] == WHOLLY) & pairs["factor"].isin(BETWEEN)].empty
    with pytest.raises(StudyError, match="who makes the plan"):
        with_session(study, list(study.prototypes), " ", 1)


@pytest.mark.parametrize("part", ["study", "at_a_glance"])
def test_what_a_finding_proposes_is_done_by_its_button_under_a_name(part: str, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.delenv(STUDY_VARIABLE, raising=False)
    app = part_of_app(part).run()
    labelled(app.button, "Do it").click().run()
    assert "needs a name" in shown(app)
    labelled(app.text_input, "Who says so").set_value("lead")
    labelled(app.button, "Do it").click().run()
    assert not app.exception
    assert "in place of 330" in shown(app)
    assert "330 is outside the scale" not in shown(app)


def test_where_nothing_is_missing_no_other_study_is_offered(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    write_study(small_study(), tmp_path / "small")
    monkeypatch.setenv(STUDY_VARIABLE, str(tmp_path / "small"))
    app = part_of_app("next_prototype").run()
    assert not app.exception
    assert "are needed" in shown(app)
    assert not [button.label for button in app.button if button.label.startswith("Bring")]


def test_people_with_names_are_not_said_to_be_known_by_a_code(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    study, names = small_study(), ("Björn", "Zoë", "Noël", "Inês")
    for person, name in zip(study.table("assessors")["assessor"].tolist(), names, strict=False):
        study = rename(study, "assessor", person, name)
    assert "in this study, known each by a code." in _privacy_of(small_study(), tmp_path / "c", monkeypatch)
    assert "in this study, known 4 of them by what looks like a name." in _privacy_of(
        study, tmp_path / "n", monkeypatch
    )


def _privacy_of(study: Study, folder: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    write_study(study, folder)
    monkeypatch.setenv(STUDY_VARIABLE, str(folder))
    return shown(part_of_app("privacy").run())
