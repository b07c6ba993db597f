"""Words about just-about-right answers: sides, what they cost, and changes as questions."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from panel.cli.shared import print_told
from panel.models.consumers.answers import QuestionFacts
from panel.models.consumers.just_about_right import JustAboutRight
from panel.study.naming import Naming
from panel.views.consumers.just_about_right import (
    _CASES,
    _cases,
    _changes_to_test,
    _drop_sentence,
    _headline,
    _over_all_prototypes,
    _side_words,
    _sides_of,
    tell_just_about_right,
)

NAMES = Naming(attributes={"RO_THICK": "thickness"})
THICKNESS = QuestionFacts(low_end="much too thin", high_end="much too thick", attribute="RO_THICK")


def drop(**changes):
    row = {
        **{"prototype": "P2", "question": "thickness", "side": "too much", "count": 20, "base": 58, "share": 20 / 58},
        **{"n_off": 20, "off_mean": 5.0, "n_right": 30, "right_mean": 6.4, "estimate": 1.4, "told_low": 0.5},
        **{
            "told_high": 2.3,
            "told_level": 0.98,
            "p_value": 0.001,
            "p_adjusted": 0.004,
            "weighted": 0.48,
            "split": False,
            "verdict": "move",
        },
    }
    return row | changes


def result(*drops, moves=(), within=(), facts=None, liking="overall liking"):
    return JustAboutRight(
        shares=pd.DataFrame(
            {"prototype": "P2", "question": "thickness", "side": "too much", "share": 0.344, "most": [False]}
        ),
        drops=pd.DataFrame(list(drops), columns=list(drop())),
        within=pd.DataFrame(
            within, columns=["question", "side", "estimate", "told_low", "told_high", "told_level", "verdict"]
        ),
        pairs=pd.DataFrame(),
        moves=pd.DataFrame(list(moves)),
        refused=pd.DataFrame(),
        liking=liking,
        facts={"thickness": THICKNESS} if facts is None else facts,
        untold=(),
        method="",
        notes=(),
    )


def test_a_side_is_told_in_the_words_of_the_question():
    found = result()
    assert _side_words(found, "thickness", "too little") == "too thin"
    assert _side_words(found, "thickness", "too much") == "too thick"
    assert _side_words(found, "thickness", "just about right") == "just about right"
    assert _side_words(found, "glide", "too much") == "too much"


def test_a_question_that_is_not_weighed_is_named_where_nothing_is_shown():
    none = result(drop(verdict="no cost seen"))
    assert _headline(none) == (
        "Nothing that people find too little or too much is shown to cost liking. It may still do so."
    )
    refused = pd.DataFrame({"question": ["stickiness"], "why": ["few want it stickier: 3 of 70 answers."]})
    assert _headline(replace(none, refused=refused)) == (
        "Nothing that people find too little or too much is shown to cost liking; not weighed: stickiness. It may "
        "still do so."
    )


def test_a_table_without_rows_is_said_to_be_none_by_command(capsys):
    print_told(tell_just_about_right(result(drop(verdict="no cost seen")), NAMES))
    assert capsys.readouterr().out.endswith("may like it less\nNone.\n\n")


def test_a_move_says_how_many_how_much_and_which_way():
    found = result(drop())
    assert _cases(found) == [
        "P2: thickness too thick for 20 of 58 (34.5 %), and those like it 1.4 less (98 % interval of the drop 0.5 to "
        "2.3, p after Holm = 0.004): test it more towards thin."
    ]
    assert _headline(found) == (
        "Worth testing a change: P2 (thickness too thick). Those who say so like it less, which need not be the reason."
    )
    plain = result(drop(question="glide", side="too little"))
    assert _cases(plain)[0].endswith("test it with more of it.")


def test_what_can_be_chance_is_to_be_asked_again_and_that_is_said_once():
    lines = _cases(result(drop(verdict="perhaps")))
    assert "Ask" not in lines[0]
    assert lines[1:] == ["Where it can be chance, ask again before moving anything."]


def test_opposite_opinions_are_warned_of():
    assert "As many find the opposite" in _cases(result(drop(split=True)))[0]


@pytest.mark.parametrize(
    ("verdict", "words"),
    [
        ("perhaps", "among so many questions this can be chance"),
        ("own level", "may like everything less, for beside what they give the other prototypes it is not shown."),
        ("few people", "fewer than 20 %, no reason to move."),
        ("small group", "fewer than 10 people (30 find it just about right)"),
        ("no cost seen", "but it is not shown that those like it less"),
    ],
)
def test_other_verdicts(verdict, words):
    found = result(drop(verdict=verdict))
    assert words in _drop_sentence(found, found.drops.iloc[0].to_dict())
    assert "Nothing that people find too little or too much is shown to cost liking." in _headline(found)


def test_without_liking_nothing_is_weighed():
    found = result(drop(estimate=np.nan, verdict="no cost seen"), liking="")
    assert "Counted, but not weighed" in _headline(found)
    assert "is not known" in _drop_sentence(found, found.drops.iloc[0].to_dict())
    assert _over_all_prototypes(found) == []
    assert "too little or too much" in _headline(result())


def test_over_all_prototypes():
    found = result(
        within=[
            ("thickness", "too little", 0.9, 0.5, 1.3, 0.98, "shown"),
            ("thickness", "too much", 0.4, -0.1, 0.9, 0.98, "perhaps"),
            ("glide", "too little", 0.1, -0.3, 0.5, 0.98, "not shown"),
            ("shine", "too much", 0.6, 0.1, 1.1, 0.99, "between prototypes"),
            ("glide", "too much", 0.2, np.nan, np.nan, np.nan, "few people"),
        ]
    )
    assert _over_all_prototypes(found) == [
        "thickness: where they find it too thin consumers like it 0.9 less (98 % interval 0.5 to 1.3); where they find "
        "it too thick consumers like it 0.4 less (98 % interval −0.1 to 0.9), but among so many questions this can be "
        "chance.",
        "glide: too little: not shown that it is liked less (98 % interval −0.3 to 0.5); too much: too few people "
        "changed their answer to say.",
        "shine: where they find it too much consumers like it 0.6 less (99 % interval 0.1 to 1.1), but not beside what "
        "the same prototype is given by others: another difference may be behind it.",
    ]
    assert "shine" not in _headline(found)


MOVE = {
    **{"prototype": "P2", "question": "thickness", "side": "too much", "attribute": "RO_THICK", "wanted": "less"},
    **{"swap": "A → B", "removed": "B", "added": "A", "percent": 6.0, "made": "undone", "estimate": -5.0},
    **{"told_low": -7.0, "told_high": -3.0, "told_level": 0.99, "p_adjusted": 0.01, "gives": "P1", "also": ""},
}


def test_a_change_is_a_question_with_both_ends_of_the_swap():
    (line,) = _changes_to_test(result(drop(), moves=[MOVE]), NAMES)
    assert line == (
        "Would P2 still be too thick on thickness with 6 % A in place of B? In this base the trained panel scored that "
        "change 5.0 lower on thickness (99 % interval 3.0 to 7.0). That is P1: look at its answers first."
    )


def test_what_changes_along_is_named_and_two_changes_are_enough():
    lines = _changes_to_test(result(moves=[MOVE | {"also": "C + D", "gives": ""}, MOVE, MOVE]), NAMES)
    assert len(lines) == 2
    assert "C + D changed along with it; which of them it goes with cannot be said" in lines[0]


def test_what_most_people_find_is_told_whatever_it_costs():
    found = result(drop(verdict="no cost seen"))
    assert tell_just_about_right(found, NAMES).mind == ()
    sides = ["too much", "just about right", "too little", "too much"]
    shares = pd.DataFrame(
        {"prototype": ["P1", "P2", "P3", "P4"], "question": "thickness", "side": sides, "share": [0.634, 0.9, 0.8, 0.4]}
    ).assign(most=[True, True, True, False])
    assert tell_just_about_right(replace(found, shares=shares), NAMES).mind == (
        "More than half find too little or too much: P3 (thickness too thin, 80.0 %) and "
        "P1 (thickness too thick, 63.4 %).",
    )


def test_what_is_liked_less_over_all_prototypes_is_the_headline_where_no_case_stands_alone():
    within = [
        ("thickness", "too much", 0.6, 0.1, 1.1, 0.99, "shown"),
        ("thickness", "too little", 0.9, -0.1, 2, 0.99, "perhaps"),
    ]
    words = "Over all prototypes consumers like it less where they find thickness too thick (0.6 less)"
    alone = result(drop(verdict="perhaps"), within=within)
    assert _headline(alone) == f"{words}; for no prototype alone is that shown."
    assert tell_just_about_right(alone, NAMES).mind == ()
    both = result(drop(), within=within)
    assert _headline(both).startswith("Worth testing a change: P2 (thickness too thick).")
    assert tell_just_about_right(both, NAMES).mind == (f"{words}.",)
    nothing = result(drop(verdict="perhaps"), within=within[1:])
    assert _headline(nothing).startswith("Nothing that people find too little or too much is shown to cost liking.")


def test_the_caution_stands_over_changes_only():
    drop_only, with_move = (tell_just_about_right(result(drop(), moves=moves), NAMES) for moves in ((), [MOVE]))
    titles = [[drawer.title for drawer in told.every_drawer()] for told in (drop_only, with_move)]
    assert "Changes of emollients that could be tested" not in titles[0]
    (changes,) = [
        each for each in with_move.every_drawer() if each.title == "Changes of emollients that could be tested"
    ]
    assert "not orders" in changes.items[0]
    assert "other people" in " ".join(with_move.cannot)


def test_without_liking_the_counts_stand_below_the_headline():
    told = tell_just_about_right(result(drop(), liking=""), NAMES)
    assert told.headline.startswith("Counted, but not weighed")
    assert told.table.name == _sides_of("thickness").name
    assert tell_just_about_right(result(drop()), NAMES).table is _CASES
