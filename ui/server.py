"""The pages' server, started by `ropephoto page`: Streamlit with `ui.answers` before it.

What every screen needs is loaded before the server answers, or the first person would wait for it.
"""

from pathlib import Path

import streamlit as st
from starlette.middleware import Middleware

import ui.page_parts
import ui.pictures
import ui.station_charts
import ui.station_screen
import ui.whole_inspection  # noqa: F401  (loaded for the screens)
from ui.answers import guarded_answers
from ui.refused_files import say_reasons

say_reasons()
app = st.App(Path(__file__).with_name("app.py"), middleware=[Middleware(guarded_answers)])
