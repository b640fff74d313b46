"""The app, for `streamlit run app.py` in a clone; `curejournal serve` does the same from anywhere."""

import streamlit as st

from curejournal.ui.frame import ROUTES, told
from curejournal.ui.server import SETTINGS, before_the_app, checked

app = st.App(
    "curejournal/ui/script/start.py",
    lifespan=checked(),
    on_script_error=told,
    routes=ROUTES,
    middleware=[before_the_app(SETTINGS["server.allowedHosts"])],
)
