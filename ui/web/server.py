"""The pages' server, started by `ropephoto page`: Streamlit with `ui.web.page.security` before it.

What every screen needs is loaded before the server answers, or the first person would wait for it.
"""
# ruff: noqa: E402  (another release of Streamlit may lack what the rest would import)

import gc
from pathlib import Path

from ui.web.page.streamlit_internals import require_tested_version

require_tested_version()

import altair  # noqa: F401  (two people's first pages at once would each find the other's half of it)
import pandas  # noqa: F401  (likewise; Streamlit and Altair load it on their own first use)
import streamlit as st
from starlette.middleware import Middleware

from ui.services.measuring_queue import start_worker
from ui.web.page.downloads import patch_download_handler
from ui.web.page.security import security_middleware
from ui.web.page.session import open_for_queue
from ui.web.page.upload_routes import ROUTES as UPLOADS
from ui.web.phone.routes import ROUTES as PHONES
from vision.apart import start_child

patch_download_handler()
start_child()  # it loads what measuring needs beside us
gc.collect()
gc.freeze()  # what is loaded now stays: no search for garbage need look at it again
start_worker(open_for_queue)
app = st.App(
    Path(__file__).with_name("app.py"),
    routes=[*PHONES, *UPLOADS],
    middleware=[Middleware(security_middleware)],
)
