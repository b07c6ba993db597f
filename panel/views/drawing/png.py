"""A figure as PNG, for programs that take no SVG."""

from __future__ import annotations

import io

from matplotlib.figure import Figure

DOTS_PER_INCH = 200


def png_bytes(figure: Figure, *, dots_per_inch: int = DOTS_PER_INCH) -> bytes:
    """Return the figure as PNG; the same figure gives the same bytes."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # slow to load, and most pictures are SVG

    figure.set_dpi(dots_per_inch)
    buffer = io.BytesIO()
    FigureCanvasAgg(figure).print_png(buffer, metadata={"Software": None})
    return buffer.getvalue()
