"""The app from a checkout: `streamlit run app.py`. Installed, `afterfeel app` starts the same."""

from panel.app.navigation import show

show()
