"""Mean liking of the prototypes: against plain means, and who may be the best liked."""

import numpy as np
import pandas as pd
import pytest

from panel.models.consumers.liking import weigh_liking
from panel.models.decision.contenders import draw_liking
from panel.models.decision.decide import nearest
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


def test_means_differences_and_verdicts_are_those_of_liking():
    truth = {"P1": (50, 50), "P2": (36, 60), "P3": (40, 55)}
    table = answers(np.random.default_rng(3), {"P1": 5.0, "P2": 7.0, "P3": 6.6}, 40)
    table = table[np.random.default_rng(4).random(len(table)) > 0.15]  # not everybody tried everything
    study = target_study(truth, answers=table)
    own = weigh_liking(study)
    decision = nearest(study, np.random.default_rng(1))
    ranking = decision.ranking.set_index("prototype")[["liking", "liking_low", "liking_high"]]
    means = own.means.set_index("prototype")[["estimate", "ci_low", "ci_high"]]
    np.testing.assert_array_equal(ranking.loc[means.index], means)
    told = pd.concat([own.pairs[~own.pairs["with_benchmark"]], own.versus])
    assert len(decision.pairs) == len(told) == 3
    for row in told.to_dict("records"):
        pair = {row["prototype"], row["versus"]}
        [found] = [each for each in decision.pairs.to_dict("records") if {each["prototype"], each["versus"]} == pair]
        sign = 1 if found["prototype"] == row["prototype"] else -1
        ends = sorted((sign * row["ci_low"], sign * row["ci_high"]))
        assert [found["liking"], found["liking_low"], found["liking_high"]] == [sign * row["estimate"], *ends]
        ahead = "ahead" if found["liking"] > 0 else "behind"
        assert found["consumers"] == (ahead if row["verdict"] == "differs" else "cannot tell")
    drawn, _ = draw_liking(study, np.random.default_rng(1))
    np.testing.assert_allclose(drawn.drawn.mean(axis=0), means["estimate"], atol=0.02)  # 4,000 draws, SD about 0.2


def test_the_chance_to_be_best_liked_follows_the_answers():
    clear, _ = liked({"P1": 5.0, "P2": 7.0})
    assert clear.rows["chance_best"].tolist() == [0, 1]
    table = answers(np.random.default_rng(3), {"P1": 6.0}, 40)
    other = table.assign(prototype="P2", answer=np.roll(table["answer"], 1))  # the same answers, of other people
    twins = pd.concat([table, other], ignore_index=True)
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
