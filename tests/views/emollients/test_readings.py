"""Readings beside the panel: pairs, leads, map and swaps told as what they are, drawn where they are, nothing lost."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from panel.models.emollients.readings import _LINKED, AGAINST, AS_EXPECTED, join_readings
from panel.models.prototypes.verdict import CANNOT_TELL
from panel.study.naming import naming
from panel.study.open_study import open_study
from panel.study.shown import shown
from panel.views.emollients.readings import (
    _MEASURES,
    _PARTNERS,
    _READING_SWAPS,
    _READINGS,
    _SCREENING,
    _map_figure,
    _map_picture,
    _map_sentences,
    _pairs_figure,
    _scatter_figure,
    _screening_sentences,
    _swap_sentences,
    tell_readings,
)
from panel.views.pictures import svg_text
from tests.reading_studies import hand_cream_readings
from tests.reading_studies import readings_table as rows_of
from tests.views.examples import svg_words, words_covering_words, words_outside

DEMO = open_study(Path(__file__).parents[3] / "data_demo" / "reading_room")
JOINED = join_readings(DEMO)
JOINT = JOINED.map
NAMES = naming(DEMO)


def with_pairs(**columns):
    return tell_readings(replace(JOINED, partners=JOINED.partners.assign(**columns)), NAMES)


def test_the_headline_counts_the_pairs_that_go_as_expected():
    told = tell_readings(JOINED, NAMES)
    sure = (JOINED.partners["verdict"] == AS_EXPECTED).sum()
    assert told.headline.startswith(f"{sure} of 10 sensations go with the reading declared beforehand, as expected: ")
    assert "greasy film with paper blot" in told.headline
    assert with_pairs(verdict=CANNOT_TELL).headline == (
        "On none of 10 sensations can these prototypes show that the reading declared for it goes with it."
    )
    one = JOINED.partners.loc[JOINED.partners["attribute"] == "AF_GREASE"].assign(verdict=CANNOT_TELL)
    assert tell_readings(replace(JOINED, partners=one), NAMES).headline == (
        "These prototypes cannot show that the reading declared for greasy film goes with it."
    )
    none = tell_readings(replace(JOINED, partners=JOINED.partners.iloc[:0]), NAMES)
    assert none.headline.startswith("No sensation has a partner among the measures, so nothing is tested.")
    assert none.picture is None


def test_what_goes_against_the_expectation_and_what_may_be_chance_is_said():
    verdicts = [AGAINST, _LINKED, *[CANNOT_TELL] * 8]
    told = with_pairs(verdict=verdicts, stands_out=[True, False] + [False] * 8).mind
    assert told[0] == "Against what was expected: gloss in the dish."
    assert told[1] == "Counted together with all declared pairs this can be chance: integrity of shape."
    assert not any("chance:" in sentence for sentence in with_pairs(verdict=AS_EXPECTED, stands_out=True).mind)


def test_the_model_says_what_stands_out():
    rows = JOINED.screening
    np.testing.assert_array_equal(rows["stands_out"], rows["p_adjusted"] < 0.05)
    np.testing.assert_array_equal(rows["stands_out"], (rows["told_low"] > 0) | (rows["told_high"] < 0))


def test_the_screening_list_is_told_with_its_limits():
    seen = int((JOINED.screening["p_adjusted"] < 0.05).sum())
    first, second = _screening_sentences(JOINED, NAMES)
    assert f"Of 228 pairs nobody declared beforehand, {seen} stand out" in first
    assert "leads for another study" in first
    assert "integrity of shape with viscosity (r = 0.99)" in second
    none = replace(JOINED, screening=JOINED.screening.assign(stands_out=False))
    assert _screening_sentences(none, NAMES) == (
        "Of 228 pairs nobody declared beforehand, none stands out after adjusting for their number.",
    )
    one = replace(JOINED, screening=JOINED.screening.assign(stands_out=[True] + [False] * 227))
    assert "1 stands out after adjusting for their number" in _screening_sentences(one, NAMES)[0]
    assert _screening_sentences(replace(JOINED, screening=JOINED.screening.iloc[:0]), NAMES) == ()


def swap_rows(goes_along="", **measures):
    """One swap's rows: measure=(estimate, ci_low, ci_high, ratio, ratio_ci_low, ratio_ci_high, unit, change)."""
    names = ["estimate", "ci_low", "ci_high", "ratio", "ratio_ci_low", "ratio_ci_high", "unit", "change"]
    rows = [
        {"measure": measure, "swap": "X → Y", "removed": "X", "added": "Y", "percent": 6.0, "n_pairs": 4}
        | dict(zip(names, numbers, strict=True))
        for measure, numbers in measures.items()
    ]
    return replace(JOINED, swaps=pd.DataFrame(rows).assign(goes_along=goes_along))


NAN = float("nan")
CHANGES = {
    "viscosity": (-3500, -4400, -2700, 0.87, 0.82, 0.93, "mPa s", "less"),
    "friction": (0.05, 0.001, 0.1, 1.17, 1.0002, 1.36, "1", "more"),
    "gloss": (0.1, -0.2, 0.4, 1.0, 0.98, 1.02, "GU", ""),
    "pH": (-0.045, -0.08, -0.01, NAN, NAN, NAN, "1", "less"),
}


def test_swaps_are_told_as_per_cent_or_as_amounts_and_what_is_open_is_not_listed():
    assert _swap_sentences(swap_rows(**CHANGES)) == (
        "In these batches Y for X went with more friction (17 %, 0.02 to 36 %) and less viscosity (13 %, 7 to 18 %) "
        "and pH (0.045, 0.010 to 0.080) (4 matched pairs).",
    )


def test_a_swap_tied_to_the_making_day_is_credited_with_no_reading():
    (told,) = _swap_sentences(swap_rows("making day", **CHANGES))
    assert told.startswith("More friction (17 %, 0.02 to 36 %) and less viscosity")
    assert told.endswith(" go along with Y for X or with the making day: these data cannot tell.")
    assert "gave" not in told
    demo = JOINED.swaps.groupby("swap", sort=False)["goes_along"].first()
    assert demo.tolist() == ["", "", "making day"]  # the butter was made later in all pairs (data_demo/scenario.py)


def test_a_change_is_told_where_its_interval_leaves_no_doubt():
    rows = JOINED.swaps
    ratio = rows["ratio_ci_low"].notna()
    more = np.where(ratio, rows["ratio_ci_low"] > 1, rows["ci_low"] > 0)
    less = np.where(ratio, rows["ratio_ci_high"] < 1, rows["ci_high"] < 0)
    assert rows["change"].tolist() == np.select([more, less], ["more", "less"], "").tolist()
    assert len(_swap_sentences(JOINED)) == 3


def test_the_joint_map_is_told_with_what_chance_would_give():
    first, second = _map_sentences(JOINT)
    assert first.startswith("How alike panel and instruments place the prototypes, from 0 to 1: 0.92.")
    assert "0.30 on average." in first
    assert "no more than chance" not in first
    assert "RV" not in first
    assert "80 %" in second
    assert _map_sentences(replace(JOINT, rv=0.3))[0].endswith("That is no more than chance.")
    assert "P2 at −1.4, −1.2" in _map_picture(JOINT, NAMES).alt


def test_an_instrument_does_not_replace_people():
    assert any("what people feel is for people to say" in text for text in tell_readings(JOINED, NAMES).cannot)


# The tables.


def test_readings_carry_unit_scatter_and_number():
    table = shown(_READINGS, JOINED, NAMES)
    assert table.shape == (17, 1 + 8)  # eleven measured, six from the curves
    assert table.loc[0, ["Measure", "P1"]].tolist() == ["viscosity, mPa s", "24500 ± 880"]
    measures = shown(_MEASURES, JOINED, NAMES).set_index("Measure")
    assert measures.loc["viscosity, mPa s", "Readings of a prototype"] == "3"
    assert measures.loc["pH", "Coefficient of variation"] == "–"


def test_prototypes_without_a_reading_have_a_dash():
    rows = [{"prototype": "P1", "measure": "gloss", "unit": "GU", "value": 20.0}] * 2
    rows += [{"prototype": name, "measure": "x", "unit": "mm", "value": 2.0} for name in ("P1", "P2")]
    table = shown(_READINGS, join_readings(hand_cream_readings(rows_of(rows))), NAMES)
    assert table.loc[0, ["P1", "P2"]].tolist() == ["20.0 ± 0", "–"]
    assert table.loc[1, "P2"] == "2.00 ± –"


def test_partners():
    table = shown(_PARTNERS, JOINED, NAMES)
    assert table.shape == (10, 9)
    row = table.set_index("Attribute").loc["ease of spreading"]
    assert row[["Reading", "Expected"]].tolist() == ["work of shear", "opposite ways (Gore 2018)"]
    assert row["R (95 % interval)"] == "−0.77 (−0.94 to −0.13)"
    assert row["R needed"] == "0.71"
    assert row["In words"] == "as expected"


def test_screening_begins_with_the_clearest():
    table = shown(_SCREENING, JOINED, NAMES)
    assert len(table) == 14 * 17 - 10  # every attribute with every reading, less the pairs declared beforehand
    assert table.loc[0, ["Attribute", "Reading", "Stands out"]].tolist() == ["integrity of shape", "viscosity", "yes"]
    assert (table["Stands out"] == "yes").sum() == (JOINED.screening["p_adjusted"] < 0.05).sum()


def test_swaps_as_amounts_and_per_cent():
    table = shown(_READING_SWAPS, JOINED, NAMES)
    assert table.shape == (51, 8)
    row = table.iloc[0]
    assert row["Swap"] == "Dicaprylyl Carbonate → C13-15 Alkane"
    assert row[["Measure", "Pairs", "Change, %"]].tolist() == ["viscosity", "4", "−13"]
    assert row["Change (95 % interval)"] == "−3560 mPa s (−4380 to −2740)"
    assert row["95 % interval, %"] == "−18 to −7"
    ph = table.loc[table["Measure"] == "pH"].iloc[0]
    assert ph[["Change, %", "95 % interval, %"]].tolist() == ["–", "–"]
    assert ph["Change (95 % interval)"].endswith("(−0.0967 to +0.00670)")


# The pictures.


def test_each_pair_has_its_line_filled_where_it_can_be_told():
    figure = _pairs_figure(JOINED, NAMES)
    marks = [line for line in figure.axes[0].lines if line.get_marker() == "o"]
    np.testing.assert_allclose([mark.get_xdata()[0] for mark in marks], JOINED.partners["estimate"])
    filled = [mark.get_markerfacecolor() != "white" for mark in marks]
    assert filled == (JOINED.partners["verdict"] != CANNOT_TELL).tolist()
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []


def dots(axes):
    marks = [line for line in axes.lines if str(line.get_gid()).startswith("prototype ")]
    return np.vstack([line.get_xydata() for line in marks])


def test_dots_are_the_means_in_every_picture():
    figure = _scatter_figure(JOINED, NAMES)
    assert len(figure.axes) == len(JOINED.partners) == 10
    readings = JOINED.means.pivot_table(index="prototype", columns="measure", values="estimate")
    for axes, pair in zip(figure.axes, JOINED.partners.to_dict("records"), strict=True):
        expected = np.column_stack([readings[pair["measure"]], JOINED.panel[pair["attribute"]]])
        np.testing.assert_allclose(dots(axes), expected)
        assert [text.get_text() for text in axes.texts] == [f"P{k}" for k in range(1, 9)]


def test_titles_units_and_what_cannot_be_told():
    first = _scatter_figure(JOINED, NAMES).axes[0]
    assert first.get_title(loc="left") == "gloss in the dish\nr = 0.15 (−0.58 to 0.74)\ncannot tell"
    assert first.get_xlabel() == "gloss, GU"
    assert first.get_ylabel() == "Panel mean (0 to 100)"
    assert {line.get_alpha() for line in first.lines} == {0.35}  # pale


@pytest.mark.parametrize("pairs", [1, 3, 10])
def test_no_word_leaves_the_picture_or_covers_another(pairs):
    figure = _scatter_figure(replace(JOINED, partners=JOINED.partners.head(pairs)), NAMES)
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []


def test_readings_without_scatter_or_of_few_prototypes_can_be_drawn():
    means = JOINED.means.loc[JOINED.means["prototype"] != "P3"].assign(sd=float("nan"))
    figure = _scatter_figure(replace(JOINED, means=means), NAMES)
    assert len(dots(figure.axes[0])) == 7


def test_without_partners_there_is_an_empty_picture():
    assert _scatter_figure(replace(JOINED, partners=JOINED.partners.iloc[:0]), NAMES).axes == []


def test_places_are_the_numbers():
    places, columns = _map_figure(JOINT, NAMES).axes
    drawn = np.vstack([*(np.asarray(marks.get_offsets()) for marks in places.collections), dots(places)])
    expected = np.vstack(
        [
            JOINT.prototypes.loc[JOINT.prototypes["block"] == block, ["component_1", "component_2"]]
            for block in ("panel", "instruments", "both")
        ]
    )
    np.testing.assert_allclose(drawn, expected)
    loadings = JOINT.columns.pivot_table(index=["block", "name"], columns="component", values="loading", sort=False)
    marks = [line for line in columns.lines if line.get_marker() not in ("None", None, "")]
    np.testing.assert_allclose([[line.get_xdata()[0], line.get_ydata()[0]] for line in marks], loadings[[1, 2]])
    assert places.get_aspect() == columns.get_aspect() == 1.0


def test_everything_is_named():
    words = svg_words(svg_text(_map_figure(JOINT, NAMES), title="", description="", text_as_paths=False))
    for name in [f"P{k}" for k in range(1, 9)]:
        assert words.count(name) == 1
    assert words.count("firmness") == 2  # the attribute and the reading
    assert {"paper blot", "greasy film", "as the panel sees it", "as the instruments see it", "both together"} <= set(
        words
    )
    assert any(word.startswith("Component 1 (63 %)") for word in words)


def test_no_word_leaves_the_picture():
    assert words_outside(_map_figure(JOINT, NAMES)) == []
    few = replace(JOINT, columns=JOINT.columns.head(6))
    assert words_outside(_map_figure(few, NAMES)) == []
