"""Words, tables and pictures of agreement: nothing rounded up, bars, yes-saying."""

import pandas as pd
import pytest

from data_demo.make_demo import make_study
from panel.models.consumers.agreement import count_agreement
from panel.views.consumers.agreement import (
    agreement_figure,
    agreement_headline,
    agreement_svg,
    bars_table,
    how_readily_yes_is_said,
    statements_table,
    what_agreement_cannot_show,
    what_the_statements_show,
    without_foil_table,
)
from tests.consumer_answers import agreed, study_of


@pytest.fixture(scope="module")
def found():
    return count_agreement(make_study()[0])


def foiled(untrue, true):
    facts = {"questions": [{"question": "purple", "kind": "agreement", "words": "It is purple.", "foil": True}]}
    return count_agreement(study_of(agreed(true) + agreed(untrue, "purple"), facts))


def test_the_demo_is_not_eight_in_ten_and_comforting_is_no_majority(found):
    *each, last = what_the_statements_show(found)
    lines = {line.split(":")[0]: line for line in each}
    assert len(lines) == 7
    paper = lines["no mark on paper"]
    assert "44 of 58 (75.8 %) agreed (95 % interval 63.4 to 85.0 %); at most '7 in 10'." in paper
    assert "8 in 10" not in paper
    assert "More than half: shown (p < 0.001)." in paper
    assert "More than 80 %: not shown (p = 0.831); 52 of 58 would have to agree." in paper
    assert "2 said they do not know and stay in the base; of those with an opinion it is 44 of 56 (78.5 %)." in paper
    assert last == "Each of these statements was left unanswered by 2 of the 60 who started."
    assert "More than half: not shown" in lines["comforting"]
    assert "no bar was set, so a majority is asked" in lines["not sticky"]
    assert "no mark on paper against 80 %" in agreement_headline(found)
    assert "comforting against 50 %" in agreement_headline(found)


def test_headlines_for_all_one_and_none():
    assert agreement_headline(count_agreement(study_of(agreed({5: 20})))) == "The bar is passed."
    both = count_agreement(study_of(agreed({5: 20}) + agreed({5: 20}, "b")))
    assert agreement_headline(both) == "All 2 bars are passed."
    failed = count_agreement(study_of(agreed({5: 5, 1: 15}) + agreed({5: 20}, "b")))
    assert agreement_headline(failed) == "1 of 2 bars is passed. Not shown: soft against 50 %."
    assert "No statement was tested" in agreement_headline(foiled({1: 5}, {}))


def test_too_few_people_can_never_pass():
    (line,) = what_the_statements_show(count_agreement(study_of(agreed({5: 3}))))
    assert "cannot be shown with 3 people" in line
    (line,) = what_the_statements_show(count_agreement(study_of(agreed({5: 1, 1: 19}))))
    assert "at most fewer than 1 in 10" in line


def test_yes_saying_lowers_trust_in_words(found):
    lines = how_readily_yes_is_said(found)
    assert lines[0].startswith("8 of 58 (13.7 %) agreed with a sentence that is untrue for P4, 'The cream has a clear")
    assert "soft at 20 minutes and would use daily would no longer pass their bars" in lines[0]
    assert "no mark on paper 36 of 50 (72.0 %)" in lines[1]
    clear = how_readily_yes_is_said(foiled({5: 2, 1: 58}, {5: 55, 1: 5}))[0]
    assert "every bar that is passed would still be passed" in clear
    narrow = how_readily_yes_is_said(foiled({5: 2, 1: 58}, {5: 38, 1: 22}))[0]
    assert "soft would no longer pass its bar" in narrow
    assert "Nobody said yes for the sake of it" in how_readily_yes_is_said(foiled({1: 60}, {5: 38, 1: 22}))[0]
    assert "nothing measures" in how_readily_yes_is_said(count_agreement(study_of(agreed({5: 3}))))[0]


def test_tables(found):
    statements = statements_table(found)
    assert len(statements) == 8
    row = statements.iloc[2]
    assert row["Agreed, of all who answered"] == "44 of 58 (75.8 %)"
    assert row["Agreed, of those with an opinion"] == "44 of 56 (78.5 %)"
    assert (row["At most"], row["Don't know"], row["Started"], row["Did not answer"]) == ("7 in 10", "2", "60", "2")
    assert statements["Untrue on purpose"].tolist() == [""] * 7 + ["yes"]
    bars = bars_table(found)
    assert "the claim: 8 in 10 users found no mark on their paper" in set(bars["Set by"])
    assert set(bars["Above the bar"]) == {"shown", "not shown"}
    assert len(without_foil_table(found)) == 7
    unknown = count_agreement(study_of(agreed({5: 3}), {"questions": {"soft": {"bar": 60}}}))
    assert statements_table(unknown)["Started"].tolist() == ["–"]
    assert bars_table(unknown)["Needed"].tolist() == ["–"]
    assert bars_table(unknown)["Set by"].tolist() == ["the fact `questions`"]


def test_the_picture_tells_untrue_statements_and_bars_apart(found):
    figure = agreement_figure(found)
    axes = figure.axes[0]
    words = [label.get_text() for label in axes.get_yticklabels()]
    assert words[-1] == "scented (untrue)"
    assert {text.get_text() for text in axes.texts} >= {"44 of 58 (75.8 %)"}
    strokes = [line for line in axes.lines if len(set(line.get_xdata())) == 1 and line.get_linewidth() == 1.6]
    assert len(strokes) == len(found.bars)
    assert "no mark on paper" in agreement_svg(found, text_as_paths=False)


def test_several_prototypes_are_named_in_the_picture():
    both = count_agreement(study_of(agreed({5: 3}) + agreed({5: 4}, prototype="P2")))
    words = [label.get_text() for label in agreement_figure(both).axes[0].get_yticklabels()]
    assert words == ["soft, P1", "soft, P2"]


def test_limits_are_stated(found):
    words = " ".join(what_agreement_cannot_show(found))
    assert "never rounded up" in words
    assert "regulatory professional" in words
    assert isinstance(found.notes, tuple)
    assert isinstance(found.foils, pd.DataFrame)
