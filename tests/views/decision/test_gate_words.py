"""Gates in words."""

import pytest

from panel.views.decision.decide import _gate_name, _gate_unit


@pytest.mark.parametrize(
    ("gate", "words"),
    [
        ("ph", "pH"),
        ("viscosity_mpa_s", "viscosity (mPa s)"),
        ("free_of lanolin", "free of lanolin"),
        ("other", "other"),
    ],
)
def test_every_gate_has_words(gate, words):
    assert _gate_name(gate) == words


def test_shares_are_shown_in_per_cent():
    assert _gate_unit("solid_share") == (100.0, 0, " %")
    assert _gate_unit("ph") == (1.0, 2, "")
