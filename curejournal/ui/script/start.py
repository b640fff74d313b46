"""The script that Streamlit runs for each look at a page.

It has a folder to itself: in a folder `pages` beside it, Streamlit would see a kind of app of its own, and show its
modules as pages without our frame.
"""

from curejournal.ui.frame import run

run()
