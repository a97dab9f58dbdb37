"""The pages' server, started by `ropephoto page`: Streamlit with `ui.answers` before it."""

from pathlib import Path

import streamlit as st
from starlette.middleware import Middleware

from ui.answers import guarded_answers

app = st.App(Path(__file__).with_name("app.py"), middleware=[Middleware(guarded_answers)])
