"""Colours and shapes: the published palette, contrast by the web standard, one look per prototype."""

import matplotlib as mpl
from matplotlib.colors import to_hex, to_rgb

from panel.study.naming import Naming
from panel.views.pictures import COLOURS, GREY, INK, MOST_COLOURED, OTHERS, marker_of, markers


def contrast_on_white(colour: str) -> float:
    """Contrast ratio by WCAG 2.2 (W3C), 'relative luminance' and 'contrast ratio'."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
    return 1.05 / (0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2] + 0.05)


def test_colours_are_okabe_and_ito_without_yellow():
    # Okabe and Ito (2008) as kept by matplotlib (color_sequences["okabe_ito"]).
    published = {to_hex(colour) for colour in mpl.color_sequences["okabe_ito"]}
    assert set(COLOURS) == published - {"#f0e442"}


def test_lines_and_words_can_be_seen_on_white():
    # WCAG 2.2, 1.4.11 (3 to 1 for graphics) and 1.4.6 (7 to 1 for words). Sky blue and orange stay below 3 to 1, so
    # every marker has an outline in ink.
    assert sum(contrast_on_white(colour) < 3 for colour in COLOURS) <= 3
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
