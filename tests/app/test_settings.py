"""The settings for a checkout and for an installed package are the same, are safe, and can be read by everybody."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from streamlit import config

from panel.app.launch import _SETTINGS

ROOT = Path(__file__).resolve().parents[2]


def flattened(table: dict[str, Any], before: str = "") -> Iterator[tuple[str, Any]]:
    for name, value in table.items():
        if isinstance(value, dict):
            yield from flattened(value, f"{before}{name}.")
        else:
            yield f"{before}{name}", value


def test_both_ways_of_starting_have_the_same_settings():
    written = tomllib.loads((ROOT / ".streamlit" / "config.toml").read_text(encoding="utf-8"))
    assert dict(flattened(written)) == dict(_SETTINGS)


@pytest.mark.parametrize("name", _SETTINGS)
def test_streamlit_knows_every_setting(name: str):
    config.get_option(name)  # raises for a name it does not know


def test_only_this_computer_is_served_and_nobody_is_told():
    assert _SETTINGS["server.address"] == "127.0.0.1"
    assert _SETTINGS["server.enableXsrfProtection"] is True
    assert _SETTINGS["browser.gatherUsageStats"] is False
    assert _SETTINGS["server.maxUploadSize"] <= 20


def mixed(colour: str, ground: str, share: float) -> tuple[float, ...]:
    """Return `share` of a colour over a ground, three parts from 0 to 1."""
    parts = [[int(text[place : place + 2], 16) / 255 for place in (1, 3, 5)] for text in (colour, ground)]
    return tuple(share * over + (1 - share) * under for over, under in zip(*parts, strict=True))


def contrast(colour: str, ground: str, share: float = 1.0) -> float:
    """Contrast ratio after WCAG 2.2, definitions of relative luminance and contrast ratio."""

    def luminance(parts: tuple[float, ...]) -> float:
        linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    light, dark = sorted((luminance(mixed(colour, ground, share)), luminance(mixed(ground, ground, 1))), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_contrast_ratio_is_that_of_the_standard():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)  # WCAG 2.2: black on white
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)  # the usual example of just enough


@pytest.mark.parametrize("theme", ["theme.light", "theme.dark"])
@pytest.mark.parametrize("ground", ["backgroundColor", "secondaryBackgroundColor"])
def test_text_stands_out(theme: str, ground: str):
    # WCAG 2.2, 1.4.3: 4.5 to 1. Streamlit writes captions in the text colour at 60 %.
    assert contrast(_SETTINGS[f"{theme}.textColor"], _SETTINGS[f"{theme}.{ground}"], 0.6) >= 4.5
    assert contrast(_SETTINGS[f"{theme}.primaryColor"], _SETTINGS[f"{theme}.{ground}"]) >= 4.5
