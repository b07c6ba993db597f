"""A figure as SVG text: the same figure always gives the same text."""

from __future__ import annotations

import io
import threading
from xml.sax.saxutils import escape, quoteattr

import matplotlib as mpl
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

# matplotlib's settings belong to the whole process: two threads must not set them at the same time.
_SETTINGS = threading.Lock()


def svg_text(figure: Figure, *, title: str, description: str, text_as_paths: bool = True) -> str:
    """Return the figure as SVG with a title and a description for screen readers.

    `text_as_paths=False` keeps the words as text (smaller, searchable, needs the font on the reader's side).
    """
    buffer = io.StringIO()
    fonts = "path" if text_as_paths else "none"
    with _SETTINGS, mpl.rc_context({"svg.hashsalt": "afterfeel", "svg.fonttype": fonts}):
        FigureCanvasSVG(figure).print_svg(buffer, metadata={"Date": None, "Creator": None})
    svg = buffer.getvalue()
    start = svg.index("<svg ")
    inside = svg.index(">", start) + 1
    opening = svg[start : inside - 1] + f' role="img" aria-label={quoteattr(title)}>'
    return f"{opening}\n <title>{escape(title)}</title>\n <desc>{escape(description)}</desc>{svg[inside:]}"
