"""Position, site and first place on a site: found for every score, or said to be missing."""

import pandas as pd
import pytest

from panel.errors import ModelError
from panel.models.prototypes.serving_labels import serving_labels
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
    labels = serving_labels(own, own.scores, ("position", "site", "first_on_site"))
    assert list(labels["position"]) == ["2", "4", "1", "3"]
    assert list(labels["site"]) == ["left", "right", "left", "right"]
    assert list(labels["first_on_site"]) == ["no", "no", "yes", "yes"]


def test_nothing_asked_nothing_needed():
    assert serving_labels(Study({}), pd.DataFrame(), ()) == {}


def test_what_is_not_recorded_is_said():
    own = study()
    scores = pd.concat([own.scores, own.scores.iloc[[0]].assign(session="2")], ignore_index=True)
    with pytest.raises(ModelError, match=r"Site is not recorded for 1 of 5 scores.*Add it to the table servings"):
        serving_labels(own, scores, ("site",))


def test_what_is_unknown_is_said():
    with pytest.raises(ModelError, match="'weather' cannot be taken out; choose among position, site, first_on_site"):
        serving_labels(study(), study().scores, ("weather",))
