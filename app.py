"""The app from a checkout: `streamlit run app.py`. Installed, `afterfeel app` starts the same, for you alone."""

import streamlit as st

from panel.app.front_door import FrontDoor
from panel.app.launch import SCRIPT

app = st.App(SCRIPT, middleware=[(FrontDoor, (), {})])
