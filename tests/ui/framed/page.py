"""What Streamlit runs: a component that it shows in a frame, and what that one said."""

from pathlib import Path

import streamlit as st
from streamlit.components.v1 import declare_component

said = declare_component("framed", path=str(Path(__file__).parent))(default="nothing yet", key="framed")
st.write(f"said: {said}")
