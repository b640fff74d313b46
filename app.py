"""The app, for `streamlit run app.py`; `curejournal serve` does the same from anywhere."""

import streamlit as st

from curejournal.ui.frame import told

app = st.App("curejournal/ui/start.py", on_script_error=told)
