"""The plain lines about differences follow from the numbers, and never say more."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from panel.checks.confounds import confounds_of
from panel.models.prototypes.differences import Differences, find_differences
from panel.models.prototypes.verdict import attribute_verdicts
from panel.study.naming import Naming, naming
from panel.study.shown import shown
from panel.study.study import Study
from panel.views.pictures import marker_of
from panel.views.prototypes.differences import (
    _BRIEFLY,
    _FROM_BENCHMARK,
    _MEANS,
    _PAIRS,
    _TESTS,
    _VARIANCES,
    BOTH_WAYS,
    _of_those,
    _said,
    _seen_at_best,
    _what_the_differences_cannot_show,
    tell_differences,
)
from tests.views.examples import panel_study, svg_root, words_covering_words, words_outside

STUDY = panel_study(prototypes=4, assessors=6)
RESULT = find_differences(STUDY, versus="P1", margin=6.0)
NAMED = naming(STUDY)
NAMES = Naming({"film": "greasy film", "glide": "ease of spreading"})


def difference(attribute, prototype, versus, estimate, half, said):
    word = said.split(" ")[0].strip(",")
    return {
        "attribute": attribute,
        "prototype": prototype,
        "versus": versus,
        "estimate": estimate,
        "ci_low": estimate - half,
        "ci_high": estimate + half,
        "alike_low": estimate - half / 2,
        "alike_high": estimate + half / 2,
        "alike_level": 0.9,
        "std_error": np.nan,
        "df": np.nan,
        "verdict": {"differs": "differs", "alike": "alike"}.get(word, "cannot tell"),
        "said": said,
        "because": "",
    }


def result(benchmark="P1", p_values=(0.001, 0.4), margin=8.0):
    rows = [
        difference("film", "P2", "P1", -12.0, 5.0, "differs, may matter"),
        difference("film", "P3", "P1", 16.0, 5.0, "differs and matters"),
        difference("film", "P4", "P1", 1.0, 5.0, "alike within the margin"),
        difference("glide", "P2", "P1", 2.0, 6.0, "cannot tell"),
    ]
    empty = pd.DataFrame()
    frame = pd.DataFrame(rows)
    attributes = pd.DataFrame({"attribute": ["film", "glide"], "statistic": [9.0, 1.1], "p_adjusted": p_values})
    attributes["verdict"] = ["differs" if p < 0.05 else "cannot tell" for p in p_values]
    attributes["because"] = attributes["differently"] = ""
    prototypes = ["P1", "P2", "P3", "P4"]
    means = pd.DataFrame({"attribute": [*["film"] * 4, *["glide"] * 4], "prototype": prototypes * 2, "estimate": 50.0})
    versus = frame if benchmark else frame.iloc[:0]
    return Differences(
        attributes,
        means,
        frame,
        versus,
        *(empty, empty, empty, empty),
        confounds=confounds_of({"prototype": (np.zeros(0, dtype=int), [])}),
        benchmark=benchmark,
        margins={} if margin is None else {"film": margin, "glide": margin},
        margin_stated=True,
        method="method",
        notes=(),
    )


def lines(told):
    return [item for item in told.drawers[0].items if isinstance(item, str)]


def test_a_line_names_who_is_higher_lower_and_alike():
    film, glide = lines(tell_differences(result(), NAMES))
    assert film == (
        "greasy film: the prototypes differ (F 9.0, p after Holm = 0.001). Higher than P1: P3. Lower than P1: P2. "
        "Within the margin of P1: P4 (90 % interval −1.5 to 3.5)."
    )
    assert glide == (
        "ease of spreading: no difference shown (F 1.1, p after Holm = 0.400). "
        "Two prototypes would have to lie about 6.0 apart to be told apart here."
    )


def test_without_a_benchmark_the_widest_pairs_are_named():
    film = lines(tell_differences(result(benchmark=None), NAMES))[0]
    assert "Widest: P3 above P1 by 16.0 and P1 above P2 by 12.0." in film


def test_who_is_higher_does_not_depend_on_how_fine_the_scale_is():
    whole = result()
    fine = whole.versus.assign(estimate=whole.versus["estimate"] / 100)  # all below one, as on a scale of 0 to 1
    film = lines(tell_differences(replace(whole, versus=fine), NAMES))[0]
    assert "Higher than P1: P3. Lower than P1: P2. " in film


def test_where_an_interval_alone_would_say_more_it_is_said_why():
    row = {"verdict": "cannot tell", "said": "cannot tell", "because": "nothing is told apart here; one batch"}
    assert _said(row | {"ci_low": 1.0, "ci_high": 3.0}, None) == "cannot tell: nothing is told apart here"
    assert _said(row | {"ci_low": -1.0, "ci_high": 3.0}, None) == "cannot tell"


def test_no_size_is_named_that_the_scale_does_not_allow_or_that_was_seen_and_not_told():
    pairs = RESULT.pairs.assign(attribute="film", ci_low=-150.0, ci_high=150.0)
    wide = replace(RESULT, pairs=pairs)
    assert "about 150.0 apart" in _seen_at_best("film", wide, NAMES)
    within = _seen_at_best("film", wide, replace(NAMES, span=100.0))
    assert within == "No difference that the scale allows could be told apart here."
    seen = _seen_at_best("film", replace(RESULT, pairs=pairs.assign(ci_low=1.0)), NAMES)
    assert seen.startswith("Some pairs would stand out alone")


def test_where_no_single_difference_stands_out_this_is_said():
    plain = result()
    dull = plain.versus.assign(verdict="cannot tell")
    assert (
        "No single difference from P1 stands out alone."
        in lines(tell_differences(replace(plain, versus=dull), NAMES))[0]
    )


@pytest.mark.parametrize(
    ("p_values", "sentence"),
    [
        (
            (0.001, 0.4),
            "The prototypes differ on 1 of 2 attributes; not told apart on ease of spreading. "
            "P2 and P3 differ from P1.",
        ),
        (
            (0.001, 0.01),
            "The prototypes differ on both attributes. P2 and P3 differ from P1 on 1 of them, the other on fewer.",
        ),
        ((0.2, 0.4), "On no attribute can the prototypes be told apart. That does not show that they are alike."),
    ],
)
def test_the_headline_counts(p_values, sentence):
    assert tell_differences(result(p_values=p_values), NAMES).headline == sentence


@pytest.mark.parametrize(
    ("counted", "on"),
    [
        ((4, 4, 6), "all 4 that differ"),
        ((2, 2, 6), "both that differ"),
        ((3, 4, 6), "3 of the 4 that differ"),
        ((6, 6, 6), "all of them"),
        ((2, 2, 2), "both"),
        ((3, 6, 6), "3 of them"),
        ((1, 2, 2), "1 of them"),
    ],
)
def test_nobody_differs_on_all_where_not_all_were_told_apart(counted, on):
    assert _of_those(*counted) == on


def test_the_headline_says_for_what_alone_it_holds():
    both = result(p_values=(0.001, 0.01))
    once = replace(both.confounds, with_batches=True)
    twice = replace(once, batches=dict.fromkeys(("P1", "P2", "P3"), ("1", "2")))
    groups = "for these 2 groups of assessors"
    for of, names, holds in (
        (once, ("north", "south"), f" in these batches and {groups}"),
        (twice, ("north", "south"), f" {groups}"),
        (twice, ("north",), ""),
    ):
        told = tell_differences(replace(both, confounds=of, groups=names), NAMES)
        assert told.headline.startswith(f"The prototypes differ on both attributes{holds}. P2")


def test_who_differs_on_all_that_differs_does_so_on_all_of_them_and_a_single_attribute_is_named():
    both = result(p_values=(0.001, 0.01))
    glide = [difference("glide", "P2", "P1", 12.0, 6.0, "differs")]
    versus = pd.concat([both.versus.loc[both.versus["attribute"] == "film"], pd.DataFrame(glide)])
    assert tell_differences(replace(both, versus=versus), NAMES).headline.endswith(
        "P2 differs from P1 on both, the others on fewer."
    )
    film = replace(both, attributes=both.attributes.iloc[:1], versus=both.versus.iloc[:3])
    assert tell_differences(film, NAMES).headline == "The prototypes differ on greasy film."


def test_the_headline_names_what_every_pair_goes_along_with():
    place = STUDY.scores["prototype"].astype("category").cat.codes + 1.0
    served = replace(STUDY, tables={**STUDY.tables, "scores": STUDY.scores.assign(position=place)})
    told = tell_differences(find_differences(served), NAMED)
    assert told.headline == "On no attribute can the prototypes be told apart: every pair goes along with the position."
    assert told.mind[0].startswith("All 6 pairs cannot be told from the position")


def benchmark_always_first(rng, *, first=0.0, last=0.0):
    """A study whose benchmark is served first each time; `first` is what that adds, `last` what is true of P4."""
    scores = 50 + rng.normal(0, 6, (8, 1, 1)) + rng.normal(0, 3, (8, 4, 1)) + rng.normal(0, 5, (8, 4, 2))
    scores += np.array([first, 0, 0, last])[:, None]
    places = 2.0 + rng.permuted(np.tile(np.arange(3), (16, 1)), axis=1).reshape(8, 2, 3).transpose(0, 2, 1)
    position = np.concatenate([np.ones((8, 1, 2)), places], axis=1)
    place = np.indices(scores.shape).reshape(3, -1)
    names = [
        np.array([f"{letter}{number + 1}" for number in range(8)])[row]
        for letter, row in zip("AP", place, strict=False)
    ]
    rows = {"assessor": names[0], "prototype": names[1], "attribute": "STICK", "score": scores.ravel()}
    rows |= {"replicate": (place[2] + 1).astype(str), "position": position.ravel()}
    prototypes = {"prototype": ["P1", "P2", "P3", "P4"], "role": ["benchmark", *["prototype"] * 3]}
    return Study({"prototypes": pd.DataFrame(prototypes), "scores": pd.DataFrame(rows)})


def test_what_only_the_place_of_one_prototype_may_have_made_is_no_difference():
    # on a site of its own: 20 points; the test of no difference takes them in, the pairs that can be told do not
    study = benchmark_always_first(np.random.default_rng(1), first=20.0)
    served = study.scores.drop_duplicates(["assessor", "prototype"])
    servings = served[["assessor", "prototype"]].assign(session="", site=served["position"].map("site {:g}".format))
    scores = study.scores.assign(session="", position=np.nan)
    found = find_differences(Study({**study.tables, "servings": servings, "scores": scores}))
    (row,) = found.attributes.to_dict("records")
    assert row["p_value"] < 0.001
    assert row["verdict"] == "cannot tell"
    assert row["p_adjusted"] == found.pairs.loc[found.pairs["versus"] != "P1", "p_adjusted"].min()
    told = tell_differences(found, naming(STUDY))
    assert told.headline == "On no attribute can the prototypes be told apart. That does not show that they are alike."
    lines = [item for part in told.drawers for item in part.items if isinstance(item, str)]
    assert any("cannot tell (F" in line and "P1 and P2 were never put on one site" in line for line in lines)


def test_with_the_position_in_the_model_the_test_takes_in_nothing_of_the_place():
    found = find_differences(benchmark_always_first(np.random.default_rng(1), first=20.0))
    assert found.confounds.uneven_orders
    assert found.attributes["p_value"].item() > 0.05
    with_first = (found.pairs[["prototype", "versus"]] == "P1").any(axis=1)
    assert (found.pairs["estimate"].isna() == with_first).all()
    assert found.pairs.loc[with_first, "because"].str.contains("never stood at one position").all()


def test_a_difference_beside_one_prototype_that_is_always_first_is_found():
    found = find_differences(benchmark_always_first(np.random.default_rng(2), last=15.0))
    assert found.attributes["verdict"].tolist() == ["differs"]
    told = found.pairs.loc[found.pairs["verdict"] == "differs"]
    assert set(told["prototype"]) | set(told["versus"]) == {"P2", "P3", "P4"}


@pytest.mark.parametrize(
    ("apart", "sentence"),
    [
        ({("P3", "P1"), ("P3", "P2"), ("P4", "P3"), ("P2", "P1")}, " Told apart from every other: P3 on greasy film."),
        ({("P3", "P1"), ("P3", "P2"), ("P4", "P1")}, ""),
        ({("P2", "P1"), ("P3", "P1"), ("P3", "P2"), ("P4", "P1"), ("P4", "P2"), ("P4", "P3")}, ""),
    ],
)
def test_without_a_benchmark_the_headline_names_who_is_told_apart_from_every_other(apart, sentence):
    pairs = [(one, other) for one in ("P2", "P3", "P4") for other in ("P1", "P2", "P3") if one > other]
    rows = [
        difference("film", *pair, 9.0, 5.0, "differs and matters" if pair in apart else "cannot tell") for pair in pairs
    ]
    told = tell_differences(replace(result(benchmark=None), pairs=pd.DataFrame(rows)), NAMES)
    first = "The prototypes differ on 1 of 2 attributes; not told apart on ease of spreading."
    assert told.headline == first + sentence


def test_what_cannot_be_shown_names_the_margin_or_its_absence():
    assert any("up to 8 is taken as too small" in line for line in _what_the_differences_cannot_show(result(), NAMES))
    assert any("No margin was set" in line for line in _what_the_differences_cannot_show(result(margin=None), NAMES))


def test_at_most_three_sentences_to_mind_and_the_margin_typed_in_is_one():
    told = tell_differences(RESULT, NAMED)
    assert told.mind == (
        "No batch is recorded: another batch may come out differently.",
        "The margin of 6 was typed in after the scores: it shows nothing, and tells only what would lie within it. "
        "State it in the study before the next test, or the earlier day of the plan that has it.",
    )


def test_where_batches_are_recorded_it_is_told_that_there_is_one():
    batches = dict.fromkeys(RESULT.means["prototype"], ("B1",))
    one = replace(RESULT, confounds=replace(RESULT.confounds, batches=batches))
    said = "At least one prototype is known from one batch only: another batch may come out differently."
    assert tell_differences(one, NAMED).mind[0] == said


@pytest.mark.parametrize(
    "table", [_BRIEFLY, _MEANS, _TESTS, _FROM_BENCHMARK, _PAIRS, _VARIANCES], ids=lambda one: one.name
)
def test_every_cell_is_text_for_people(table):
    written = shown(table, RESULT, NAMED)
    assert len(written) > 0
    assert len(written.columns) <= 8
    for column in written.columns:
        assert not written[column].str.contains("nan", case=False).any()
        assert not written[column].str.match(r"-\d").any()
        assert "_" not in column


def test_means_stand_with_their_letters():
    table = shown(_MEANS, RESULT, NAMED)
    assert list(table.columns) == ["Attribute (0 to 100)", "P1", "P2", "P3", "P4"]
    row = RESULT.means[(RESULT.means["attribute"] == "AF_STICK") & (RESULT.means["prototype"] == "P2")].iloc[0]
    assert table.set_index(table.columns[0]).loc["stickiness", "P2"] == f"{row['estimate']:.1f} {row['letters']}"
    gap = RESULT.means[~((RESULT.means["attribute"] == "AF_STICK") & (RESULT.means["prototype"] == "P2"))]
    table = shown(_MEANS, replace(RESULT, means=gap), NAMED)
    assert table.set_index(table.columns[0]).loc["stickiness", "P2"] == "–"


def test_briefly_brackets_what_cannot_be_told_and_marks_what_is_alike():
    row = shown(_BRIEFLY, result(), NAMES).iloc[0]
    assert list(row) == ["greasy film", "−12.0", "+16.0", "= +1.0"]
    assert list(shown(_BRIEFLY, result(), NAMES).iloc[1]) == ["ease of spreading", "(+2.0)", "–", "–"]


def test_a_difference_stands_with_its_sign_interval_and_words():
    table = shown(_FROM_BENCHMARK, RESULT, NAMED)
    first = RESULT.versus.iloc[0]
    sign = "+" if first["estimate"] > 0 else "−"
    assert table["Difference (95 % interval, Dunnett)"].iloc[0].startswith(f"{sign}{abs(first['estimate']):.1f} (")
    assert list(table["In words"]) == list(RESULT.versus["said"])
    pairs = shown(_PAIRS, RESULT, NAMED)
    with_benchmark = pairs["Compared with"] == "P1"
    assert set(pairs.loc[with_benchmark, "In words"]) == {"see the differences from P1"}
    assert list(pairs.loc[~with_benchmark, "In words"]) == list(RESULT.pairs.loc[~with_benchmark, "said"])


def test_tests_say_yes_only_below_the_level():
    raw = [0.049 / 4, 0.051 / 2, np.nan, 0.2, 0.0001, 0.05 / 3]  # of five by Holm: 0.049 0.051 0.2 0.0005 0.05
    untold = RESULT.attributes.drop(columns=["p_adjusted", "closed", "verdict", "because"])
    frame = untold.assign(p_value=raw)
    frame = frame.assign(**attribute_verdicts(frame, RESULT.pairs, RESULT.confounds))
    answers = shown(_TESTS, replace(RESULT, attributes=frame), NAMED)["Do prototypes differ?"]
    assert list(answers) == ["yes", "cannot tell", "–", "cannot tell", "yes", "cannot tell"]


def test_variances_are_shown_as_standard_deviations():
    frame = pd.DataFrame(
        {"attribute": ["AF_STICK"], "assessor": [16.0], "assessor_prototype": [0.0], "session": [np.nan],
         "residual": [2.25]}
    )  # fmt: skip
    cells = list(shown(_VARIANCES, replace(RESULT, variances=frame), NAMED).iloc[0])
    assert cells == ["stickiness", "4.0", "0.0", "–", "1.5"]


def test_both_tests_of_an_attribute_stand_in_its_row():
    frame = pd.DataFrame(
        {
            "attribute": ["AF_GREASE", "AF_GREASE", "AF_STICK"],
            "statistic": [11.553, 2.041, 3.0],
            "df": [7.0, 7.0, 7.0],
            "df_error": [61.52, 64.5, 60.0],
            "p_value": [1e-9, 0.0631, 0.04],
            "rules": [True, False, True],
        }
    )
    first, second = shown(BOTH_WAYS, replace(RESULT, both_ways=frame), NAMED).to_numpy().tolist()
    assert first == ["greasy or oily film", "F(7; 61.5) = 11.55, p < 0.001", "F(7; 64.5) = 2.04, p = 0.063"]
    assert second[2] == "–"
    told = tell_differences(replace(RESULT, both_ways=frame), NAMED)
    (line,) = [line for line in told.mind if line.startswith("Some scores were corrected or set aside")]
    drawers = {each.title: each.items for each in told.every_drawer()}
    assert drawers[line.partition("“")[2].partition("”")[0]] == (BOTH_WAYS,)  # it says where they stand


def marks(axes):
    """Height, place, shape and fill of the marks at the estimates, without the one beside the prototype's name."""
    drawn = [line for line in axes.lines if line.get_linestyle() == "None" and line.get_transform() == axes.transData]
    return sorted(
        (y, x, line.get_marker(), line.get_markerfacecolor())
        for line in drawn
        for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True)
    )


def test_a_column_for_each_prototype_filled_by_its_verdict():
    figure = tell_differences(RESULT, NAMED).picture.figure()
    assert [axes.get_title() for axes in figure.axes] == ["P2", "P3", "P4"]
    for axes, (prototype, rows) in zip(figure.axes, RESULT.versus.groupby("prototype", sort=False), strict=True):
        look = marker_of(NAMED, prototype)
        heights, places, shapes, fills = zip(*marks(axes), strict=True)
        assert places == pytest.approx(list(rows["estimate"]))
        assert list(heights) == list(range(len(rows)))
        assert set(shapes) == {look.shape}
        assert [fill == look.colour for fill in fills] == list(rows["verdict"] == "differs")
        assert [(band.get_x(), band.get_width()) for band in axes.patches] == [(-6.0, 12.0)] * len(rows)
    assert len({axes.get_xlim() for axes in figure.axes}) == 1
    assert [label.get_text() for label in figure.axes[0].get_yticklabels()] == [
        NAMED.attribute(name) for name in RESULT.attributes["attribute"]
    ]


@pytest.mark.parametrize("verdicts", [("differs",), ("differs", "alike"), ("cannot tell", "alike")])
def test_the_key_explains_the_fills_that_are_drawn_and_no_other(verdicts):
    versus = RESULT.versus.assign(verdict=np.resize(verdicts, len(RESULT.versus)))
    figure = tell_differences(replace(RESULT, versus=versus), NAMED).picture.figure()
    key = figure.texts[-1].get_text().replace("\n", " ")
    for fill, verdict in (
        ("Filled: differs", "differs"),
        ("Hollow: cannot tell", "cannot tell"),
        ("Grey: alike", "alike"),
    ):
        assert (fill in key) == (verdict in verdicts)


@pytest.mark.parametrize("prototypes", [3, 8, 12])
def test_no_word_leaves_the_picture_or_covers_another(prototypes):
    study = panel_study(prototypes=prototypes, assessors=5)
    for versus in ("P1", None):
        figure = tell_differences(find_differences(study, versus=versus, margin=5.0), naming(study)).picture.figure()
        assert words_outside(figure) == []
        assert words_covering_words(figure) == []


def test_without_a_benchmark_the_means_are_drawn_filled_where_prototypes_differ():
    found = find_differences(STUDY)
    frame = found.attributes.assign(verdict=["cannot tell", *["differs"] * (len(found.attributes) - 1)])
    told = tell_differences(replace(found, attributes=frame), NAMED)
    assert told.table is _MEANS
    (axes,) = told.picture.figure().axes
    _, places, _, fills = zip(*marks(axes), strict=True)
    assert places == pytest.approx(list(found.means["estimate"]))
    assert [fill == "white" for fill in fills] == list(found.means["attribute"] == frame["attribute"].iloc[0])


def test_who_cannot_see_it_hears_who_is_higher_and_lower():
    heard = tell_differences(result(), NAMES).picture.alt
    assert "P2: lower on greasy film. P3: higher on greasy film. P4: alike on greasy film." in heard
    picture = tell_differences(RESULT, NAMED).picture
    assert svg_root(picture.svg)[1].text == picture.alt
    assert picture.svg == tell_differences(RESULT, NAMED).picture.svg


def test_the_interval_that_decides_on_likeness_stands_with_its_level():
    # the margin is 8: 1.0 with both ends of its interval inside is alike
    row = shown(_FROM_BENCHMARK, result(), NAMES).iloc[2]
    assert "−1.5 to 3.5 (90 %)" in list(row)
