"""Colours and shapes: the published palette, contrast by the web standard, one look per prototype."""

from itertools import combinations

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.colors import to_hex, to_rgb

from panel.study.naming import Naming
from panel.views.pictures import _COLOURS, GREY, INK, MOST_COLOURED, OTHERS, marker_of, markers


def contrast_on_white(colour: str) -> float:
    """Contrast ratio by WCAG 2.2 (W3C), 'relative luminance' and 'contrast ratio'."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
    return 1.05 / (0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2] + 0.05)


def test_colours_are_okabe_and_ito_without_yellow():
    # Okabe and Ito (2008) as kept by matplotlib (color_sequences["okabe_ito"]).
    published = {to_hex(colour) for colour in mpl.color_sequences["okabe_ito"]}
    assert set(_COLOURS) == published - {"#f0e442"}


def test_lines_and_words_can_be_seen_on_white():
    # WCAG 2.2, 1.4.11 (3 to 1 for graphics) and 1.4.6 (7 to 1 for words). Sky blue and orange stay below 3 to 1, so
    # every marker has an outline in ink.
    assert sum(contrast_on_white(colour) < 3 for colour in _COLOURS) <= 3
    assert contrast_on_white(GREY) >= 3
    assert contrast_on_white(INK) >= 7


def test_up_to_seven_prototypes_all_look_different():
    drawn = markers([f"P{number}" for number in range(MOST_COLOURED)])
    assert len({marker.colour for marker in drawn.values()}) == MOST_COLOURED
    assert len({marker.shape for marker in drawn.values()}) == MOST_COLOURED


def test_a_prototype_looks_the_same_whatever_else_is_shown():
    names = Naming(prototypes={f"P{number}": "" for number in range(150)})
    drawn = [marker_of(names, f"P{number}") for number in range(144)]
    assert len({(marker.colour, marker.shape) for marker in drawn}) == 144
    assert len({marker.shape for marker in drawn[:12]}) == 12
    assert len({marker.colour for marker in drawn[:12]}) == 12
    assert marker_of(Naming(prototypes={"P0": "first", "P1": "second"}), "P1") == drawn[1]
    assert marker_of(names, "no prototype").colour == GREY


def test_of_more_only_the_chosen_are_coloured():
    prototypes = [f"P{number}" for number in range(12)]
    drawn = markers(prototypes, ["P7", "unknown", "P2"])
    assert list(drawn) == prototypes
    assert [name for name, marker in drawn.items() if marker.colour != GREY] == ["P2", "P7"]
    assert drawn["P7"].colour == OTHERS[0]
    assert sum(marker.colour != GREY for marker in markers(prototypes, prototypes).values()) == MOST_COLOURED


# How far apart the colours of prototypes lie on a grey print and for people who miss a kind of cone.

NEAR = 20.0
"""Colours nearer than this in CIELAB are not relied on; common practice, no source. 100 lie between black and white."""
MISSING_CONES = {
    # Machado, Oliveira and Fernandes (2009), IEEE Transactions on Visualization and Computer Graphics 15, 1291-1298,
    # severity 1.0, on linear red, green and blue; as several public programs have them.
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
}
SEEN = ("as it is", "grey print", *MISSING_CONES)
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])  # IEC 61966-2-1


def lightness_and_hue(colour: str, seen: str) -> np.ndarray:
    """L*, a*, b* by CIE 15 of an sRGB colour as it is seen; a grey print keeps the lightness alone."""
    coded = np.array(to_rgb(colour))
    linear = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
    if seen in MISSING_CONES:
        linear = np.clip(np.array(MISSING_CONES[seen]) @ linear, 0, 1)
    part = TO_XYZ @ linear / TO_XYZ.sum(axis=1)  # of white
    x, y, z = np.where(part > (6 / 29) ** 3, np.cbrt(part), part / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)]) * ([1, 0, 0] if seen == "grey print" else [1, 1, 1])


def distance(one: str, other: str, seen: str) -> float:
    return float(np.linalg.norm(lightness_and_hue(one, seen) - lightness_and_hue(other, seen)))


def test_distances_are_those_of_the_standard():
    # White, black and red of sRGB (L* 53.24, a* 80.09, b* 67.20; CIE 15 for D65, as every colour table has it).
    np.testing.assert_allclose(lightness_and_hue("#ffffff", "as it is"), [100, 0, 0], atol=0.01)
    np.testing.assert_allclose(lightness_and_hue("#ff0000", "as it is"), [53.24, 80.09, 67.20], atol=0.05)
    # Whoever misses a kind of cone sees greys as they are, and red and a dark green alike that others tell apart.
    for seen in MISSING_CONES:
        assert distance("#808080", "#808080", seen) == 0
        np.testing.assert_allclose(
            lightness_and_hue("#808080", seen), lightness_and_hue("#808080", "as it is"), atol=0.01
        )
    assert distance("#8f5c00", "#5c7300", "deuteranopia") < NEAR < distance("#8f5c00", "#5c7300", "as it is")


@pytest.mark.parametrize("seen", SEEN)
def test_prototypes_with_near_colours_have_other_shapes(seen):
    """Up to twelve prototypes, as many as a crowded study has: nobody has to go by the colour."""
    names = Naming(prototypes={f"P{number}": "" for number in range(12)})
    drawn = [marker_of(names, name) for name in names.prototypes]
    near = [(one, other) for one, other in combinations(drawn, 2) if distance(one.colour, other.colour, seen) < NEAR]
    assert all(one.shape != other.shape for one, other in near)
    if seen == "grey print":
        assert len(near) > 20  # on paper the shape is needed
