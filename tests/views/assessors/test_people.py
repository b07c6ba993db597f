"""Whom to talk to and about what: made from the numbers, training first, nobody called bad."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from data_demo import make_demo
from panel.models.assessors.measures import _ONE_REPEAT, NOT_JUDGED
from panel.models.assessors.performance import Action, Pattern, check_panel, leave_one_out
from panel.study.folder import read_folder
from panel.study.naming import Naming, naming
from panel.study.shown import shown
from panel.study.study import Study
from panel.views.assessors.people import (
    _CANNOT_BE_TOLD,
    _DUPLICATES,
    _MEASURED,
    _PATTERNS,
    _PEOPLE,
    _TO_DO,
    _WITHOUT,
    _noticed,
    _scale_used,
    _strip_rows,
    differences_without,
    sentence,
    tell_people,
)
from tests.simulated_panels import simulated_panel
from tests.studies import crossed_study
from tests.views.checked_panels import checked, with_patterns
from tests.views.examples import svg_words, words_covering_words, words_outside

UNKIND = ("bad", "poor", "wrong", "fail", "unreliable", "incompetent", "exclude", "remove", "delete", "useless")
NAMES = Naming(attributes={"T01": "glide"}, scale="0 to 100")


@pytest.fixture(scope="module")
def demo():
    study = read_folder(Path(make_demo.__file__).parent / "reading_room")
    return check_panel(study), naming(study)


@pytest.fixture(scope="module")
def once():
    study = crossed_study(np.random.default_rng(4), assessors=5, prototypes=6, attributes=3, sessions=1)
    return check_panel(study), naming(study)


# The headline.


def test_the_demo_names_whom_to_talk_to_and_about_what(demo):
    assert tell_people(*demo).headline == (
        "Talk to A03 about using the whole scale, A06 about repeating, A07 about speed of soaking in (scored "
        "backwards), A08 about stickiness (perhaps not felt); the others are in line."
    )


def test_those_to_train_come_before_those_to_look_at_again():
    result, names = checked()
    told = with_patterns(
        result,
        [
            ("A02", Pattern.DRIFTS, "T03", Action.LOOK_AGAIN),
            ("A05", Pattern.NARROW, "", Action.RETRAIN),
        ],
    )
    assert tell_people(told, names).headline.startswith("Talk to A05 about using the whole scale, A02 about ")


def test_of_many_the_first_few_are_named():
    result, names = checked()
    told = with_patterns(result, [(f"A{n:02d}", Pattern.SCATTERS, "", Action.LOOK_AGAIN) for n in range(1, 7)])
    assert tell_people(told, names).headline.endswith("A04 about repeating, 2 others.")


def test_all_in_line():
    result, names = checked()
    told = tell_people(with_patterns(result, []), names)
    assert told.headline == "All 6 assessors are in line with the panel, as far as these scores can tell."


def test_what_is_harmless_names_nobody():
    result, names = checked()
    told = with_patterns(result, [("A02", Pattern.HIGH, "", Action.NONE)])
    assert tell_people(told, names).headline.startswith("All 6 assessors are in line")


def test_where_nothing_can_be_judged_it_is_said():
    result, names = checked()
    none = with_patterns(result, [])
    unjudged = replace(none, people=none.people.assign(n_judged=0))
    assert tell_people(unjudged, names).headline == "Whether the assessors agree cannot be judged from these scores."


def test_with_one_repeat_nothing_is_counted(once):
    result, names = once
    told = tell_people(with_patterns(result, []), names)
    expected = "Who repeats, and who tells the prototypes apart alone, cannot be told with one repeat."
    assert told.headline == expected
    assert set(result.assessors["sees"]) <= {NOT_JUDGED, _ONE_REPEAT}
    assert set(shown(_PEOPLE, result, names)["Tells apart alone"]) == {_CANNOT_BE_TOLD}
    assert set(shown(_MEASURED, result, names)["Tell apart alone"]) == {_CANNOT_BE_TOLD}
    words = " ".join(item for each in told.every_drawer() for item in each.items if isinstance(item, str))
    assert "0 of" not in words
    assert "in line" not in told.headline


def test_with_one_repeat_somebody_who_stands_out_is_named_all_the_same(once):
    result, names = once
    told = with_patterns(result, [("A02", Pattern.NARROW, "", Action.RETRAIN)])
    assert tell_people(told, names).headline.startswith("Talk to A02 about using the whole scale; who repeats")


# What to mind, and each person in words.


def test_what_would_be_noticed_goes_from_the_clearest_attribute_to_the_faintest(demo):
    result, names = demo
    chances = {"RO_ABS": 0.83, "AF_GREASE": 0.31}
    panel = result.panel.assign(reversal_noticed=result.panel["attribute"].map(chances))
    assert _noticed(replace(result, panel=panel), names) == (
        "A scale used backwards by one person would be noticed in about 85 % of such panels on speed of soaking in, "
        "where it shows best, and in about 30 % on greasy film; on 12 of 14 attributes it would not be noticed at all."
    )
    never = replace(result, panel=result.panel.assign(reversal_noticed=float("nan")))
    assert _noticed(never, names) == "A scale used backwards would not have been noticed on any attribute."


def test_the_numbers_of_a_sentence_are_those_of_the_table(demo):
    result, names = demo
    line = sentence(result, names, "A07")
    cell = result.assessors.set_index(["assessor", "attribute"]).loc[("A07", "RO_ABS")]
    assert f"speed of soaking in (slope −{abs(cell['slope']):.1f}, 95 % interval" in line
    assert f"to −{abs(cell['ci_high']):.1f}, about {cell['slope_expected']:.1f} expected)" in line
    ratio = result.people.set_index("assessor").loc["A06", "repeat_ratio"]
    assert f"scatters {ratio:.1f} times as much as the others" in sentence(result, names, "A06")
    assert "sits high, by 9 % of the scale: harmless for differences, nothing to do." in sentence(result, names, "A05")
    assert sentence(result, names, "A01") == ""
    stickiness = sentence(result, names, "A08")
    assert "stickiness may not be felt at any stage" in stickiness
    assert stickiness.count("Look again") == 1


ALL = [  # every pattern as the rules give it: over one attribute or over all, with the action it calls for
    (Pattern.REVERSED, "T09", Action.RETRAIN),
    (Pattern.NOT_FOLLOWING, "T09", Action.LOOK_AGAIN),
    (Pattern.NOT_FOLLOWING, "", Action.RETRAIN),
    (Pattern.NOT_FELT, "T09", Action.LOOK_AGAIN),
    (Pattern.FEELS_LITTLE, "", Action.RETRAIN),
    (Pattern.NARROW, "", Action.RETRAIN),
    (Pattern.WIDE, "", Action.NONE),
    (Pattern.SCATTERS, "T09", Action.LOOK_AGAIN),
    (Pattern.SCATTERS, "", Action.LOOK_AGAIN),
    (Pattern.SCATTERS, "", Action.RETRAIN),
    (Pattern.OWN_VIEW, "T09", Action.LOOK_AGAIN),
    (Pattern.DRIFTS, "T09", Action.LOOK_AGAIN),
    (Pattern.HIGH, "", Action.NONE),
    (Pattern.LOW, "", Action.NONE),
]


@pytest.mark.parametrize(("pattern", "attribute", "action"), ALL)
def test_every_pattern_has_a_sentence_that_is_kind_and_trains_first(pattern, attribute, action):
    result, names = checked()
    one = with_patterns(result, [("A02", pattern, attribute, action)])
    line = sentence(one, names, "A02")
    assert line.startswith("A02: ")
    told = f"{line} {tell_people(one, names).headline}"
    assert not [word for word in UNKIND if word in told.lower().split()]
    advice = {Action.RETRAIN: "Train first", Action.LOOK_AGAIN: "Look again", Action.NONE: "harmless"}
    assert [words for words in advice.values() if words in line] == [advice[action]]
    assert attribute in line
    assert ("Talk to A02" in told) == (action != Action.NONE)


def test_every_pattern_and_judgement_has_words():
    assert {pattern for pattern, _, _ in ALL} == set(_PATTERNS)
    assert set(_TO_DO) == set(Action)
    assert len(set(_PATTERNS.values())) == len(_PATTERNS)


def test_training_comes_before_leaving_out(demo):
    assert any(
        line.startswith("Training comes first.") and "before unblinding" in line for line in tell_people(*demo).cannot
    )


def test_an_answer_that_hangs_on_one_person_is_named(demo):
    result, names = demo
    rows = result.without
    whole = dict(rows.loc[rows["assessor"] == "", ["attribute", "differ"]].itertuples(index=False, name=None))
    hang = rows.loc[(rows["assessor"] != "") & (rows["differ"] != rows["attribute"].map(whole))]
    told = next(each for each in tell_people(*demo).drawers if each.title == "With and without each assessor").items
    named = [line for line in told if isinstance(line, str) and "the prototypes" in line]
    assert len(named) == hang["attribute"].nunique() > 0
    for row in hang.itertuples():
        assert any(line.startswith(names.attribute(row.attribute)) and row.assessor in line for line in named)
    same = replace(result, without=rows.assign(differ=True))
    told = tell_people(same, names).drawers[2].items
    assert told[0] == "On no attribute does the answer hang on one person."


# Tables.


def test_people():
    result, names = checked()
    table = shown(
        _PEOPLE, with_patterns(result, [("A02", "reversed", "T09", "retrain"), ("A02", "drifts", "", "none")]), names
    )
    assert list(table["Assessor"]) == [f"A{number:02d}" for number in range(1, 7)]
    assert list(table.loc[:1, "What to do"]) == ["nothing", "train first"]
    assert table.loc[1, "What stands out"] == "scored backwards, drifts"
    assert table.loc[0, "What stands out"] == "–"
    person = result.people.iloc[0]
    assert table.loc[0, "Tells apart alone"] == f"{person['n_separated']:.0f} of {person['n_judged']}"
    scale = table.loc[0, "Use of the scale (1 = the others'), 95 % interval"]
    digits = 1 if person["scale_high"] - person["scale_low"] > 1 else 2
    seen = [f"{person[name]:.{digits}f}" for name in ("scale", "scale_low", "scale_high")]
    assert scale == f"{seen[0]} ({seen[1]} to {seen[2]})".replace("-", "−")


def test_how_much_of_the_scale_is_used_is_told_no_finer_than_it_is_known():
    told = [
        _scale_used({"scale": 0.514, "scale_low": 0.514 - half, "scale_high": 0.514 + half}, None)
        for half in (0.2, 2, 22)
    ]
    assert told == ["0.51 (0.31 to 0.71)", "0.5 (−1.5 to 2.5)", "1 (−21 to 23)"]


def test_people_in_a_table_have_few_columns():
    result, names = checked()
    table = shown(_PEOPLE, result, names)
    assert table.shape[1] <= 8


def test_the_panel_shows_the_p_that_the_differences_show(demo):
    result, names = demo
    table = shown(_MEASURED, result, names)
    row = result.panel.iloc[3]
    assert table.loc[3, "P after Holm"] == f"{row['p_adjusted']:.3f}" != f"{row['p_value']:.3f}"
    assert table.loc[3, "Reliability of the means"] == f"{row['reliability']:.2f}"
    assert table.loc[3, "Tell apart alone"] == f"{row['n_separating']:.0f} of 10"
    assert table.loc[3, "Repeatability, SD (0 to 100)"] == f"{row['repeatability']:.1f}"
    assert table.shape[1] <= 8


def test_with_and_without():
    study = crossed_study(np.random.default_rng(1), assessors=4, prototypes=3, attributes=2, sessions=2)
    study = Study(study.tables, dict(study.facts) | {"benchmark": "P01"})
    left_out = leave_one_out(study)
    table = shown(_WITHOUT, check_panel(study), NAMES)
    assert list(table.columns) == ["Attribute", "Everybody", "Without A01", "Without A02", "Without A03", "Without A04"]
    assert list(table.iloc[:, 0]) == ["glide", "T02"]
    tests = left_out.tests
    first = tests[(tests["attribute"] == "T01") & (tests["assessor"] == "A02")].iloc[0]
    assert table.loc[0, "Without A02"].split(" (")[0] == f"{first['statistic']:.1f}"
    rows = shown(differences_without("A02"), left_out, NAMES)
    assert set(rows["Without"]) == {"nobody", "A02"}
    assert set(rows["Compared with"]) == {"P01"}
    assert len(rows) == 2 * 2 * 2


def test_what_could_not_be_fitted_is_a_dash_and_p_stands_where_they_do_not_differ():
    result, _ = checked()
    tests = pd.DataFrame(
        {
            "attribute": "T01",
            "assessor": ["", "A01", "A02", "A03"],
            "statistic": [3.0, np.nan, 20.0, 2.0],
            "p_adjusted": [0.04, np.nan, 1e-9, 0.05],
            "differ": [True, False, True, False],
        }
    )
    table = shown(_WITHOUT, replace(result, without=tests), NAMES)
    assert list(table.iloc[0]) == ["glide", "3.0", "–", "20.0", "2.0 (0.050)"]


def test_duplicates():
    study = crossed_study(np.random.default_rng(2), assessors=3, prototypes=3, attributes=2, sessions=2)
    again = study.scores.assign(score=study.scores["score"] + 3)
    twice = Study(dict(study.tables) | {"scores": pd.concat([study.scores, again], ignore_index=True)}, study.facts)
    result = check_panel(twice)
    table = shown(_DUPLICATES, result, NAMES)
    assert set(table["Apart (0 to 100)"]) == {"3.0"}
    assert set(table["Pairs"]) == {"6"}
    assert set(table["Against the others"]) == {"1.00"}
    assert tell_people(result, NAMES).drawers[-1].title == "Blind duplicates"


# The strip of people.


def test_a_dot_for_each_judged_attribute_and_only_what_calls_for_something_is_dark():
    result, _ = checked()
    judged = result.assessors.loc[result.assessors["judged"]]
    one = judged.loc[judged["assessor"] == "A02", "attribute"].iloc[0]
    told = with_patterns(result, [("A02", "drifts", one, Action.LOOK_AGAIN), ("A03", "sits high", "", Action.NONE)])
    rows = _strip_rows(told)
    assert len(rows) == len(judged)
    dark = rows.loc[rows["filled"], ["assessor", "attribute"]]
    assert list(dark.itertuples(index=False, name=None)) == [("A02", one)]
    cell = judged.loc[(judged["assessor"] == "A02") & (judged["attribute"] == one), "slope"].iloc[0]
    assert rows.loc[rows["filled"], "estimate"].iloc[0] == pytest.approx(np.clip(cell, -1.5, 2.0))
    assert rows.groupby("assessor")["y"].nunique().max() == 1
    assert rows.groupby("assessor")["y"].first().is_monotonic_increasing


def test_the_strip_is_read_and_heard():
    result, names = checked()
    picture = tell_people(result, names).picture
    assert words_outside(picture.figure()) == []
    assert words_covering_words(picture.figure()) == []
    assert "A01: T09 (scored backwards)" in picture.alt
    assert picture.svg == tell_people(result, names).picture.svg
    bold = [
        label.get_text() for label in picture.figure().axes[0].get_yticklabels() if label.get_fontweight() == "bold"
    ]
    assert bold == list(result.people.loc[result.people["judgement"] != Action.NONE, "assessor"])
    assert svg_words(picture.svg) is not None


def test_there_is_no_strip_where_agreement_is_not_judged():
    study = simulated_panel(np.random.default_rng(2), assessors=2, prototypes=4, replicates=2)
    assert tell_people(check_panel(study), naming(study)).picture is None
