"""Mean liking of the prototypes: against plain means, and who may be the best liked."""

import numpy as np
import pandas as pd
import pytest

from panel.models.decision.contenders import draw_liking
from tests.models.decision.known_studies import answers, target_study

TRUTH = {"P1": (50, 50), "P2": (36, 60)}


def liked(liking, consumers=60, **tables):
    study = target_study(TRUTH, liking=liking, consumers=consumers, **tables)
    return draw_liking(study, np.random.default_rng(1))


def test_means_are_the_plain_ones_where_everybody_rated_everything():
    table = answers(np.random.default_rng(3), {"P1": 5.0, "P2": 7.0}, 40)
    found, why = liked(None, answers=table)
    plain = table.assign(answer=table["answer"].astype(float)).groupby("prototype")["answer"].mean()
    assert why == ""
    assert found.rows.set_index("prototype")["estimate"].to_dict() == pytest.approx(plain.to_dict())
    assert found.n_consumers == 40
    assert found.question == "overall liking"


def test_the_chance_to_be_best_liked_follows_the_answers():
    clear, _ = liked({"P1": 5.0, "P2": 7.0})
    assert clear.rows["chance_best"].tolist() == [0, 1]
    table = answers(np.random.default_rng(3), {"P1": 6.0}, 40)
    twins = pd.concat([table, table.assign(prototype="P2")], ignore_index=True)
    even, _ = liked(None, answers=twins.sample(frac=1, random_state=1, ignore_index=True))
    assert even.rows["estimate"].iloc[0] == pytest.approx(even.rows["estimate"].iloc[1])
    assert even.rows["chance_best"].sum() == pytest.approx(1)


def test_without_consumers_the_reason_is_told():
    assert draw_liking(target_study(TRUTH), np.random.default_rng(1)) == (
        None,
        "No consumer was asked for liking, so the decision rests on the trained panel alone.",
    )
    found, why = liked({"P1": 5.0, "P2": 7.0}, consumers=4)
    assert found is None
    assert why.startswith("Fewer than 5 consumers rated two prototypes or more")
    blank = answers(np.random.default_rng(3), {"P1": 5.0}, 9).assign(answer="x")
    assert liked(None, answers=blank)[1].startswith("The answers about liking could not be read")
