"""An app of one framed component, behind what stands before ours: run with a port."""

from __future__ import annotations

import sys
from pathlib import Path

import streamlit as st

if __name__ == "__main__":
    from curejournal.ui.frame import ROUTES
    from curejournal.ui.server import SETTINGS, before_the_app

    st.App(Path(__file__).with_name("page.py"), routes=ROUTES, middleware=[before_the_app(["127.0.0.1"])]).run(
        config={**SETTINGS, "server.port": int(sys.argv[1])}
    )
