"""Words, tables and picture of agreement: nothing rounded up, bars, yes-saying."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from data_demo.make_demo import make_study
from panel.models.consumers.agreement import count_agreement
from panel.study.naming import Naming
from panel.study.shown import shown
from panel.views.consumers.agreement import (
    _BARS,
    _STATEMENTS,
    _WITHOUT_FOIL,
    _figure,
    _headline,
    _in_ten,
    tell_agreement,
)
from panel.views.pictures import NARROW
from panel.words import DOWN, UP, counted_share
from tests.consumer_answers import agreed, study_of
from tests.views.examples import words_covering_words, words_outside


@pytest.fixture(scope="module")
def found():
    return count_agreement(make_study()[0])


def told_of(result, title=""):
    """Return the sentences of a drawer; those to mind without a title."""
    told = tell_agreement(result, Naming())
    if not title:
        return list(told.mind)
    (own,) = [each for each in told.drawers if each.title == title]
    return [item for item in own.items if isinstance(item, str)]


def foiled(untrue, true):
    facts = {"questions": [{"question": "purple", "kind": "agreement", "words": "It is purple.", "foil": True}]}
    return count_agreement(study_of(agreed(true) + agreed(untrue, "purple"), facts))


def test_the_demo_is_not_eight_in_ten_and_comforting_is_no_majority(found):
    lines = {line.split(":")[0]: line for line in told_of(found, "Statement by statement")}
    assert len(lines) == 7
    paper = lines["no mark on paper"]
    assert "44 of 58 (75.8 %) agreed (95 % interval 63.4 to 85.1 %); at most '7 in 10'." in paper
    assert "8 in 10" not in paper
    assert "More than half: shown (p < 0.001)." in paper
    assert "More than 80 %: not shown (p = 0.831); 52 of 58 would have to agree." in paper
    assert "2 said they do not know and stay in the base; of those with an opinion it is 44 of 56 (78.5 %)." in paper
    assert told_of(found)[1] == "Each of these statements was left unanswered by 2 of the 60 who started."
    assert "More than half: not shown" in lines["comforting"]
    assert "no bar was set, so a majority is asked" in lines["not sticky"]
    assert _headline(found) == (
        "Enough people agree in 6 of 8 cases, also with all counted together. Not shown: “no mark on paper” "
        "(more than 80 %) and “comforting” (more than half)."
    )


def test_headlines_for_all_one_and_none():
    assert _headline(count_agreement(study_of(agreed({5: 20})))) == "More than half agree: shown."
    assert _headline(count_agreement(study_of(agreed({5: 5, 1: 15})))) == (
        "Not shown: that more than half agree with “soft”."
    )
    both = count_agreement(study_of(agreed({5: 20}) + agreed({5: 20}, "b")))
    assert _headline(both) == "Enough people agree in both cases, also with all counted together."
    failed = count_agreement(study_of(agreed({5: 5, 1: 15}) + agreed({5: 20}, "b")))
    assert _headline(failed) == (
        "Enough people agree in 1 of 2 cases, also with all counted together. Not shown: that more than half agree "
        "with “soft”."
    )
    none = count_agreement(study_of([row for name in "abcd" for row in agreed({1: 20}, name)]))
    assert _headline(none) == (
        "Enough people agree in none of 4 cases. Not shown: that more than half agree with “a”, “b”, “c” and 1 more."
    )
    assert "No statement was tested" in _headline(foiled({1: 5}, {}))


def test_statements_taken_alone_are_not_told_as_if_all_of_them_counted_together():
    # 15 of 20 against a half: p = 0.0207 (binomial table); by Holm the three are at 0.062
    some = count_agreement(study_of(agreed({5: 20}) + [row for name in "bcd" for row in agreed({5: 15, 1: 5}, name)]))
    assert _headline(some) == "Enough people agree in all 4 cases, each taken alone; in 1 with all counted together."
    assert some.bars["together"].tolist() == [True, False, False, False]
    few = count_agreement(study_of([row for name in "bcd" for row in agreed({5: 15, 1: 5}, name)]))
    assert _headline(few).endswith("in all 3 cases, each taken alone; in none with all counted together.")


def test_a_bar_is_written_as_it_was_set():
    set_high = count_agreement(study_of(agreed({5: 10, 1: 10}), {"questions": {"soft": {"bar": 62.5}}}))
    assert _headline(set_high) == "Not shown: that more than 62.5 % agree with “soft”."
    assert shown(_BARS, set_high, Naming())["Bar"].tolist() == ["62.5 %"]


def test_too_few_people_can_never_pass():
    (line,) = told_of(count_agreement(study_of(agreed({5: 3}))), "Statement by statement")
    assert "cannot be shown with 3 people" in line
    (line,) = told_of(count_agreement(study_of(agreed({5: 1, 1: 19}))), "Statement by statement")
    assert "at most fewer than 1 in 10" in line


def test_yes_saying_lowers_trust_in_words(found):
    line = told_of(found)[0]
    assert line.startswith("8 of 58 (13.8 %) agreed with a sentence that is untrue for P4, 'The cream has a clear")
    assert line.endswith("without these soft at 20 minutes and would use daily would no longer pass theirs.")
    assert shown(_WITHOUT_FOIL, found, Naming())["Agreed, without yes-sayers"].tolist()[2] == "36 of 50 (72.0 %)"
    clear = told_of(foiled({5: 2, 1: 58}, {5: 55, 1: 5}))[0]
    assert "every bar that is passed would still be passed" in clear
    narrow = told_of(foiled({5: 2, 1: 58}, {5: 38, 1: 22}))[0]
    assert "soft would no longer pass its bar" in narrow
    assert "Nobody said yes for the sake of it" in told_of(foiled({1: 60}, {5: 38, 1: 22}))[0]
    without = told_of(count_agreement(study_of(agreed({5: 3}))), "How readily do these people say yes?")
    assert "nothing measures" in without[0]


def test_of_several_untrue_statements_the_one_most_agreed_with_is_taken_off():
    facts = {"questions": [{"question": name, "kind": "agreement", "foil": True} for name in ("purple", "fizzy")]}
    rows = agreed({5: 38, 1: 22}) + agreed({5: 1, 1: 59}, "purple") + agreed({5: 3, 1: 57}, "fizzy")
    both = count_agreement(study_of(rows, facts))
    assert both.bars["needed"].tolist() == [37]  # exact binomial, 60 people, computed with R
    assert both.bars["stands"].tolist() == [False]
    assert told_of(both)[0].startswith("3 of 60 (5.0 %)")
    rest = told_of(both, "How readily do these people say yes?")
    assert rest[0].startswith("1 of 60 (1.7 %) agreed")
    assert "bar" not in rest[0]


def test_tables(found):
    statements = shown(_STATEMENTS, found, Naming())
    assert len(statements) == 8
    row = statements.iloc[2]
    assert row["Agreed, of all who answered"] == "44 of 58 (75.8 %)"
    assert row["Agreed, of those with an opinion"] == "44 of 56 (78.5 %)"
    assert row["95 % interval (Wilson)"] == "63.4 to 85.1 %"
    assert (row["Neutral"], row["Disagreed"]) == ("6 of 58 (10.4 %)", "6 of 58 (10.4 %)")
    assert (row["At most"], row["Don't know"], row["Started"], row["Did not answer"]) == ("7 in 10", "2", "60", "2")
    assert statements["Untrue on purpose"].tolist() == [""] * 7 + ["yes"]
    assert statements["Agreed, of all who answered"].iloc[-1] == "8 of 58 (13.8 %)"  # 13.79: up, it is untrue
    bars = shown(_BARS, found, Naming())
    assert "the claim, stamped before the data: 8 in 10 users found no mark on their paper" in set(bars["Set by"])
    assert dict(zip(bars["Bar"], bars["Above the bar, taken alone"], strict=True))["80 %"] == "not shown"
    assert len(shown(_WITHOUT_FOIL, found, Naming())) == 7
    unknown = count_agreement(study_of(agreed({5: 3}), {"questions": {"soft": {"bar": 60}}}))
    assert shown(_STATEMENTS, unknown, Naming())["Started"].tolist() == ["–"]
    assert shown(_BARS, unknown, Naming())["Needed"].tolist() == ["–"]
    assert shown(_BARS, unknown, Naming())["Set by"].tolist() == ["the fact `questions`"]


def test_the_picture_tells_untrue_statements_and_bars_apart(found):
    axes = _figure(found).axes[0]
    words = [label.get_text() for label in axes.get_yticklabels()]
    assert words[-1] == "scented (untrue)"
    assert {text.get_text() for text in axes.texts} >= {"44 of 58 (75.8 %)", "8 of 58 (13.8 %)"}
    strokes = [line for line in axes.lines if len(set(line.get_xdata())) == 1 and line.get_linewidth() == 1.6]
    assert len(strokes) == len(found.bars)
    picture = tell_agreement(found, Naming()).picture
    assert picture.alt in re.sub(r"\s+", " ", picture.svg)


def test_counts_beside_long_statements_stay_in_the_picture_on_a_phone():
    rows = [row for name in ("P1", "P2") for row in agreed({5: 30, 1: 34}, "absorbs quickly", prototype=name)]
    figure = _figure(count_agreement(study_of(rows)), NARROW)
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []


def test_several_prototypes_are_named():
    both = count_agreement(study_of(agreed({5: 3}) + agreed({5: 4}, prototype="P2")))
    words = [label.get_text() for label in _figure(both).axes[0].get_yticklabels()]
    assert words == ["P1, soft", "P2, soft"]
    lines = told_of(both, "Statement by statement")
    assert [line.split(":")[0] for line in lines] == ["P1, soft", "P2, soft"]
    assert _headline(both) == (
        "Enough people agree in none of 2 cases. Not shown: that more than half agree with “soft” for P1 and “soft” "
        "for P2."
    )


def test_limits_are_stated(found):
    words = " ".join(tell_agreement(found, Naming()).cannot)
    assert "never rounded up" in words
    assert "regulatory professional" in words


@pytest.mark.parametrize(
    ("count", "base", "words", "tens"),
    [
        (45, 58, "45 of 58 (77.5 %)", "7 in 10"),
        (44, 58, "44 of 58 (75.8 %)", "7 in 10"),
        (4, 5, "4 of 5 (80.0 %)", "8 in 10"),
        (29, 100, "29 of 100 (29.0 %)", "2 in 10"),
        (799, 1000, "799 of 1,000 (79.9 %)", "7 in 10"),
        (3, 58, "3 of 58 (5.1 %)", "none"),
        (58, 58, "58 of 58 (100.0 %)", "10 in 10"),
        (0, 0, "0 of 0", "none"),
    ],
)
def test_shares_that_favour_a_claim_are_never_rounded_up(count, base, words, tens):
    assert counted_share(count, base, DOWN) == words
    assert _in_ten(count, base) == tens


@given(st.integers(1, 3000).flatmap(lambda base: st.tuples(st.integers(0, base), st.just(base))))
def test_neither_says_more_than_was_counted(counted):
    count, base = counted
    down, up = (float(re.search(r"\(([\d.]+) %\)", counted_share(count, base, way))[1]) for way in (DOWN, UP))
    assert down <= 100 * count / base + 1e-9 <= up + 2e-9  # the rounding of a float
    assert down > 100 * count / base - 0.1 - 1e-9
    tens = _in_ten(count, base)
    said = 0 if tens == "none" else int(tens.split()[0])
    assert 10 * count >= said * base
    assert 10 * count < (said + 1) * base
