"""Plans in a sentence, a picture and tables: what is made, what is served, what is hidden."""

from dataclasses import replace

import numpy as np
import pytest

from panel.plan.mixture_plan import plan_mixture
from panel.plan.orders import plan_servings
from panel.plan.swap_plan import Swap, plan_swaps
from panel.study.formulas import formula
from panel.study.naming import Naming
from panel.study.people import WHO_MAY_SEE
from panel.study.shown import shown
from panel.views.planning.plan import (
    _CARRY_OVER,
    _GAPS,
    _PLACES,
    _PLANNED,
    _SITES,
    BALANCE,
    FORMULAS,
    MIXTURE_MODELS,
    SERVINGS,
    SWAPS,
    cautions_sentences,
    key_table,
    mixture_blends,
    tell_plan,
    tell_servings,
    tray_figure,
)
from tests.formula_studies import (
    ALKANE,
    ALMOND,
    CARBONATE,
    ISOSTEARATE,
    SHEA,
    TRIGLYCERIDE,
    hand_cream_formulas,
    study_of,
)
from tests.plan.test_gaps import forbid
from tests.views.examples import words_covering_words, words_outside

NAMES = Naming()
BASE = formula(study_of(hand_cream_formulas()), "P1")
OWN_SWAPS = [Swap(CARBONATE, ALKANE, 6.0), Swap(TRIGLYCERIDE, ISOSTEARATE, 5.0), Swap(ALMOND, SHEA, 4.0)]
FULL, HALF, ONE = (plan_swaps(BASE, OWN_SWAPS, kind) for kind in ("full", "half", "one at a time"))
SERVED = [f"P{number}" for number in range(1, 12)]
PLAN = plan_servings(
    SERVED, ["A1", "A2", "A3"], np.random.default_rng(1), per_session=6, forbidden=forbid(("A1", "P3"))
)


def even(**how):
    people = [f"A{n:02d}" for n in range(1, 11)]
    return plan_servings([f"P{n}" for n in range(1, 9)], people, np.random.default_rng(1), **how)


# Servings.


def test_what_is_served_and_how_even_it_is():
    told = tell_servings(even(replicates=3), NAMES)
    assert told.headline == (
        "10 people score 8 prototypes in 3 sessions: 240 servings, 8 for each person in a session."
    )
    assert told.mind[0].startswith("Positions and what follows what")
    assert ": as even as whole numbers allow" in told.mind[0]
    assert not any("precise" in line for line in told.mind)  # a complete plan loses no precision


def test_gaps_are_not_counted_among_the_servings():
    told = tell_servings(even(forbidden=forbid(("A01", "P5"))), NAMES)
    assert "79 servings, 7 to 8 for each person" in told.headline
    assert told.drawers[0].items == (_GAPS, WHO_MAY_SEE)
    table = shown(_GAPS, told.result, NAMES)
    assert table[["Assessor", "Does not get"]].to_numpy().tolist() == [["A01", "P5"]]


def test_what_is_lost_by_splitting_is_told_and_not_rounded_up():
    plan = even(per_session=4)
    weakest = plan.balance.together["share"].min()
    assert f"the weakest {int(100 * weakest)} %" in tell_servings(plan, NAMES).mind[-1]


def test_a_plan_is_no_permission():
    assert any("A plan is no permission" in line for line in tell_servings(even(), NAMES).cannot)


def test_a_tray_shows_the_codes_from_first_to_last_and_no_prototype():
    told = tell_servings(PLAN, NAMES, "2")
    figure = told.picture.figure()
    words = [text.get_text() for text in figure.axes[0].texts]
    rows = PLAN.servings.loc[PLAN.servings["session"] == "2"]
    assert not set(SERVED) & set(words)
    for who, own in rows.sort_values("position").groupby("assessor"):
        first = words.index(who) + 1
        assert words[first : first + len(own)] == own["code"].tolist()
        assert f"{who}: {', '.join(own['code'])}" in told.picture.alt
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []


def test_trays_that_go_on_below_hold_every_dish_once_under_its_heading():
    columns = [f"place {number}" for number in range(1, 26)]
    cells = np.array([[f"{who}{number}" for number in range(1, 26)] for who in "ab"])
    axes = tray_figure(["first", "second"], columns, cells).axes[0]
    at = {text.get_text().replace("\n", " "): text.get_position() for text in axes.texts}
    words = [text.get_text().replace("\n", " ") for text in axes.texts]
    assert sorted(word for word in words if word not in ("first", "second")) == sorted([*columns, *cells.ravel()])
    assert words.count("first") == words.count("second") > 1
    for who in cells:
        for word, heading in zip(who, columns, strict=True):
            assert at[word][0] == pytest.approx(at[heading][0])
            assert at[word][1] > at[heading][1]


def test_of_a_hundred_people_the_picture_shows_some_and_says_so():
    people = [f"C{n:03d}" for n in range(100)]
    plan = plan_servings(["P1", "P2", "P3"], people, np.random.default_rng(1))
    picture = tell_servings(plan, NAMES).picture
    assert "76 more people in the table." in picture.alt
    assert picture.figure().get_size_inches()[1] < 12


def test_one_row_per_serving():
    table = shown(SERVINGS, PLAN, NAMES)
    assert len(table) == len(PLAN.servings)
    assert table["Position"].iloc[0] == "1"


def test_without_prototypes_nothing_tells_which_code_is_which():
    table = shown(SERVINGS, replace(PLAN, servings=PLAN.servings.drop(columns="prototype")), NAMES)
    assert "Prototype" not in table
    assert not set(SERVED) & set(table.to_numpy().ravel())


def test_the_key_has_every_code_and_puts_2_before_10():
    table = key_table(PLAN.servings)
    assert table["Prototype"].tolist() == SERVED
    assert set(table.columns) == {"Prototype", "Code in session 1", "Code in session 2"}
    assert set(table.iloc[:, 1:].to_numpy().ravel()) - {"–"} == set(PLAN.servings["code"])


def test_counts_are_those_of_the_balance():
    balance = PLAN.balance
    places, sites = shown(_PLACES, PLAN, NAMES), shown(_SITES, PLAN, NAMES)
    assert places.columns.tolist()[:3] == ["Prototype", "Position 1", "Position 2"] or "Position 2" in places
    assert places.iloc[:, 1:].replace("–", "0").astype(int).to_numpy().sum() == balance.positions["count"].sum()
    assert sites.iloc[:, 1:].replace("–", "0").astype(int).to_numpy().sum() == balance.sites["count"].sum()
    after = shown(_CARRY_OVER, PLAN, NAMES)
    assert after.columns.tolist() == ["Prototype", *(f"After {name}" for name in SERVED)]
    order = {name: place for place, name in enumerate(SERVED)}
    assert [after.iloc[n, order[after["Prototype"][n]] + 1] for n in range(len(after))] == ["–"] * len(SERVED)
    table = shown(BALANCE, balance, NAMES)
    assert table["In words"].tolist() == balance.summary["verdict"].tolist()
    assert table["Where"].iloc[0] == "all sessions"


# Prototypes to make.


def test_the_picture_shows_which_swaps_are_made():
    picture = tell_plan(FULL, NAMES).picture
    assert "P1 –; P2 A; P3 B; P4 AB" in picture.alt
    words = [text.get_text() for text in picture.figure().axes[0].texts]
    swaps = [" ".join(word.split()) for word in words[:3]]
    assert [words[:18] for words in swaps] == [f"A: {CARBONATE}"[:18], f"B: {TRIGLYCERIDE}"[:18], f"C: {ALMOND}"[:18]]
    assert words[words.index("P4") + 1 : words.index("P5")] == ["A", "B"]
    assert words_outside(picture.figure()) == []


def test_what_is_made_in_each_prototype():
    table = shown(_PLANNED, FULL, NAMES)
    assert table["Swaps made"].tolist() == ["base", "A", "B", "AB", "C", "AC", "BC", "ABC"]


def test_one_swap_is_not_told_of_two():
    plan = plan_swaps(BASE, OWN_SWAPS[:1], "full")
    assert tell_plan(plan, NAMES).headline == "2 prototypes for 1 swap: its effect can be told."


def test_formulas_side_by_side_add_up():
    table = shown(FORMULAS, FULL, NAMES).set_index("Ingredient, %")
    assert table.loc["Sum"].tolist() == ["100.00"] * 8
    assert table.loc["Aqua"].tolist() == ["71.85"] * 8
    assert table.loc[ALKANE].tolist() == ["–", "6.00"] * 4


def test_swaps_with_pairs_and_inflation():
    table = shown(SWAPS, ONE, NAMES)
    assert table["Matched pairs"].tolist() == ["1", "1", "1"]
    assert table["Variance inflation"].tolist() == ["1.50"] * 3


ADDED = "One prototype more would tell most with the swaps {}: it sets 1 more effect free and makes {} matched pairs."


@pytest.mark.parametrize(
    ("plan", "headline", "added"),
    [
        (FULL, "8 prototypes for 3 swaps: every swap, and what every two do together, can be told apart.", ""),
        (
            HALF,
            "4 prototypes for 3 swaps; cannot be told apart: A = BC, B = AC and C = AB (two letters: what two swaps do "
            "together).",
            ADDED.format("A", 3),
        ),
        (
            ONE,
            "4 prototypes for 3 swaps: every swap can be told apart, if swaps do not change each other.",
            ADDED.format("AB", 2),
        ),
    ],
    ids=["full", "half", "one at a time"],
)
def test_what_a_plan_can_tell_in_sentences(plan, headline, added):
    told = tell_plan(plan, NAMES)
    assert told.headline == headline
    assert told.mind[0] == "Their blends differ in 3 independent ways."
    assert (added in told.mind) if added else len(told.mind) == 2
    assert told.mind[-1].startswith("A plan is no approval")


def test_mixtures_and_the_models_they_carry():
    plan = plan_mixture(BASE, {CARBONATE: (0, 15), TRIGLYCERIDE: (0, 15), ALMOND: (0, 15)}, "lattice")
    assert shown(mixture_blends(plan), plan, NAMES)[CARBONATE].tolist()[:2] == ["15.00", "7.50"]
    models = shown(MIXTURE_MODELS, plan, NAMES)
    assert models["Enough"].tolist() == ["yes", "no", "no"]
    assert models["Blends to spare"].tolist() == ["3", "0", "−1"]


def test_cautions_are_said_once_with_all_their_ingredients():
    nuts = [text for text in cautions_sentences(FULL.cautions) if "nut allergy" in text]
    assert len(nuts) == 1
    assert nuts[0].startswith(f"{ALMOND} and {SHEA}: ")
