"""Words about just-about-right answers: sides, what they cost, and changes as questions."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from panel.models.consumers.answers import QuestionFacts
from panel.models.consumers.just_about_right import JustAboutRight
from panel.study.naming import Naming
from panel.views.consumers.just_about_right import (
    changes_to_test,
    drop_sentence,
    moves_caution,
    over_all_prototypes,
    right_headline,
    side_words,
    what_costs_liking,
    what_right_cannot_show,
)

NAMES = Naming(attributes={"RO_THICK": "thickness"})
THICKNESS = QuestionFacts(low_end="much too thin", high_end="much too thick", attribute="RO_THICK")


def drop(**changes):
    row = {
        **{"prototype": "P2", "question": "thickness", "side": "too much", "count": 20, "base": 58, "share": 20 / 58},
        **{"n_off": 20, "off_mean": 5.0, "n_right": 30, "right_mean": 6.4, "estimate": 1.4, "ci_low": 0.5},
        **{"ci_high": 2.3, "p_value": 0.001, "p_adjusted": 0.004, "weighted": 0.48, "split": False, "verdict": "move"},
    }
    return row | changes


def result(*drops, moves=(), within=(), facts=None, liking="overall liking"):
    return JustAboutRight(
        shares=pd.DataFrame(),
        drops=pd.DataFrame(list(drops), columns=list(drop())),
        balance=pd.DataFrame(),
        within=pd.DataFrame(within, columns=["question", "side", "estimate", "ci_low", "ci_high", "p_adjusted"]),
        pairs=pd.DataFrame(),
        moves=pd.DataFrame(list(moves)),
        refused=pd.DataFrame(),
        liking=liking,
        facts={"thickness": THICKNESS} if facts is None else facts,
        level=0.95,
        method="",
        notes=(),
    )


def test_a_side_is_told_in_the_words_of_the_question():
    found = result()
    assert side_words(found, "thickness", "too little") == "too thin"
    assert side_words(found, "thickness", "too much") == "too thick"
    assert side_words(found, "thickness", "just about right") == "just about right"
    assert side_words(found, "glide", "too much") == "too much"


def test_a_move_says_how_many_how_much_and_which_way():
    found = result(drop())
    assert what_costs_liking(found) == [
        "P2: thickness too thick for 20 of 58 (34.4 %), and they like it 1.4 less (95 % interval of the drop 0.5 to "
        "2.3, p = 0.004 after Holm): try it less thick."
    ]
    assert right_headline(found) == "Worth a move, because those who mind like it less: P2 (thickness too thick)."
    plain = result(drop(question="glide", side="too little"))
    assert what_costs_liking(plain)[0].endswith("try it with more of it.")


def test_what_can_be_chance_is_to_be_asked_again_and_that_is_said_once():
    lines = what_costs_liking(result(drop(verdict="perhaps")))
    assert "Ask" not in lines[0]
    assert lines[1:] == ["Where it can be chance, ask again before moving anything."]


def test_opposite_opinions_are_warned_of():
    assert "As many find the opposite" in what_costs_liking(result(drop(split=True)))[0]


@pytest.mark.parametrize(
    ("verdict", "words"),
    [
        ("perhaps", "among so many questions this can be chance"),
        ("few people", "fewer than 20 %, no reason to move."),
        ("small group", "fewer than 10 people (30 find it just about right)"),
        ("no cost seen", "no cost in liking is shown"),
    ],
)
def test_other_verdicts(verdict, words):
    found = result(drop(verdict=verdict))
    assert words in drop_sentence(found, found.drops.iloc[0].to_dict())
    assert "For no prototype is it shown" in right_headline(found)


def test_without_liking_nothing_is_weighed():
    found = result(drop(estimate=np.nan, verdict="no cost seen"), liking="")
    assert "Counted, but not weighed" in right_headline(found)
    assert "is not known" in drop_sentence(found, found.drops.iloc[0].to_dict())
    assert over_all_prototypes(found) == []
    assert "too little or too much" in right_headline(result())


def test_over_all_prototypes():
    found = result(
        within=[("thickness", "too little", 0.9, 0.5, 1.3, 0.001), ("thickness", "too much", 0.4, 0.1, 0.7, 0.07),
                ("glide", "too little", 0.1, -0.3, 0.5, 0.8), ("glide", "too much", 0.2, np.nan, np.nan, np.nan)]
    )  # fmt: skip
    assert over_all_prototypes(found) == [
        "thickness: too thin costs 0.9 liking points within consumers (0.5 to 1.3); too thick may cost 0.4 liking "
        "points within consumers (0.1 to 0.7), but among so many questions this can be chance.",
        "glide: too little: no cost shown (−0.3 to 0.5); too much: too few people changed their answer to say.",
    ]


MOVE = {
    **{"prototype": "P2", "question": "thickness", "side": "too much", "attribute": "RO_THICK", "wanted": "less"},
    **{"swap": "A -> B", "removed": "B", "added": "A", "percent": 6.0, "made": "undone", "estimate": -5.0},
    **{"ci_low": -7.0, "ci_high": -3.0, "p_adjusted": 0.01, "gives": "P1", "also": ""},
}


def test_a_change_is_a_question_with_both_ends_of_the_swap():
    (line,) = changes_to_test(result(drop(), moves=[MOVE]), NAMES)
    assert line == (
        "Would P2 still be too thick on thickness with 6 % A in place of B? In this base the trained panel scored that "
        "change 5.0 lower on thickness (95 % interval 3.0 to 7.0). That is P1: look at its answers first."
    )


def test_what_changes_along_is_named_and_two_changes_are_enough():
    lines = changes_to_test(result(moves=[MOVE | {"also": "C + D", "gives": ""}, MOVE, MOVE]), NAMES)
    assert len(lines) == 2
    assert "C + D changed along with it; which of them did it cannot be said" in lines[0]


def test_the_caution_stands_over_changes_only():
    assert moves_caution(pd.DataFrame()) == ""
    assert "not orders" in moves_caution(pd.DataFrame([MOVE]))
    assert "other people" in " ".join(what_right_cannot_show(replace(result())))
