"""Kept answers belong to one content: the same content gives the same answer, a corrected score a new one."""

from __future__ import annotations

from panel.app import cached
from panel.models.prototypes.differences import find_differences
from panel.study.scores_used import with_correction
from tests.studies import small_study


def test_a_corrected_score_changes_the_answer():
    study = small_study()
    place = {"assessor": "A02", "session": "2", "prototype": "P4", "attribute": "AF_GREASE"}
    corrected = with_correction(study, place, new="99", who="panel leader", why="ballot", when="2025-04-01T10:00")
    before = cached.differences(study.content_hash, None, None, study)
    after = cached.differences(corrected.content_hash, None, None, corrected)
    assert not before.means.equals(after.means)
    assert after.means.equals(find_differences(corrected).means)


def test_the_same_content_is_not_computed_again():
    study = small_study()
    first = cached.differences(study.content_hash, "P1", 5.0, study)
    again = cached.differences(small_study().content_hash, "P1", 5.0, study)
    other = cached.differences(study.content_hash, "P1", 6.0, study)
    assert first.means.equals(again.means)
    assert (again.margin, other.margin) == (5.0, 6.0)


def test_the_map_is_the_same_every_time():
    study = small_study()
    first = cached.prototype_map(study.content_hash, "covariance", study)
    cached.prototype_map.clear()
    assert first.regions.equals(cached.prototype_map(study.content_hash, "covariance", study).regions)
