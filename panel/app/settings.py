"""How Streamlit is set up: the same for `streamlit run app.py` (.streamlit/config.toml) and for `afterfeel app`."""

from __future__ import annotations

from types import MappingProxyType
from typing import Any

ADDRESS = "127.0.0.1"
STUDY_VARIABLE = "AFTERFEEL_STUDY"
"""Environment variable with the full path of the study given on the command line; set by `panel.app.launch`."""

# Watching files costs time after every click; statistics about use are nobody's business; only this computer may
# open the app. Uploads are held in memory, so their size is bounded.
_BEHAVIOUR: dict[str, Any] = {
    "server.address": ADDRESS,
    "server.fileWatcherType": "none",
    "server.enableXsrfProtection": True,
    "server.enableStaticServing": False,
    "server.maxUploadSize": 20,
    "server.showEmailPrompt": False,
    "browser.gatherUsageStats": False,
    "client.toolbarMode": "minimal",
    "client.showErrorDetails": "type",
}

# Dark ink on white and on a pale sage; one deep teal to act on. Contrasts are measured in tests/app/test_settings.py.
_THEME: dict[str, Any] = {
    "theme.base": "light",
    "theme.primaryColor": "#0b5a63",
    "theme.backgroundColor": "#ffffff",
    "theme.secondaryBackgroundColor": "#f1f5f3",
    "theme.textColor": "#0d1614",
    "theme.linkColor": "#0b5a63",
    "theme.borderColor": "#c9d3cf",
    "theme.dataframeHeaderBackgroundColor": "#f1f5f3",
    "theme.baseRadius": "small",
    "theme.paddingTop": "1.5rem",
    "theme.paddingBottom": "3rem",
    "theme.baseFontSize": 16,
    "theme.headingFontSizes": ["2rem", "1.4rem", "1.15rem", "1rem", "1rem", "1rem"],
    "theme.headingFontWeights": [600, 600, 600, 600, 600, 600],
}

SETTINGS = MappingProxyType({**_BEHAVIOUR, **_THEME})
