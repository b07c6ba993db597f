"""The first screen, on page and by command: the demo, scores alone, and a study that has begun."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from panel.answers import COURSES, DECISION, FINDINGS, FORCED_CHOICES, NEAREST, NEXT, PREFERENCES, Answers, NoAnswer
from panel.app.places import links
from panel.checks.finding import Finding
from panel.claims.time_stamp import with_claim
from panel.cli import main
from panel.study.study import Study
from panel.views.consumers.choices import tell_forced_choices, tell_preferences
from panel.views.decision.decide import tell_decision
from panel.views.glance import _MOST_TO_SETTLE, glance_headline, glance_picture, in_short, tell_glance
from panel.views.over_time import tell_courses
from panel.views.pictures import NARROW
from tests.app.running import part_of_app
from tests.choice_studies import choice_study, named_rows, right_rows, votes
from tests.studies import small_study
from tests.time_studies import course_rows
from tests.views.every_picture import demo_answers

DEMO = Path(__file__).resolve().parents[2] / "data_demo" / "reading_room"
MOST_LINES = 30


@pytest.fixture(scope="module")
def answers():
    return demo_answers()


def test_where_some_prototypes_have_one_batch_only_they_are_named():
    batches = small_study().table("batches")
    more = pd.concat([batches, batches.iloc[[0, 1]].assign(batch=["P1-2", "P2-2"])], ignore_index=True)
    told = tell_glance(Answers(small_study(batches=more)))
    assert "one batch of P3 and P4." in told.about


def test_the_demo_is_answered_whole(answers):
    told = tell_glance(answers)
    assert told.headline == "No prototype meets the target for greasy film, which must be met."
    assert told.about.endswith("8 prototypes, 10 assessors, 60 consumers and one batch each.")
    picture = glance_picture(answers)
    assert picture is not None
    assert picture.figure(NARROW).get_figwidth() <= NARROW
    windows = answers.need(DECISION).windows
    best = windows.loc[windows["prototype"] == "P4"]
    met = int((best["met"] == 1).sum())
    assert told.leaders[0].startswith(f"P4: {met} of {len(best)} targets; misses ")
    assert all(line.endswith(" of 6 targets.") for line in told.leaders[1:])
    assert [line.partition("”: ")[0] for line in told.may] == [
        "“sinks in quickly", "“less greasy than our previous hand cream", "“does not leave hands feeling greasy"
    ]  # fmt: skip
    assert "contrary evidence" in told.may[2]
    assert told.may_not == "7 other sentences may not be said as they stand."
    assert told.step.startswith("No prototype you could make from these is expected to come nearer")
    assert told.step_part == "next_prototype"


def test_the_first_screen_and_the_decision_are_one_answer(answers):
    first, whole = answers.need(NEAREST), answers.need(DECISION)
    told = [column for column in whole.ranking if not column.endswith("_true")]
    pd.testing.assert_frame_equal(first.ranking[told], whole.ranking[told])
    assert first.pairs is whole.pairs  # worked out once
    assert " ".join(glance_headline(answers)).startswith(tell_decision(whole, answers.names).headline)


def _over_time() -> Study:
    return Study(
        {"prototypes": pd.DataFrame({"prototype": ["P1", "P2"]}), "courses": course_rows({"P1": 40, "P2": 60})}
    )


@pytest.mark.parametrize(
    ("study", "part", "question", "tell"),
    [
        (choice_study(right_rows("triangle", 20, 30)), "forced_choice", FORCED_CHOICES, tell_forced_choices),
        (choice_study(named_rows("preference", votes(30, 12))), "preference", PREFERENCES, tell_preferences),
        (_over_time(), "over_time", COURSES, tell_courses),
    ],
)
def test_without_scores_the_first_screen_says_what_the_study_does_answer_and_leads_there(study, part, question, tell):
    own = Answers(study)
    told, there = tell_glance(own), tell(own.need(question), own.names)
    assert f"{told.headline} {told.about}".startswith(there.headline)
    assert told.step_part == part
    assert glance_picture(own).alt == there.picture.alt
    assert all(finding.severity != "stop" for finding in told.settle)


def test_a_prototype_that_is_out_leads_nothing():
    targets = {"target_low": [62.0, np.nan, np.nan], "must_have": ["yes", "", ""]}
    own = Answers(small_study({"benchmark": "P1"}, attributes=small_study().table("attributes").assign(**targets)))
    ranking = own.need(NEAREST).ranking
    assert {"out", "in"} <= set(ranking["standing"])
    told = [line.partition(":")[0] for line in tell_glance(own).leaders]
    assert set(told) == set(ranking.loc[ranking["standing"] != "out", "prototype"])


def test_the_gravest_findings_come_first_one_of_a_kind(answers):
    settle = tell_glance(answers).settle
    kinds = [finding.kind for finding in settle]
    assert len(kinds) == len(set(kinds)) == _MOST_TO_SETTLE
    assert all(finding.severity == "warning" for finding in settle)
    assert set(settle) <= set(answers.need(FINDINGS))


def test_what_was_found_is_said_in_short():
    finding = Finding("warning", "x", "scores", "330 is outside the scale 0 to 100. 330 may be 33.0: a slip.", "Look.")
    assert in_short(finding) == "330 is outside the scale 0 to 100."
    where = "scores, row 19 (line 7 of march.xlsx): A02, session 2, P4, greasy film"
    assert in_short(replace(finding, where=where)) == ("A02, P4, greasy film: 330 is outside the scale 0 to 100.")
    titled = "2 scores of Ass. Alma and B. Roe are blank. Look at them."
    assert in_short(Finding("warning", "x", "scores", titled, "Look.")) == (
        "2 scores of Ass. Alma and B. Roe are blank."
    )
    swap = "Making day and the swap Cocos Nucifera (Coconut) Oil → Shea Butter cannot be told apart: see Batches."
    assert in_short(Finding("warning", "x", "scores", swap, "Look.")) == (
        "Making day and the swap Coconut Oil → Shea Butter cannot be told apart."
    )


def test_scores_alone_show_how_the_prototypes_differ():
    study = small_study()
    answers = Answers(Study({"scores": study.scores, "prototypes": study.table("prototypes")}, {}))
    told = tell_glance(answers)
    assert told.headline.startswith(("The prototypes differ", "On no attribute"))
    assert glance_picture(answers) is not None
    assert told.leaders == ()
    assert told.may == ()
    assert told.step_part == "edit"


def test_a_study_that_has_begun_is_told_what_is_next():
    answers = Answers(Study({"prototypes": small_study().table("prototypes")}, {}))
    told = tell_glance(answers)
    assert told.headline == "There are no scores yet, so nothing can be said of the prototypes."
    assert glance_picture(answers) is None
    assert told.settle == ()  # that nothing was scored yet is no fault
    assert (told.step, told.step_part) == ("Plan the test.", "plan")


@pytest.mark.parametrize(
    ("changed", "headline"),
    [
        ({"score": 50.0}, "No attribute can be compared: "),
        ({"assessor": "A01"}, "All scores come from one assessor, so nothing says whether another person would agree."),
        ({"prototype": "P1"}, "Only one prototype was scored, so there is nothing to compare."),
    ],
)
def test_scores_that_cannot_be_compared_are_not_called_missing(changed, headline):
    scores = small_study().scores.assign(**changed)
    told = tell_glance(Answers(Study({"scores": scores, "prototypes": small_study().table("prototypes")}, {})))
    assert told.headline.startswith(headline)


def test_the_command_says_the_same():
    said = CliRunner().invoke(main, ["glance", str(DEMO)])
    assert said.exit_code == 0
    assert len(said.output.splitlines()) <= MOST_LINES
    assert "Settle first" in said.output
    assert "Nearest first" in said.output  # the order of the headline, not of targets met
    held = json.loads(CliRunner().invoke(main, ["glance", str(DEMO), "--json"]).output)
    assert held["headline"] in said.output
    assert held["settle"][0]["kind"]


def test_settling_opens_the_editor_that_mends_it(monkeypatch):
    monkeypatch.delenv("AFTERFEEL_STUDY", raising=False)
    app = part_of_app("at_a_glance").run()
    next(button for button in app.button if button.label == "Open Batches").click().run()
    assert not app.exception
    assert app.session_state["editor"] == "batches"  # a batch too young


def test_a_page_that_is_mentioned_is_a_link(monkeypatch):
    shown = []
    monkeypatch.setattr("panel.app.places.go", lambda part, title: shown.append((part, title)))
    links(["Sign on the page Safety.", "Check the scores on the Study page. See the page Safety.", "No page at all."])
    assert shown == [("safety", "Safety"), ("study", "Study")]


def test_answers_without_scores_are_told_by_what_consumers_like():
    answers = pd.DataFrame(
        [
            (f"C{n}", p, "liking", "liking", str(5 + n * (1 + len(p)) % 3 + 2 * (p == "P22")))
            for n in range(30)
            for p in ("P1", "P22")
        ],
        columns=["assessor", "prototype", "question", "kind", "answer"],
        dtype="str",
    )
    study = Study({"prototypes": pd.DataFrame({"prototype": ["P1", "P22"]}, dtype="str"), "answers": answers}, {})
    told = tell_glance(Answers(study))
    assert "P22" in told.headline
    assert told.step_part == "liking"


def test_what_consumers_like_stands_beside_the_differences_where_nothing_is_aimed_at():
    study = small_study()
    liking = pd.DataFrame(
        [
            (f"C{n}", p, "liking", "liking", str(3 + n % 3 + (n * 7 + 3 * k) % 4 + 2 * (p == "P3")))
            for n in range(20)
            for k, p in enumerate(study.prototypes)
        ],
        columns=["assessor", "prototype", "question", "kind", "answer"],
        dtype="str",
    )
    scores_and_liking = {"scores": study.scores, "prototypes": study.table("prototypes"), "answers": liking}
    told = tell_glance(Answers(Study(scores_and_liking, {})))
    assert "P3" in told.about.partition("is liked best")[0]
    assert "is liked best" in told.about


def test_why_no_sentence_may_be_said_is_told_where_none_was_stamped(answers):
    claims = answers.study.table("claims").assign(stamped_at="", stamped_by="", stamp="")
    told = tell_glance(Answers(Study(dict(answers.study.tables) | {"claims": claims}, answers.study.facts)))
    assert told.may == ()
    assert told.may_not.startswith(
        f"{len(claims)} sentences may not be said as they stand, though the numbers speak for “"
    )
    assert told.may_not.endswith(": not stamped before the data.")
    held = tell_glance(answers).may  # what only the stamp holds back is named
    assert all(line.partition(": ")[0] in told.may_not for line in held)


def test_where_nothing_is_dated_stamped_sentences_are_not_called_late(answers):
    tables, facts = dict(answers.study.tables), dict(answers.study.facts)
    undated = {"scores": tables["scores"].assign(recorded_at="")}
    tables.pop("unblindings", None)
    facts = {name: value for name, value in facts.items() if name not in ("dates", "unblinded_on", "locked_sessions")}
    told = tell_glance(Answers(Study(tables | undated, facts)))
    assert told.may == ()
    assert " not shown to be stamped before the data. Say on which day each session was held" in told.may_not
    assert "not stamped before" not in told.may_not


@pytest.mark.parametrize(
    "amounts", [{"P1": (40, 0), "017": (20, 20)}, {"P1": (40, 0), "P2": (20, 20)}, {"P1": (100, 0)}]
)
def test_where_nothing_can_be_proposed_the_step_is_what_the_part_itself_says(amounts):
    rows = [
        (prototype, ingredient, percent, kind)
        for prototype, (first, second) in amounts.items()
        for ingredient, percent, kind in (
            ("Aqua", 100 - first - second, "other"),
            ("Squalane", first, "emollient"),
            ("Isopropyl Myristate", second, "emollient"),
        )
    ]
    study = small_study({"benchmark": "P1"})
    formulas = pd.DataFrame(rows, columns=["prototype", "ingredient", "percent", "kind"])
    answers = Answers(replace(study, tables={**study.tables, "formulas": formulas}))
    told, proposed = tell_glance(answers), answers.ask(NEXT)
    assert isinstance(proposed, NoAnswer)
    assert told.step == proposed.why
    assert told.step_part == "plan"
    water = formulas.assign(kind="other")
    bare = Answers(replace(study, tables={**study.tables, "formulas": water}))
    assert (tell_glance(bare).step, tell_glance(bare).step_part) == (bare.ask(NEXT).why, "edit")


def test_a_sentence_stamped_before_any_data_waits_for_them():
    row = {"claim": "less greasy than P2", "kind": "superiority", "prototype": "P1", "versus": "P2"}
    stamped = with_claim(
        small_study(scores=None), row | {"attribute": "AF_GREASE"}, who="K2", when="2025-01-02T08:00:00"
    )
    told = tell_glance(Answers(stamped))
    assert told.may_not == "1 sentence waits for its data."
