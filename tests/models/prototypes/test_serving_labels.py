"""Position, site and first place on a site: found for every score, or said to be missing."""

import pandas as pd
import pytest

from panel.errors import ModelError
from panel.models.prototypes.panel_design import _serving_labels
from panel.study.study import Study


def study(position=True):
    servings = pd.DataFrame(
        {
            "session": ["1"] * 4,
            "assessor": ["A"] * 4,
            "position": [1.0, 2.0, 3.0, 4.0],
            "prototype": ["P3", "P1", "P4", "P2"],
            "code": ["101", "202", "303", "404"],
            "site": ["left", "left", "right", "right"],
        }
    )
    scores = pd.DataFrame(
        {
            "assessor": "A",
            "prototype": ["P1", "P2", "P3", "P4"],
            "attribute": "film",
            "score": [1.0, 2, 3, 4],
            "session": "1",
        }
    )
    if position:
        scores["position"] = [2.0, 4.0, 1.0, 3.0]
    return Study({"servings": servings, "scores": scores})


@pytest.mark.parametrize("position", [True, False])
def test_labels_come_from_the_servings(position):
    own = study(position)
    labels = _serving_labels(own, own.scores, ("position", "site", "first_on_site"))
    assert list(labels["position"]) == ["2", "4", "1", "3"]
    assert list(labels["site"]) == ["left", "right", "left", "right"]
    assert list(labels["first_on_site"]) == ["no", "no", "yes", "yes"]


def test_what_is_not_recorded_is_said():
    own = study()
    scores = pd.concat([own.scores, own.scores.iloc[[0]].assign(session="2")], ignore_index=True)
    with pytest.raises(ModelError, match=r"Site is not recorded for 1 of 5 scores.*Add it to the table servings"):
        _serving_labels(own, scores, ("site",))


def test_what_is_unknown_is_said():
    with pytest.raises(ModelError, match="'weather' cannot be taken out; choose among position, site, first_on_site"):
        _serving_labels(study(), study().scores, ("weather",))


def with_sites(*sites, sessions=("1",)):
    """Return a study of one assessor who tried a prototype on each of the sites, in that order, in each session."""
    n = len(sites)
    servings = pd.concat(
        [
            pd.DataFrame(
                {
                    "session": session,
                    "assessor": "A",
                    "position": [float(place) for place in range(1, n + 1)],
                    "prototype": [f"P{place}" for place in range(1, n + 1)],
                    "code": [f"{session}{place}1" for place in range(1, n + 1)],
                    "site": sites,
                }
            )
            for session in sessions
        ],
        ignore_index=True,
    )
    scores = servings[["session", "assessor", "prototype"]].assign(attribute="film", score=1.0)
    return Study({"servings": servings, "scores": scores})


@pytest.mark.parametrize(
    "sites",
    [
        ("left forearm 1", "left forearm 2", "right forearm 1", "right forearm 2"),
        ("left forearm A", "left forearm b", "right forearm A", "right forearm b"),
        ("left-1", "left-2", "right-1", "right-2"),
        ("L1", "L2", "R1", "R2"),
        ("links, 1", "links, 2", "rechts, 1", "rechts, 2"),
        ("left", "left", "right", "right"),
    ],
)
def test_sites_of_one_arm_are_one_arm(sites):
    own = with_sites(*sites)
    labels = _serving_labels(own, own.scores, ("first_on_site", "site"))
    assert list(labels["first_on_site"]) == ["yes", "no", "yes", "no"]
    assert list(labels["site"]) == list(sites)


def test_each_session_has_its_own_first_on_an_arm():
    own = with_sites("left 1", "left 2", "right 1", sessions=("1", "2"))
    assert list(_serving_labels(own, own.scores, ("first_on_site",))["first_on_site"]) == ["yes", "no", "yes"] * 2


def test_the_first_on_an_arm_is_the_one_with_the_lowest_position():
    own = with_sites("left 1", "left 2", "right 1", "right 2")
    servings = own.table("servings").assign(position=[4.0, 1.0, 3.0, 2.0])
    turned = Study({"servings": servings, "scores": own.scores})
    assert list(_serving_labels(turned, own.scores, ("first_on_site",))["first_on_site"]) == ["no", "yes", "no", "yes"]


@pytest.mark.parametrize("sites", [("left", "right"), ("1", "2", "3"), ("A", "B", "C"), ("left", "right", "neck")])
def test_where_every_serving_is_the_first_it_is_refused(sites):
    own = with_sites(*sites)
    with pytest.raises(ModelError, match=r"Every serving is the first on its site.*such as 'left forearm 1'"):
        _serving_labels(own, own.scores, ("first_on_site",))


@pytest.mark.parametrize(("name", "words"), [("site", "from one site"), ("position", "from one position")])
def test_what_is_the_same_for_all_is_refused(name, words):
    own = with_sites("left")
    with pytest.raises(ModelError, match=words):
        _serving_labels(own, own.scores, (name,))
