"""Figures as PNG: readable by another program, of the size asked for, the same every time."""

import io

from matplotlib.figure import Figure
from PIL import Image

from panel.views.pictures import png_bytes


def figure() -> Figure:
    drawn = Figure(figsize=(3, 2))
    drawn.add_subplot().plot([0, 1], [0, 1])
    return drawn


def test_another_program_reads_it_at_its_size():
    picture = Image.open(io.BytesIO(png_bytes(figure(), dots_per_inch=100)))
    assert picture.format == "PNG"
    assert picture.size == (300, 200)


def test_the_same_figure_gives_the_same_bytes():
    assert png_bytes(figure()) == png_bytes(figure())
