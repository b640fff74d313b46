"""The script that Streamlit runs for each look at a page."""

from curejournal.ui.frame import run

run()
