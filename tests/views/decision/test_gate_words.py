"""Gates in words."""

import pytest

from panel.views.decision.decide import gate_name, gate_unit


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
    assert gate_name(gate) == words


def test_shares_are_shown_in_per_cent():
    assert gate_unit("solid_share") == (100.0, 0, " %")
    assert gate_unit("ph") == (1.0, 2, "")
