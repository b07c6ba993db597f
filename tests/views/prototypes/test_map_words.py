"""The sentences about a map are made from its numbers."""

import dataclasses

import pandas as pd

from panel.models.prototypes.map import PrototypeMap
from panel.views.prototypes.map import (
    axis_ends,
    axis_title,
    map_alt_text,
    what_the_map_cannot_show,
    what_the_map_shows,
)
from tests.views.examples import NAMES

RESULT = PrototypeMap(
    components=pd.DataFrame(
        {
            "component": [1, 2, 3],
            "eigenvalue": [70.0, 20.0, 10.0],
            "share": [0.699, 0.201, 0.1],
            "chance_share": [0.5, 0.3, 0.2],
        }
    ),
    prototypes=pd.DataFrame(
        {"prototype": ["P1", "P2", "P3"], "component_1": [-10.0, -8.0, 18.0], "component_2": [1.0, -1.0, 0.5]}
    ),
    attributes=pd.DataFrame(
        {
            "attribute": ["AF_GREASE", "LA_RESID", "RO_ABS", "AF_STICK"] * 2,
            "component": [1] * 4 + [2] * 4,
            "loading": [0.95, 0.9, -0.99, 0.69, 0.1, 0.2, 0.0, -0.7],
        }
    ),
    regions=pd.DataFrame(
        {
            "prototype": ["P1", "P2", "P3"],
            "centre_1": [-10.0, -8.0, 18.0],
            "centre_2": [1.0, -1.0, 0.5],
            "half_axis_1": [3.0] * 3,
            "half_axis_2": [2.0] * 3,
            "angle": [0.0] * 3,
            "assessors": [10, 10, 8],
        }
    ),
    matrix="covariance",
    level=0.95,
    method="",
    notes=(),
)


def test_shares_are_cut_and_named():
    assert "carries 70 % of the differences" in what_the_map_shows(RESULT, NAMES)[0]
    assert "bottom to top 20 %" in what_the_map_shows(RESULT, NAMES)[0]
    assert axis_title(RESULT, 1) == "Component 1: 70 % of the differences"


def test_ends_of_an_axis_are_the_attributes_that_clearly_go_with_it():
    assert axis_ends(RESULT, NAMES, 1) == (["speed of soaking-in"], ["greasy or oily film", "residue, later"])
    assert axis_ends(RESULT, NAMES, 2) == (["stickiness"], [])
    sentences = what_the_map_shows(RESULT, NAMES)
    assert (
        "More speed of soaking-in towards the left; more greasy or oily film and “residue, later” towards the right."
        in sentences
    )
    assert "More stickiness towards the bottom." in sentences


def test_nearest_and_furthest():
    assert "P1 and P3 lie furthest apart, P1 and P2 closest together." in what_the_map_shows(RESULT, NAMES)


def test_rings_are_explained_only_where_there_are_some():
    with_rings = " ".join(what_the_map_shows(RESULT, NAMES))
    assert "in 95 of 100 such panels" in with_rings
    assert "The 8 to 10 assessors" in with_rings
    bare = dataclasses.replace(RESULT, regions=RESULT.regions.assign(half_axis_1=float("nan")))
    assert "ring" not in " ".join(what_the_map_shows(bare, NAMES))


def test_what_it_cannot_show():
    sentences = what_the_map_cannot_show(RESULT)
    assert sentences[0].startswith("About 9 %") or sentences[0].startswith("About 10 %")
    text = " ".join(sentences)
    for word in ("no test", "not for new batches", "liking", "emollient"):
        assert word in text
    whole = dataclasses.replace(RESULT, components=RESULT.components.iloc[:2].assign(share=[0.8, 0.2]))
    assert "by arithmetic alone" in what_the_map_cannot_show(whole)[0]


def test_alternative_text_holds_the_places():
    assert "P1 top left; P2 bottom left; P3 top right" in map_alt_text(RESULT, NAMES)
