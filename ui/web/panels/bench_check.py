"""A check on one's own bench: photographs of a bar of known diameter, and what they say of U."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import streamlit as st

from inspection.measurement.bench_check import LEAST_PHOTOGRAPHS, bench_check
from inspection.model.length_text import parse_length
from ui.services.bench_checks import keep_bench_check, known_bench_checks
from ui.services.cameras import known_cameras
from ui.services.measuring_queue import measured
from ui.text import as_typed
from ui.web.page.layout import flash_success, show_errors
from ui.web.page.session import get_record
from vision.apart import apart
from vision.photo.containers import PhotoError
from vision.pipeline import Settings
from vision.results import Estimate
from vision.target.print_scale import check_from_dict

if TYPE_CHECKING:
    from streamlit.runtime.uploaded_file_manager import UploadedFile

MOST_PHOTOGRAPHS = 30
UNCHECKED = "not checked"


def check_on_the_bench() -> None:
    """Take photographs of a bar and its diameter, say what they show, and list earlier checks."""
    st.subheader("Check on your own bench")
    st.markdown(
        f"Photograph one smooth, straight bar or pin of known diameter on the card, "
        f"{LEAST_PHOTOGRAPHS} times or more: nearer and farther, tilted a little, the card taken "
        "off and fixed again. It shows whether the uncertainties hold with your printer, card and "
        "phone."
    )
    with st.form("bench check"):
        sets = [UNCHECKED, *get_record().print_checks()]
        card_set = st.selectbox(
            "Card set",
            sets,
            index=len(sets) - 1,
            key="bench check cards",
            help="Whose print check the photographs are measured with.",
        )
        left, right = st.columns(2)
        true = left.text_input(
            "Diameter of the bar",
            placeholder="16,002 mm",
            key="bench check true",
            help="As a micrometer or its certificate says.",
        )
        u = right.text_input(
            "Standard uncertainty of it",
            placeholder="0,002 mm",
            key="bench check u",
            help="Half of the expanded uncertainty on the certificate.",
        )
        files = st.file_uploader(
            "Photographs of the bar",
            accept_multiple_files=True,
            key="bench check photographs",
            help="The camera's own files, all by one phone.",
        )
        if st.form_submit_button("Check"):
            with show_errors():
                _check(str(card_set), parse_length(true), parse_length(u), list(files or []))
    with show_errors():
        for check in known_bench_checks():
            mark = ":material/check:" if check.holds else ":material/warning:"
            st.markdown(f"{mark} {as_typed(check.reminder(date.today()))}")


def _check(card_set: str, true_mm: float, u_mm: float, files: list[UploadedFile]) -> None:
    if len(files) > MOST_PHOTOGRAPHS:
        raise ValueError(f"{len(files)} photographs are too many; {MOST_PHOTOGRAPHS} are the most.")
    values = None if card_set == UNCHECKED else get_record().print_checks()[card_set]
    check = check_from_dict(card_set, values) if values else None
    settings = Settings(print_check=check, cameras=known_cameras())
    estimates, refused = [], 0
    bar = st.progress(0.0, "Measuring ...")
    for number, file in enumerate(files, start=1):
        try:
            results, *_ = apart(file.name, measured, file.getvalue(), file.name, settings)
        except PhotoError:
            results = ()
        estimates += [one for one in results if isinstance(one, Estimate)]
        refused += not any(isinstance(one, Estimate) for one in results)
        bar.progress(number / len(files), f"{number} of {len(files)} measured")
    bar.empty()
    done = bench_check(estimates, true_mm=true_mm, u_true_mm=u_mm, refused=refused, on=date.today())
    keep_bench_check(done)
    flash_success(done.verdict)
    st.rerun()
