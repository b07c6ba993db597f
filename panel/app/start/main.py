"""The script Streamlit runs when the app is started by `afterfeel app`; it stands apart from the folder `pages`."""

from panel.app.navigation import show

show()
