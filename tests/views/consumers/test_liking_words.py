"""Words about liking: no winner where there is none, what the benchmark says, what each method loses."""

import numpy as np
import pandas as pd
import pytest

from panel.models.consumers.liking import weigh_liking
from panel.study.naming import Naming
from panel.views.consumers.liking import liking_headline, what_liking_cannot_show, what_liking_shows
from tests.consumer_studies import answers_study, one_group_panel
from tests.views.consumer_results import demo, demo_liking

NAMES = Naming(prototypes={"P1": "previous formula"})


def drawn(means, seed=1, scatter=1.0, **more):
    rng = np.random.default_rng(seed)
    value = np.array(means) + rng.normal(0, 1, (50, 1)) + rng.normal(0, scatter, (50, len(means)))
    return weigh_liking(answers_study(np.clip(np.rint(value), 1, 9), **more))


def test_the_demo_has_no_single_winner():
    said = liking_headline(demo_liking(), demo()[1])
    assert said.startswith("There is no single winner: P4, P8, P2")
    assert "P1 and P5 are liked less than P4" in said


def test_a_clear_winner_is_named():
    assert liking_headline(drawn([4, 4, 7]), NAMES).startswith("P3 is liked best, ")


def test_where_nothing_differs_there_is_no_winner():
    result = drawn([6, 6, 6], seed=4)
    assert result.p_value > 0.05
    said = liking_headline(result, NAMES)
    assert said.startswith("The prototypes cannot be separated by liking: no winner.")
    assert "liked best" not in said


def test_against_the_benchmark():
    result = drawn([5, 7, 3, 5.1], benchmark="P1")
    said = what_liking_shows(result, NAMES)[0]
    assert said.startswith("Against P1 (previous formula), liked better: P2 by ")
    assert "liked less: P3 by " in said
    assert said.endswith("cannot be separated from it: P4.")
    assert "No benchmark was tried" in what_liking_shows(drawn([5, 7]), NAMES)[0]


def test_the_demos_sentences_hold_its_numbers():
    lines = " ".join(what_liking_shows(demo_liking(), demo()[1]))
    assert "can use 57 consumers only; the mixed model also uses the 12 answers of the other 3." in lines
    assert "most often P2 from 30 of 58 consumers (51 %" in lines
    assert "they come to the same" in lines
    assert "No effect of the session shows" in lines


def test_straight_liners_are_named_and_stay():
    table = one_group_panel(np.random.default_rng(2), "even", 20, 4)
    table[[2, 5]] = 6
    lines = what_liking_shows(weigh_liking(answers_study(table)), NAMES)
    assert any(line.startswith("2 consumers gave every prototype the same answer (C0003 and C0006)") for line in lines)


def test_a_position_effect_is_said_with_its_size():
    orders = np.array([[1, 2, 3], [2, 3, 1], [3, 1, 2]])[np.arange(30) % 3]
    rng = np.random.default_rng(3)
    table = np.clip(np.rint(5 + rng.normal(0, 1, (30, 1)) + rng.normal(0, 0.8, (30, 3)) + 2 * (orders == 1)), 1, 9)
    result = weigh_liking(answers_study(table, position=orders.astype(float).ravel()))
    line = next(line for line in what_liking_shows(result, NAMES) if line.startswith("The position"))
    assert "position 1 gets +" in line
    assert "the answer about the prototypes stays the same" in line


@pytest.mark.parametrize("words", ["'Cannot be separated' is not 'liked equally'", "A mean can hide opposite tastes"])
def test_what_it_cannot_show(words):
    assert any(words in line for line in what_liking_cannot_show(demo_liking()))


def test_methods_that_disagree_are_said_to():
    result = demo_liking()
    changed = result.tests.assign(p_value=np.where(result.tests["test"] == "Friedman", 0.4, result.tests["p_value"]))
    assert isinstance(changed, pd.DataFrame)
    from dataclasses import replace

    assert "do not come to the same" in " ".join(what_liking_shows(replace(result, tests=changed), demo()[1]))
