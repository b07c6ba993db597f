"""The place in the serving is taken out before groups are looked for, as far as it can be told."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from panel.models.consumers.answers import numeric_answers
from panel.models.consumers.liking_checks import _BEFORE, _tried_before, serving_effects, without_order
from panel.models.consumers.segments import find_segments
from panel.study.study import Study
from tests.consumer_studies import answers_study

STUDIES = 12  # at a rate of 1 % (the size asked for) more than two of them have a chance of 0.0002
CLOSE = 1e-9  # sums of some hundred answers
OTHER_END = 1e-4  # relative; degrees of freedom follow the second derivative where the search for variances ends


def served(rng: np.random.Generator, orders: np.ndarray, falling: float, *, noise: float = 1.2) -> Study:
    """Return liking of one taste that falls with each position; `orders`: people by positions, which prototype."""
    people, count = orders.shape
    own = rng.normal(6, 1, (people, 1)) + rng.normal(0, 0.6, count)
    position = np.argsort(orders, axis=1) + 1.0
    answer = np.clip(np.rint(own - falling * (position - 1) + rng.normal(0, noise, orders.shape)), 1, 9)
    return answers_study(answer, position=position.ravel())


@pytest.mark.parametrize("back_and_forth", [False, True])
def test_one_taste_with_falling_liking_is_one_group(back_and_forth: bool):
    rng = np.random.default_rng(11)
    found = 0
    for _ in range(STUDIES):
        if back_and_forth:
            orders = np.where(np.arange(60)[:, None] % 2 == 0, np.arange(8), np.arange(8)[::-1])
        else:
            orders = rng.permuted(np.tile(np.arange(6), (60, 1)), axis=1)
        found += find_segments(served(rng, orders, 0.3), rng).n_groups > 1
    assert found <= 2


def test_of_forwards_and_backwards_the_part_that_can_be_told_is_tested():
    rng = np.random.default_rng(5)
    orders = np.where(np.arange(40)[:, None] % 2 == 0, np.arange(8), np.arange(8)[::-1])
    tests, by_position = serving_effects(numeric_answers(served(rng, orders, 0.4), "liking"))
    position = tests.set_index("effect").loc["position"]
    # of eight places, what the k-th and the k-th last share belongs to the prototypes: 8 - 4 are left, by counting
    assert position["df"] == 4
    assert position["p_value"] < 0.001
    assert by_position.empty


def test_which_prototype_is_named_first_changes_no_test():
    rng = np.random.default_rng(9)
    study = served(rng, rng.permuted(np.tile(np.arange(4), (40, 1)), axis=1), 0.2)
    answers = study.table("answers")
    names = sorted(answers["prototype"].unique())
    tests = []
    for turned in (names, names[::-1], [*names[1:], names[0]]):
        renamed = answers.assign(prototype=answers["prototype"].map(dict(zip(names, turned, strict=True))))
        other = replace(study, tables={**study.tables, "answers": renamed})
        tests.append(serving_effects(numeric_answers(other, "liking"))[0].select_dtypes("number"))
    assert len(tests[0])
    for other in tests[1:]:
        np.testing.assert_allclose(other, tests[0], rtol=OTHER_END)


def test_what_is_taken_out_is_what_least_squares_says_the_long_way():
    rng = np.random.default_rng(3)
    study = served(rng, rng.permuted(np.tile(np.arange(5), (30, 1)), axis=1), 0.5)
    answers = numeric_answers(study, "liking")
    rows = answers.rows
    before = _tried_before(rows).fillna("none")
    factors = [pd.get_dummies(column.astype(str), dtype=float) for column in (rows["assessor"], rows["prototype"])]
    order = [pd.get_dummies(column.astype(str), dtype=float) for column in (rows["position"], before)]
    y = rows["answer"].to_numpy(dtype=float)

    def left(columns: list[pd.DataFrame]) -> np.ndarray:
        x = np.hstack([frame.to_numpy() for frame in columns])
        return y - x @ np.linalg.lstsq(x, y, rcond=None)[0]

    changed, effects = without_order(answers)
    table = changed.frame.to_numpy()
    without = table - table.mean(axis=1, keepdims=True) - table.mean(axis=0) + table.mean()
    expected = rows.assign(left=left([*factors, *order])).pivot_table(
        index="assessor", columns="prototype", values="left"
    )
    np.testing.assert_allclose(without, expected[changed.frame.columns].to_numpy(), atol=CLOSE)
    np.testing.assert_allclose(changed.frame.mean().sum(), answers.frame.mean().sum(), rtol=CLOSE)
    assert effects.set_index("effect").loc["position", "matters"]


@given(st.integers(0, 1000))
def test_with_one_order_for_everybody_nothing_can_be_told_and_nothing_changes(seed: int):
    rng = np.random.default_rng(seed)
    study = served(rng, np.tile(rng.permutation(4), (12, 1)), 1.0)
    answers = numeric_answers(study, "liking")
    changed, effects = without_order(answers)
    assert effects.empty
    pd.testing.assert_frame_equal(changed.frame, answers.frame)


def test_without_a_recorded_place_nothing_changes():
    study = answers_study(np.random.default_rng(1).integers(1, 10, (20, 4)))
    answers = numeric_answers(study, "liking")
    assert without_order(answers)[0] is answers


def test_the_sample_before_is_that_of_the_same_sitting():
    rows = pd.DataFrame(
        {
            "assessor": ["A"] * 4 + ["B"] * 2,
            "session": ["1", "1", "2", "2", "1", "1"],
            "position": [2.0, 1.0, 3.0, 4.0, 1.0, 3.0],
            "prototype": ["P2", "P1", "P3", "P4", "P1", "P2"],
        }
    )
    assert _tried_before(rows).fillna("").tolist() == ["P1", "", "", "P3", "", ""]


def test_carry_over_is_seen():
    rng = np.random.default_rng(8)
    orders = rng.permuted(np.tile(np.arange(4), (60, 1)), axis=1)
    study = served(rng, orders, 0.0, noise=0.5)
    answers = numeric_answers(study, "liking")
    after_greasy = _tried_before(answers.rows) == "P1"
    worse = answers.rows.assign(answer=answers.rows["answer"] - 2.0 * after_greasy)
    frame = worse.pivot_table(index="assessor", columns="prototype", values="answer")
    effects = without_order(replace(answers, rows=worse, frame=frame))[1].set_index("effect")
    assert effects.loc[_BEFORE, "p_value"] < 1e-9  # two points of nine, with a scatter of half a point
    assert not without_order(answers)[1].set_index("effect").loc[_BEFORE, "matters"]
