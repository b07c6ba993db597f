"""SVG text: the same every time, named for screen readers, safe for any words."""

import subprocess
import sys

from matplotlib.figure import Figure

from panel.views.pictures import svg_text
from tests.views.examples import svg_root, svg_words

_CODE = """
from matplotlib.figure import Figure
from panel.views.pictures import svg_text
figure = Figure(figsize=(2, 1)); axes = figure.add_subplot(); axes.plot([1, 2], [3, 4], 'o-'); axes.set_title('A & B')
import sys; sys.stdout.write(svg_text(figure, title='one', description='two'))
"""


def drawn() -> Figure:
    figure = Figure(figsize=(2, 1))
    axes = figure.add_subplot()
    axes.plot([1, 2], [3, 4], "o-")
    axes.set_title("A & B")
    return figure


def test_the_same_text_in_another_process():
    here = svg_text(drawn(), title="one", description="two")
    assert here == svg_text(drawn(), title="one", description="two")
    there = subprocess.run([sys.executable, "-c", _CODE], capture_output=True, text=True, check=True).stdout
    assert here == there
    assert "dc:date" not in here


def test_title_and_description_are_first_and_escaped():
    root = svg_root(svg_text(drawn(), title='P4 < "P1" & co', description="a < b"))
    assert root.attrib["role"] == "img"
    assert root.attrib["aria-label"] == 'P4 < "P1" & co'
    assert [child.text for child in root][:2] == ['P4 < "P1" & co', "a < b"]


def test_words_can_stay_words():
    assert "A & B" in svg_words(svg_text(drawn(), title="", description="", text_as_paths=False))
    assert svg_words(svg_text(drawn(), title="", description="")) == []


def test_matplotlib_settings_are_left_alone():
    import matplotlib as mpl

    before = mpl.rcParams["svg.fonttype"], mpl.rcParams["svg.hashsalt"]
    svg_text(drawn(), title="", description="", text_as_paths=False)
    assert (mpl.rcParams["svg.fonttype"], mpl.rcParams["svg.hashsalt"]) == before
