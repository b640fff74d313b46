"""The app, for `streamlit run app.py`; `curejournal serve` does the same from anywhere."""

from curejournal.ui.frame import run

run()
