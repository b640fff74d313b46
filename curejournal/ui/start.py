"""What `curejournal serve` lets Streamlit run: imported once for the app, then run for each look at a page."""

import streamlit as st

from curejournal.ui.frame import run, told

if __name__ == "__main__":
    run()
else:
    app = st.App(__file__, on_script_error=told)
