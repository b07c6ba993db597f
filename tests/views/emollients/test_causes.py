"""The matrix of causes shows the numbers it is given, fits, and says nothing that the design has not earned."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from matplotlib.patches import Rectangle

from panel.answers import Answers
from panel.models.emollients.causes import GOES_ALONG, STANDS_OUT, Causes
from panel.study.naming import Naming
from panel.study.open_study import open_study
from panel.study.shown import shown
from panel.views.emollients import causes as views
from panel.views.emollients.causes import (
    _AWAY,
    _CAUSES,
    _TOWARDS,
    _causes_headline,
    _causes_to_mind,
    causes_picture,
    short_ingredients,
    tell_causes,
)
from panel.views.pictures import BROAD, NARROW
from panel.views.told import ELSE_TO_MIND

DEMO = Path(__file__).parents[3] / "data_demo" / "reading_room"


@pytest.fixture(scope="module")
def demo():
    return Answers(open_study(DEMO))


@pytest.fixture(scope="module")
def causes(demo):
    return demo.causes


@pytest.fixture(scope="module")
def names(demo):
    return demo.names


def many(n_attributes=14, n_swaps=3, mark=STANDS_OUT, one_batch=False, words="a word", earned=True):
    """Causes of so many swaps on so many attributes, all of one kind; each swap's change is its number."""
    swaps = pd.DataFrame(
        {
            "letter": [chr(65 + n) for n in range(n_swaps)],
            "swap": [f"Old {n} → New {n}" for n in range(n_swaps)],
            "removed": [f"Old {n}" for n in range(n_swaps)],
            "added": [f"New {n}" for n in range(n_swaps)],
            "percent": 5.0,
            "n_pairs": 4,
            "n_assessors": 10,
            "goes_along": "making day" if mark == GOES_ALONG else "",
            "one_batch": one_batch,
            "earned": earned,
        }
    )
    cells = swaps.merge(pd.DataFrame({"attribute": [f"{words} {n}" for n in range(n_attributes)]}), how="cross")
    size = (1.0 + cells["letter"].map(ord) - 65) * np.where(np.arange(len(cells)) % 2, 1, -1)
    return Causes(
        swaps,
        cells.assign(
            estimate=size, ci_low=size - 1, ci_high=size + 1, told_low=size - 1, told_high=size + 1, told_level=0.95,
            p_value=0.01, p_adjusted=0.02, mark=mark, seen=True, not_apart="",
            target_low=np.nan, target_high=np.nan, towards=np.nan,
        ),
        {}, "How it was done.", (),
    )  # fmt: skip


def words_of(figure):
    return [text for axes in figure.axes for text in axes.texts if text.get_text().strip()]


def boxes_of(figure):
    figure.draw_without_rendering()
    return [(text.get_text(), text.get_window_extent()) for text in words_of(figure)]


def overlaps(figure):
    boxes = boxes_of(figure)
    return [
        (one, other)
        for place, (one, first) in enumerate(boxes)
        for other, second in boxes[place + 1 :]
        if min(first.x1, second.x1) - max(first.x0, second.x0) > 1.5
        and min(first.y1, second.y1) - max(first.y0, second.y0) > 1.5
    ]


def outside(figure):
    width, height = figure.bbox.size
    return [
        words
        for words, box in boxes_of(figure)
        if box.x0 < -1 or box.y0 < -1 or box.x1 > width + 1 or box.y1 > height + 1
    ]


def dots(figure):
    return [line for line in figure.axes[0].lines if line.get_marker() == "o" and line.get_markersize() < 7.6]


def test_a_mark_for_each_cell_filled_only_where_it_is_credited(demo, causes, names):
    figure = causes_picture(demo.causes, names).figure()
    key = 2  # a filled and a hollow one
    faces = [line.get_markerfacecolor() for line in dots(figure)]
    assert len(faces) == len(causes.cells) + key
    assert sum(face != "white" for face in faces) == (causes.cells["mark"] == STANDS_OUT).sum() + 1
    coloured = [line.get_markerfacecolor() for line in dots(figure)]
    clear = causes.cells.loc[causes.cells["mark"] == STANDS_OUT]
    assert coloured.count(_TOWARDS) == (clear["towards"] == 1).sum()
    assert coloured.count(_AWAY) == (clear["towards"] == -1).sum() > 0
    said = [text.get_text() for text in words_of(figure)]
    assert said.count("wanted") == (clear["towards"] == 1).sum()  # colour never alone
    assert said.count("unwanted") == (clear["towards"] == -1).sum()


def test_hatching_and_the_band_of_the_margin(demo, causes, names):
    figure = causes_picture(demo.causes, names).figure()
    patches = [patch for patch in figure.axes[0].patches if isinstance(patch, Rectangle)]
    hatched = [patch for patch in patches if patch.get_hatch()]
    assert len(hatched) == (causes.cells["mark"] == GOES_ALONG).sum() + 1  # and the key
    # One scale for all cells: mark and band lie as estimate and margin do.
    bands = [patch for patch in patches if not patch.get_hatch()][:-1]
    scale = bands[0].get_width() / (2 * 8)
    assert all(band.get_width() == pytest.approx(bands[0].get_width()) for band in bands)
    first = dots(figure)[0].get_xdata()[0] - (bands[0].get_x() + bands[0].get_width() / 2)
    assert first == pytest.approx(scale * causes.cells.loc[causes.cells["letter"] == "A", "estimate"].iloc[0])


@pytest.mark.parametrize("width", [BROAD, NARROW])
def test_all_words_lie_in_the_picture_and_none_on_another(demo, names, width):
    figure = causes_picture(demo.causes, names).figure(width)
    assert not outside(figure)
    assert not overlaps(figure)
    limit = {BROAD: 15.0, NARROW: NARROW}[width]  # inches; a page drawn at its full size, and a phone
    assert figure.get_figwidth() <= limit


@pytest.mark.parametrize("width", [BROAD, NARROW])
def test_long_names_many_sensations_and_many_swaps_fit(width):
    causes = many(20, 9, words="an unusually long description of a sensation, after half an hour")
    long = "Polyglyceryl-3 Diisostearate Hydrogenated Castor Oil Dimer Copolymer Isostearate"
    swaps = causes.swaps.assign(added=long, removed=f"{long} + {long}")
    figure = causes_picture(replace(causes, swaps=swaps), Naming()).figure(width)
    assert not outside(figure)
    assert not overlaps(figure)


def test_of_many_sensations_those_with_a_target_and_then_the_clear_ones_are_drawn_in_their_order(
    monkeypatch,
):
    monkeypatch.setattr(views, "_MOST_COLUMNS", 3)
    causes = many(20, 1)
    cells = causes.cells.assign(
        mark=["cannot tell"] * 18 + [STANDS_OUT] * 2,
        target_low=[np.nan] * 10 + [60.0] + [np.nan] * 9,
        estimate=[1.0] * 19 + [9.0],
    )
    figure = causes_picture(replace(causes, cells=cells), Naming()).figure()
    said = [text.get_text() for text in words_of(figure)]
    assert [words for words in said if words.startswith("a word")] == ["a word 10", "a word 18", "a word 19"]


def test_the_headline_names_the_largest_clear_change_and_what_it_cost(causes, names):
    assert _causes_headline(causes, names) == (
        "In these batches C13-15 Alkane for Dicaprylyl Carbonate went with more ease of spreading (+12) and less "
        "greasy film (−11), but also less softness (−7)."
    )
    mind = _causes_to_mind(causes, names)
    assert len(mind) == 3
    assert mind[0] == (
        "Firmness (+17) and 10 other sensations go along with Shea Butter for Sweet Almond Oil or with the making "
        "day: these data cannot tell the two apart."
    )
    assert mind[1].startswith("At least one prototype is known from one batch only:")
    assert "Isopropyl Isostearate for Caprylic/Capric Triglyceride went with less stickiness (−10)" in mind[2]


def test_what_limits_the_answer_stays_where_more_than_three_sentences_are_to_mind():
    three = many(2, 3, one_batch=True)
    tied = three.cells["letter"] == "C"
    cells = three.cells.assign(
        mark=np.where(tied, GOES_ALONG, STANDS_OUT), not_apart=["nothing is told apart", "", "", "", "", ""]
    )
    swaps = three.swaps.assign(goes_along=["", "", "making day"])
    told = tell_causes(replace(three, cells=cells, swaps=swaps), Naming())
    assert len(told.mind) == 3
    assert not any(" gave " in sentence for sentence in told.mind)
    (rest,) = [each.items for each in told.every_drawer() if each.title == ELSE_TO_MIND]
    assert rest == ("In these batches New 0 for Old 0 gave less a word 0 (−1) and more a word 1 (+1).",)


def test_no_causal_verb_without_a_design_that_earns_it():
    tied = many(3, 2, GOES_ALONG)
    told = " ".join(
        [_causes_headline(tied, Naming()), *_causes_to_mind(tied, Naming()), causes_picture(tied, Naming()).alt]
    )
    assert told.startswith("No swap can be credited with a change: ")
    assert "goes along with" in told or "go along with" in told
    assert not any(word in told for word in (" gave ", " made ", " raised ", " lowered ", "In these batches"))
    nothing = many(14, 2, "cannot tell")
    nothing = replace(nothing, cells=nothing.cells.assign(seen=False))
    assert _causes_headline(nothing, Naming()) == (
        "No change with a swap stands out on any of 14 sensations: these data cannot tell."
    )
    assert _causes_to_mind(nothing, Naming()) == ()
    alike = many(3, 2, "cannot tell")
    alike = replace(alike, cells=alike.cells.assign(seen=False, not_apart=["", "", "nothing is told apart"] * 2))
    assert _causes_to_mind(alike, Naming()) == (
        "The prototypes are not told apart on a word 2, so no change there is credited to a swap, though its own "
        "interval leaves out zero.",
    )
    for earned, verb in ((True, "gave"), (False, "went with")):
        told = _causes_headline(many(2, 1, earned=earned), Naming())
        assert told == f"In this base New 0 for Old 0 {verb} less a word 0 (−1) and more a word 1 (+1)."


def test_batches_are_named_where_there_is_one_each():
    assert _causes_headline(many(2, 1), Naming()).startswith("In this base New 0 for Old 0 gave ")
    assert _causes_headline(many(2, 1, one_batch=True), Naming()).startswith("In these batches New 0 for Old 0 gave ")


def test_the_words_for_those_who_cannot_see_it_hold_every_clear_number(causes, names):
    alt = causes_picture(causes, names).alt
    assert "A, 6 % C13-15 Alkane for Dicaprylyl Carbonate: more ease of spreading (+11.8, 7.7 to 15.8, wanted)" in alt
    assert "softness (−6.6, −10.4 to −2.9, unwanted); cannot tell on 5 of 14." in alt
    assert "C, 4 % Shea Butter for Sweet Almond Oil: goes, like the making day, along with" in alt


def test_the_table_holds_the_same(causes, names):
    table = shown(_CAUSES, causes, names)
    assert list(table.columns) == [
        "Attribute", "Wanted", "A: C13-15 Alkane", "B: Isopropyl Isostearate", "C: Shea Butter",
    ]  # fmt: skip
    row = table.set_index("Attribute").loc["greasy film"]
    assert list(row) == ["38 or less", "● −11.1 (−13.8 to −8.4)", "● −3.5 (−7.0 to −0.1)", "▨ +3.9 (1.0 to 6.8)"]
    assert "Wanted" not in shown(_CAUSES, many(), Naming())


def test_where_two_swaps_bring_in_the_same_each_heading_says_what_it_replaces(names):
    causes = many(3, 3)
    swaps = causes.swaps.assign(removed=["Old", "Oil", "Wax"], added=["New", "New", "Butter"], percent=4.0)
    headings = list(shown(_CAUSES, replace(causes, swaps=swaps), names).columns)
    assert [heading for heading in headings if ": " in heading] == [
        "A: 4 % New for Old", "B: 4 % New for Oil", "C: 4 % Butter for Wax",
    ]  # fmt: skip


def test_what_stands_out_is_what_the_interval_beside_it_says(causes, names):
    # Benjamini & Yekutieli (2005): with 30 of 42 told the level is 1 - 30 x 0.05 / 42. Wetness with A is not told,
    # though its interval alone (0.4 to 13.8) leaves out zero.
    assert _CAUSES.titled(causes).endswith("in brackets the interval that decides, 96.43 %")
    cells = causes.cells
    assert cells["seen"].sum() == 30
    np.testing.assert_array_equal(cells["seen"], (cells["told_low"] > 0) | (cells["told_high"] < 0))
    row = shown(_CAUSES, causes, names).set_index("Attribute").loc["wetness"]
    assert row["A: C13-15 Alkane"] == "○ +7.1 (−0.2 to 14.5)"
    figure = causes_picture(causes, names).figure(BROAD)
    assert "interval that decides, 96.43 %" in [text.get_text() for text in words_of(figure)]


def test_short_names_leave_the_latin_out_unless_two_become_the_same():
    almond, shea = "Prunus Amygdalus Dulcis (Sweet Almond) Oil", "Butyrospermum Parkii (Shea) Butter"
    plain = ["C13-15 Alkane", "PEG-8 Dimethicone", "Caprylic/Capric Triglyceride", "Olus (Vegetable) Oil"]
    short = short_ingredients([almond, shea, *plain])
    assert list(short.values()) == ["Sweet Almond Oil", "Shea Butter", *plain[:3], "Vegetable Oil"]
    twins = ["Helianthus Annuus (Sunflower) Seed Oil", "Helianthus Debilis (Sunflower) Seed Oil"]
    assert list(short_ingredients(twins).values()) == twins


def test_a_swap_made_by_two_amounts_is_told_by_its_amount():
    causes = many(3, 2)
    swaps = causes.swaps.assign(removed="Old", added="New", percent=[7.0, 14.0])
    assert _causes_headline(replace(causes, swaps=swaps), Naming()).startswith("In this base 14 % New for Old gave ")
    assert _causes_headline(causes, Naming()).startswith("In this base New 1 for Old 1 gave ")
