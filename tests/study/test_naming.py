"""Words of a study for pictures and tables."""

import math

import pandas as pd
import pytest

from panel.study.knowledge import stated_scale
from panel.study.naming import Naming, naming, timed_words
from panel.study.study import Study


def study(**facts: float) -> Study:
    return Study(
        tables={
            "attributes": pd.DataFrame(
                {
                    "attribute": ["AF_GREASE", "LA_GREASE", "RO_ABS"],
                    "name": ["greasy film", "greasy film", ""],
                    "stage": ["after-feel", "later after-feel", "rub-out"],
                }
            ),
            "prototypes": pd.DataFrame({"prototype": ["P1", "P2"], "name": ["benchmark cream", "P2"]}),
        },
        facts=facts,
    )


def test_words_that_are_not_unique_carry_the_short_name():
    names = naming(study())
    assert names.attribute("AF_GREASE") == "greasy film, AF_GREASE"
    assert names.attribute("RO_ABS") == "RO_ABS"
    assert names.attribute("unknown") == "unknown"
    assert names.stage("LA_GREASE") == "later after-feel"
    assert names.stage("unknown") == ""


def test_prototypes_have_their_name_behind():
    names = naming(study())
    assert names.prototype("P1") == "P1 (benchmark cream)"
    assert names.prototype("P2") == "P2"
    assert names.prototype("P9") == "P9"


def test_the_scale_stands_in_headings():
    assert naming(study(scale_min=0, scale_max=100)).with_scale("Mean") == "Mean (0 to 100)"
    assert naming(study(scale_min=0, scale_max=100)).digits == 1
    assert naming(study(scale_min=0, scale_max=10)).digits == 2
    assert naming(study(scale_min=0.5, scale_max=9)).scale == "0.5 to 9"
    assert naming(study()).with_scale("Mean") == "Mean"


def test_several_scales_give_no_scale():
    tables = {"attributes": study().table("attributes").assign(scale_min=0.0, scale_max=[10.0, 100.0, 100.0])}
    names = naming(Study(tables=tables))
    assert names.scale == ""
    assert names.digits == 1


def test_without_a_study_names_are_short():
    assert Naming().attribute("AF_GREASE") == "AF_GREASE"


@pytest.mark.parametrize(
    ("name", "words", "minutes"),
    [
        ("Greasy after 5 min", "Greasy", 5),
        ("residual_film_20min", "residual_film", 20),
        ("Film (2 h)", "Film", 120),
        ("After 30 s: tacky", "tacky", 0.5),
        ("24-hour softness", "softness", 1440),
        ("Fettig nach 2,5 Minuten", "Fettig", 2.5),
        ("untuoso dopo 1 ora", "untuoso", 60),
        ("Sticking (5 min, own arm)", "Sticking (own arm)", 5),
        ("Sticking (child's arm, after 30 min)", "Sticking (child's arm)", 30),
        ("Film (2,5 min; left; blotted)", "Film (left; blotted)", 2.5),
        ("Film, 1 h, own arm", "Film, own arm", 60),
        ("Film (own arm) (5 min)", "Film (own arm)", 5),
        ("Film (own arm 5 min)", "Film (own arm)", 5),
        ("24-hour softness after 5 min", "24-hour softness", 5),
    ],
)
def test_a_time_in_the_name_of_an_attribute_is_read(name, words, minutes):
    assert timed_words(name) == (words, pytest.approx(minutes))


@pytest.mark.parametrize(
    "name",
    [
        *("Time to absorb (min)", "slip, 10 strokes", "10 min", "stickiness 2", "SPF 30 minimum", "T5"),
        *("Film (5 min, 30 min)", "Film (5-10 min, own arm)", "Film (within 5 min, own arm)", "Film (SPF 30, own arm)"),
        *("Slip (5-10 min)", "glide 5 to 10 min", "fettig nach 2,5–5 Minuten"),
    ],
)
def test_a_number_that_is_no_time_is_part_of_the_name(name):
    words, minutes = timed_words(name)
    assert words == name
    assert math.isnan(minutes)


def test_the_same_words_are_told_apart_by_the_minutes_they_are_judged_at():
    attributes = pd.DataFrame(
        {
            "attribute": ["AF_G", "LA_G", "LA_H", "X1", "X2", "X3"],
            "name": ["greasy film"] * 3 + ["soft"] * 3,
            "minutes": [2.0, 20.0, 1440.0, 5.0, 5.0, math.nan],
        }
    )
    named = naming(Study({"attributes": attributes}, {}))
    words = ["greasy film at 2 min", "greasy film at 20 min", "greasy film at 24 h", "soft, X1", "soft, X2", "soft, X3"]
    assert [named.attribute(each) for each in attributes["attribute"]] == words


def test_the_same_words_at_two_times_are_told_apart_by_their_names_and_a_time_is_never_lost():
    short = ["film 5 min", "film 20 min", "tacky 5 min", "g1", "g2"]
    attributes = pd.DataFrame({"attribute": short, "name": ["film", "film", "tacky", "gloss", "gloss"]})
    named = naming(Study({"attributes": attributes}, {}))
    words = ["film 5 min", "film 20 min", "tacky 5 min", "gloss, g1", "gloss, g2"]
    assert [named.attribute(each) for each in short] == words


@pytest.mark.parametrize(("highest", "digits"), [(9.5, 2), (96.0, 1), (0.8, 3)])
def test_where_no_scale_is_stated_the_scores_say_how_fine_it_is(highest, digits):
    scores = pd.DataFrame({"assessor": "A1", "prototype": ["P1", "P2"], "attribute": "film", "score": [0.0, highest]})
    assert naming(Study({"scores": scores}, {})).digits == digits
    assert naming(Study({"scores": scores}, {"scale_min": 0, "scale_max": 100})).digits == 1


def test_an_attribute_has_the_unit_and_the_decimals_of_its_own_scale():
    table = study().table("attributes").assign(scale_min=0.0, scale_max=[10.0, 10.0, 300.0], unit=["", "", "s"])
    names = naming(Study(tables={"attributes": table}))
    assert (names.mixed, names.measure("RO_ABS")) == (True, "RO_ABS (s)")
    assert names.change("RO_ABS", -19.72) == "−19.7\u00a0s"
    assert names.interval("RO_ABS", -42.31, 2.84) == "−42.3 to 2.8\u00a0s"
    assert names.window("RO_ABS", float("nan"), 90.0) == "90\u00a0s or less"
    assert names.number("RO_ABS", float("nan")) == "–"
    assert (names.measure("AF_GREASE"), names.change("AF_GREASE", 1.0)) == ("greasy film, AF_GREASE", "+1.00")
    assert not naming(study(scale_min=0, scale_max=10)).mixed


def test_differences_that_matter_are_told_as_typed_with_those_of_an_attribute_behind():
    names = Naming(attributes={"DRY": "drying time"}, units={"DRY": "s"})
    assert names.margins({"FILM": 8.0, "GLIDE": 8.0}) == "8"
    assert names.margins({"FILM": 8.0, "GLIDE": 8.0, "DRY": 7.5}) == "8; drying time 7.5\u00a0s"
    assert names.margins({"DRY": 20.0}) == "drying time 20\u00a0s"


@pytest.mark.parametrize(
    ("heading", "words", "scale", "minutes"),
    [
        ("Rating 0-10", "Rating", (0, 10), None),
        ("Glide (15 cm line scale)", "Glide", (0, 15), None),
        ("Glide, 100 mm line", "Glide", (0, 100), None),
        ("15 cm line scale", "15 cm line scale", (0, 15), None),
        ("Glide along the line", "Glide along the line", None, None),
        ("Glide (right after)", "Glide", None, 0.0),
        ("Film, immediately after application", "Film", None, 0.0),
        ("Film (right after drying)", "Film (right after drying)", None, None),
        ("Film right after", "Film right after", None, None),
    ],
)
def test_a_heading_gives_the_length_of_its_line_and_the_moment_right_after(heading, words, scale, minutes):
    """Headings as people write them; common practice, no source."""
    assert stated_scale(heading)[1] == scale
    told, at = timed_words(heading)
    assert (None if math.isnan(at) else at) == minutes
    assert words == (told if minutes is not None else stated_scale(heading)[0])
