"""Plans in words: every number in a sentence is one of the plan."""

import numpy as np
import pytest

from panel.plan.consumer_numbers import liking_difference, preferred_numbers
from panel.plan.orders import plan_servings
from panel.plan.sample_size import panel_sizes
from panel.views.planning.plan import (
    enough_answers_words,
    what_the_plan_cannot_show,
    what_the_plan_shows,
    what_the_sizes_cannot_show,
    what_the_sizes_show,
)
from tests.plan.test_gaps import forbid

NAMES, PEOPLE = [f"P{n}" for n in range(1, 9)], [f"A{n:02d}" for n in range(1, 11)]


def plan(**how):
    return plan_servings(NAMES, PEOPLE, np.random.default_rng(1), **how)


def test_what_is_served_and_how_even_it_is():
    lines = what_the_plan_shows(plan(replicates=3))
    assert lines[0] == ("10 assessors, 8 prototypes, 3 sessions: 240 servings, 8 for each assessor in a session.")
    assert lines[1] == ("Prototypes at the positions of the order: as even as whole numbers allow, 3 to 4 times each.")
    assert lines[2].startswith("Prototypes straight after each other: as even as whole numbers allow")
    assert lines[3].startswith("Prototypes at the sites: ")
    assert len(lines) == 4  # a complete plan loses no precision


def test_a_warm_up_is_not_counted_among_the_servings():
    assert what_the_plan_shows(plan(warm_up="start"))[0].startswith(
        "10 assessors, 8 prototypes, 1 session: 80 servings"
    )


def test_what_is_lost_by_splitting_is_told_and_not_rounded_up():
    result = plan(per_session=4)
    last = what_the_plan_shows(result)[-1]
    weakest = result.balance.together["share"].min()
    assert f"the weakest {int(100 * weakest)} %" in last
    assert "as precise as if every session held every prototype" in last


def test_gaps_show_in_the_servings():
    lines = what_the_plan_shows(plan(forbidden=forbid(("A01", "P5"))))
    assert "79 servings, 7 to 8 for each assessor" in lines[0]


def test_a_plan_is_no_permission():
    assert any("A plan is no permission" in line for line in what_the_plan_cannot_show())


def test_how_many_people_it_takes():
    result = panel_sizes(8.0, 8)
    lines = what_the_sizes_show(result)
    alone = result.needed.query("comparison == 'one planned difference'")["assessors"].tolist()
    assert lines[0] == (
        "To find a difference of 8.0 with a chance of 80 % when it is planned beforehand: "
        f"{alone[0]} assessors with 1 replicate, {alone[1]} assessors with 2 replicates, "
        f"{alone[2]} assessors with 3 replicates or {alone[3]} assessors with 4 replicates."
    )
    assert "50 % of what two prototypes must differ by" in lines[-1]
    assert len(what_the_sizes_cannot_show()) == 3


@pytest.mark.parametrize(
    ("people", "words"),
    [([4, 5], "more than the 5 assessors tried here"), ([11, 12], "12 assessors with 3 replicates.")],
)
def test_one_way_or_none(people, words):
    line = what_the_sizes_show(panel_sizes(8.0, 8, assessors=people, replicates=[3]))[0]
    assert words in line


def test_teeth_are_explained_only_where_there_are_any():
    counted = enough_answers_words(preferred_numbers(0.6))
    assert "158 answers are the first number that is enough. From 169 on it is never missed again" in counted
    assert enough_answers_words(liking_difference(1.0)).endswith("with a chance of 80 %: 34 answers.")
