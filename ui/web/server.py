"""The pages' server, started by `ropephoto page`: Streamlit behind `ui.web.page.security`.

Everything the screens need is loaded before the server answers, so that the first user does not
wait for it.
"""
# ruff: noqa: E402  (another Streamlit release may lack names that the later imports need)

import asyncio
import gc
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

from ui.web.page.streamlit_internals import require_tested_version

require_tested_version()

import altair  # noqa: F401  (two first pages at once would each see it half imported)
import pandas  # noqa: F401  (likewise; Streamlit and Altair import it on first use)
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
start_child()  # loads the measuring code in a process of its own
gc.collect()
gc.freeze()  # everything loaded so far stays: later collections can skip it
stop_worker = start_worker(open_for_queue)


@asynccontextmanager
async def lifespan(_: st.App) -> AsyncIterator[None]:
    """Stop the worker with the server: the signal that ends the process skips `atexit`."""
    yield
    await asyncio.to_thread(stop_worker)


app = st.App(
    Path(__file__).with_name("app.py"),
    lifespan=lifespan,
    routes=[*PHONES, *UPLOADS],
    middleware=[Middleware(security_middleware)],
)
