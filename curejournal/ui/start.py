"""What `curejournal serve` lets Streamlit run."""

from curejournal.ui.frame import run

run()
