"""Groups of consumers among the prototypes in the running: on groups that were planted."""

import numpy as np
import pandas as pd
import pytest

from panel.models.consumers.segments import divided_pairs, find_segments, segment_favourites
from tests.models.decision.known_studies import answers, target_study

NAMES = ("P1", "P2", "P3", "P4")
TRUTH = dict.fromkeys(NAMES, (50, 50))


@pytest.fixture(scope="module")
def groups():
    """Forty consumers who like P1 best and thirty who like P4 best; both like P2 least."""
    rng = np.random.default_rng(2)
    first = answers(rng, dict(zip(NAMES, (8.0, 4.0, 6.0, 5.0), strict=True)), 40)
    second = answers(rng, dict(zip(NAMES, (5.0, 4.0, 6.0, 8.5), strict=True)), 30)
    second = second.assign(assessor="D" + second["assessor"])
    study = target_study(TRUTH, answers=pd.concat([first, second], ignore_index=True))
    found = find_segments(study, np.random.default_rng(1))
    assert found.n_groups == 2
    return found


def test_each_group_has_its_favourite_among_those_in_the_running(groups):
    found = segment_favourites(groups, NAMES)
    assert found["prototype"].tolist() == ["P1", "P4"]
    assert found["n"].tolist() == [40, 30]
    assert segment_favourites(groups, ("P2", "P3"))["prototype"].tolist() == ["P3", "P3"]


def test_the_pair_that_divides_the_consumers_is_named(groups):
    found = divided_pairs(groups, NAMES)
    named = {tuple(sorted(pair)) for pair in zip(found["prototype"], found["versus"], strict=True)}
    assert ("P1", "P4") in named
    assert not any("P2" in pair for pair in named)  # liked least by both
    own = divided_pairs(groups, ("P1", "P2", "P4"))
    assert np.sign(own["estimate"]).sum() == 0
    assert sorted(own["n"]) == [30, 40]
    assert divided_pairs(groups, ("P2", "P3")).empty


def test_without_groups_there_is_nothing_to_tell():
    study = target_study(TRUTH, liking=dict.fromkeys(NAMES, 6.0))
    one = find_segments(study, np.random.default_rng(1))
    for segments in (None, one):
        assert segment_favourites(segments, NAMES).empty
        assert divided_pairs(segments, NAMES).empty
