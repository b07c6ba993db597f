"""Pictures of residuals: what is drawn, marked and named, and that words stay in the picture."""

import numpy as np
import pytest
from matplotlib.colors import to_hex

from panel.models.prototypes.assumptions import look_at_assumptions
from panel.study.naming import Naming
from panel.views.pictures import OTHERS
from panel.views.prototypes.assumptions import (
    _residual_figure,
    _residual_rows,
    _spread_figure,
    _typical_size,
    tell_assumptions,
)
from panel.views.told import Picture
from tests.models.prototypes.test_residual_checks import normal, one_is_wild, simulated
from tests.studies import crossed_study
from tests.views.examples import drawn_words, svg_root, words_covering_words, words_outside

NAMES = Naming(attributes={"T0": "greasy film"}, scale="0 to 100")


@pytest.fixture(scope="module", params=[one_is_wild, normal], ids=["wild", "quiet"])
def result(request):
    return look_at_assumptions(simulated(2, request.param, repeats=3), rng=np.random.default_rng(1), draws=299)


@pytest.fixture(scope="module")
def wild():
    return look_at_assumptions(simulated(2, one_is_wild, repeats=5), rng=np.random.default_rng(1), draws=299)


def test_every_residual_is_drawn_once(result):
    figure = _residual_figure(result, "T0", NAMES)
    dots = [line for line in figure.axes[0].lines if line.get_markersize() == 4]
    rows = _residual_rows(result, "T0")
    assert sum(len(line.get_xdata()) for line in dots) == len(rows)
    drawn = np.sort(np.concatenate([line.get_ydata() for line in dots]))
    np.testing.assert_allclose(drawn, np.sort(rows["residual"]))


def test_no_word_leaves_the_pictures_or_covers_another(result):
    for figure in (_residual_figure(result, "T0", NAMES), _spread_figure(result, "T0", NAMES)):
        assert words_outside(figure) == []
        assert words_covering_words(figure) == []


def test_the_wild_assessor_is_marked_and_named(wild):
    rows = _residual_rows(wild, "T0")
    assert set(rows.loc[rows["marked"], "assessor"]) == {"A3"}
    figure = _residual_figure(wild, "T0", NAMES)
    assert "greasy film (A3 scatters most)" in [text for text, _ in drawn_words(figure)]
    bars = _spread_figure(wild, "T0", NAMES).axes[0].collections[0]
    marked = [
        ends[:, 0].tolist()
        for ends, colour in zip(bars.get_segments(), bars.get_colors(), strict=True)
        if to_hex(colour) == OTHERS[1]
    ]
    sd = wild.assessors.set_index(["attribute", "assessor"])["residual_sd"]["T0", "A3"]
    assert marked == [[-sd, sd]]


def test_the_scores_that_pull_most_are_ringed_and_named(result):
    words = [text for text, _ in drawn_words(_residual_figure(result, "T0", NAMES))]
    own = result.influence[result.influence["attribute"] == "T0"]
    for row in own.to_dict("records"):
        assert f"{row['assessor']} {row['prototype']}" in words


def test_assessors_stand_in_order_of_their_spread(wild):
    axes = _spread_figure(wild, "T0", NAMES).axes[0]
    names = [tick.get_text() for tick in axes.get_yticklabels()]
    ratio = wild.assessors[wild.assessors["attribute"] == "T0"].set_index("assessor")["ratio"]
    assert names == ratio.sort_values(ascending=False).index.tolist()


def test_typical_size_is_the_root_mean_square_in_equal_groups(result):
    rows = _residual_rows(result, "T0")
    sizes = _typical_size(rows)
    assert len(sizes) == 6
    ordered = rows.sort_values("fitted", kind="stable")["residual"].to_numpy()
    assert sizes["spread"][0] == pytest.approx(np.sqrt((ordered[: len(rows) // 6] ** 2).mean()))
    assert (sizes["low"].iloc[1:].to_numpy() >= sizes["high"].iloc[:-1].to_numpy()).all()
    assert len(_typical_size(rows.head(9))) == 1
    level = [
        line.get_ydata() for line in _residual_figure(result, "T0", NAMES).axes[0].lines if len(line.get_ydata()) == 2
    ]
    heights = [heights[0] for heights in level if heights[0] == heights[1] != 0]
    assert sorted(heights) == pytest.approx(sorted([*sizes["spread"], *-sizes["spread"]]))  # as far above as below


def test_those_who_cannot_see_them_hear_the_sizes(wild):
    residuals, spread = tell_assumptions(wild, NAMES, "T0").drawers[-1].items
    assert "Typical size of a residual along the scale: " in residuals.alt
    assert "A3 " in spread.alt
    assert "times" in spread.alt
    assert svg_root(residuals.svg)[1].text == residuals.alt
    words = [text for text, _ in drawn_words(residuals.figure())]
    assert "Fitted value (0 to 100); lines: ± SD of the residuals there; ringed: pull most" in words


def test_where_nobody_scored_often_enough_there_is_no_picture_of_each_assessor_s_scatter():
    study = crossed_study(np.random.default_rng(1), assessors=6, prototypes=2, attributes=1, sessions=1)
    found = look_at_assumptions(study, rng=np.random.default_rng(1))
    pictures = [item for each in tell_assumptions(found, Naming()).drawers for item in each.items]
    assert [each.name for each in pictures if isinstance(each, Picture)] == ["residuals"]


def test_an_assessor_with_too_few_scores_has_no_bar():
    study = simulated(1, normal)
    scores = study.scores
    few = scores[(scores["assessor"] != "A0") | ((scores["prototype"] == "P0") & (scores["replicate"] < "2"))]
    result = look_at_assumptions(
        type(study)({"scores": few.reset_index(drop=True)}), rng=np.random.default_rng(1), draws=19
    )
    words = [text for text, _ in drawn_words(_spread_figure(result, "T0", NAMES))]
    assert "too few" in words
    assert "–" not in words
