"""The record of a question about numbers."""

import numpy as np
import pytest

from panel.errors import ModelError
from panel.plan.consumer_numbers import _answer_numbers, _ask_between
from panel.stats.answers.binomial import EnoughAnswers

FOUND = EnoughAnswers(3, 5, np.arange(1, 7), np.array([0.1, 0.5, 0.8, 0.7, 0.9, 0.95]))


def test_numbers_chances_and_limits_stand_side_by_side():
    record = _answer_numbers("that", FOUND, 0.8, "how", minimum=np.arange(1, 7))
    assert (record.first, record.always) == (3, 5)
    assert record.curve.columns.tolist() == ["n", "chance", "minimum", "maximum"]
    assert record.curve["minimum"].tolist() == [1.0, 2.0, 3.0, 4.0, 5.0, 6.0]
    assert record.curve["maximum"].isna().all()
    assert len(record.notes) == 1


def test_without_counts_there_are_no_teeth_to_speak_of():
    assert _answer_numbers("that", FOUND, 0.8, "how").notes == ()


def test_a_share_must_lie_between_its_limits():
    _ask_between("The share", 0.5, 0.6, 1.0)
    with pytest.raises(ModelError, match="The share must lie between 50 and 100 %, and it is 50 %"):
        _ask_between("The share", 0.5, 0.5, 1.0)
