"""Zooming into the map on the screen without catching the wheel of somebody who only scrolls past."""

from __future__ import annotations

import altair as alt

ZOOM_WORDS = "Hold Shift to zoom with the wheel or to move the map by dragging; a double click goes back."
_ZOOM = "wheel![event.shiftKey]"
_MOVE = "[pointerdown[event.shiftKey], window:pointerup] > window:pointermove!"


def zoomable(chart: alt.HConcatChart) -> alt.HConcatChart:
    """Return the chart with its first picture made to zoom and move while Shift is held; both axes keep one scale."""
    view = alt.selection_interval(name="view", bind="scales", zoom=_ZOOM, translate=_MOVE)
    copy = chart.copy(deep=True)
    places = copy.hconcat[0]
    # Altair gives a parameter to every layer that has a name; a second layer with it would clash.
    named = next((n for n, layer in enumerate(places.layer) if layer.name is not alt.Undefined), 0)
    places.layer[named] = places.layer[named].add_params(view)
    return copy
