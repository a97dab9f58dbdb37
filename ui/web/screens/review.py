"""Review: one station at a glance, decided with one key; the next follows at once."""

from __future__ import annotations

import html

import streamlit as st

from inspection.assessment import Assessment
from inspection.record.views import OpenInspection
from ui.presenters.review.queue import ReviewItem, distinct_labels
from ui.presenters.review.station import StationView, station_views
from ui.presenters.review.station_finding import (
    StationFinding,
    doubted,
    photographed_before,
    station_facts,
    station_finding,
    strip_entry,
)
from ui.text import CLEARS_NOTHING, as_minus, as_typed
from ui.web.page import pictures
from ui.web.page.address import address, show_place
from ui.web.page.layout import page_header, show_errors
from ui.web.page.session import cached_assessment, load_inspection, visible
from ui.web.panels.decision_bar import WHOLE, all_items, show_bar, show_steps
from ui.web.panels.inspection_decision import decide_inspection
from ui.web.panels.station import (
    photograph_of,
    show_before,
    show_entries,
    show_lone,
    show_places,
    show_side_by_side,
)
from ui.web.panels.station_charts import make_ready, show_budget, show_history
from vision.results import Estimate

STYLE = """<style>
.stMainBlockContainer{padding:2.2rem 1.5rem 0 1.5rem!important;max-width:1500px}
.stMainBlockContainer h1{padding:0!important;font-size:1.3rem!important}
.stMainBlockContainer .stVerticalBlock{gap:.45rem}
.stMainBlockContainer [data-testid=stHeading]{margin-bottom:.5rem}
.st-key-steps{gap:0 .9rem!important}
.st-key-steps .stButton button{padding:0 .15rem}
.st-key-steps .stButton p{font-size:.85rem}
[data-testid=stLayoutWrapper]:has(>.st-key-decisions){position:sticky;bottom:0;z-index:20}
.st-key-decisions{background:light-dark(#fff,#191918);
border-top:1px solid #8886;padding:.45rem 0 .3rem;max-height:33vh;overflow-y:auto}
.st-key-decisions .stHorizontalBlock{gap:.45rem}
.st-key-decisions [data-testid=stCaptionContainer],
.st-key-decisions [data-testid=stCaptionContainer] p{margin:0}
.st-key-decisions .stButton button{padding:.2rem .6rem}
.st-key-strip [role=radiogroup]{gap:.1rem}
.st-key-strip [role=radiogroup] label{min-height:40px;padding:.15rem .3rem;border-radius:4px}
.st-key-strip [role=radiogroup] label[data-selected=true]{background:#0B5FA52c}
.rope-found{border-left:4px solid light-dark(#4A4C57,#B9BAC4);background:#8881;
padding:.4rem .8rem;border-radius:4px}
.rope-found.odd{border-color:light-dark(#9A3B00,#F0A060);background:light-dark(#FFF3E0,#3A2A12)}
.rope-found.calm{border-color:light-dark(#0E5F29,#6CC78B)}
.rope-found b{font-size:1.12rem;display:block}
.rope-found span{display:block;font-size:.88rem;line-height:1.35}
.rope-found .look{font-weight:600}
.rope-facts{display:flex;flex-wrap:wrap;gap:.1rem 1.4rem;font-size:.88rem}
.rope-lines{font-size:.8rem;color:light-dark(#4A4C57,#B9BAC4)}
[data-testid=stAlert]:has([data-testid=stAlertContentSuccess]){position:fixed;top:.6rem;right:1.5rem;
z-index:50;width:auto;background:light-dark(#E4F6EA,#12351F);border-radius:4px}
@media (min-width:641px) and (max-width:1400px){.st-key-decisions .stHorizontalBlock{gap:.3rem}
.st-key-decisions .stButton button{padding:.2rem .35rem}
.st-key-decisions .stButton p{font-size:.85rem}}
@media (max-height:600px){[data-testid=stLayoutWrapper]:has(>.st-key-decisions){position:static}
.st-key-decisions{max-height:none}}
@media (max-width:768px){.stMainBlockContainer{padding:4rem .8rem 0 .8rem!important}}
@media (max-width:640px){
.st-key-strip [role=radiogroup]{flex-wrap:nowrap;overflow-x:auto;flex-direction:row;
position:relative}
.st-key-strip [role=radiogroup] label{min-height:44px;flex:none}
.st-key-strip [role=radiogroup] label p{white-space:nowrap}
.st-key-decisions .stHorizontalBlock{gap:.3rem}
.st-key-decisions .stButton button{padding:.1rem .4rem;font-size:.85rem}
[class*=st-key-edges-]{gap:.4rem!important}
.st-key-decisions kbd,.st-key-steps kbd,.st-key-keys{display:none!important}
}
</style>"""
LINES = (
    "Solid yellow: the photograph's edges. Dashed pink: the logged reading, centred on the same "
    "axis. Dots: the traced outline. Below: each edge magnified, rope at the bottom."
)


def _review(opened: OpenInspection) -> None:
    items = all_items(opened)
    known = {one.key: one for one in items}
    side, main = st.columns([1, 5.6], gap="small")
    with side:
        item = known.get(_strip(opened, items))
    if item is None:
        with main:
            decide_inspection(opened, [one for one in items if not one.settled])
            st.caption(f":material/warning: {CLEARS_NOTHING}")
    else:
        _show_item(opened, item, main)
    _warm_up(opened, [one for one in items if one.waits], item)


def _strip(opened: OpenInspection, items: list[ReviewItem]) -> str:
    """Show the stations with their states; return the selected one's key, as in the address."""
    identity = opened.inspection.identity
    keys = [*(one.key for one in items), WHOLE]
    compared = list(cached_assessment(opened).crosscheck.comparisons)
    entries = [strip_entry(one, compared, opened.rope.units) for one in items]
    # distinct, because Streamlit recognises an option by its text
    words = distinct_labels(
        {
            item.key: f"{entry.mark} {item.label} · {entry.words}"
            for item, entry in zip(items, entries, strict=True)
        }
    )
    key = f"look {identity}"
    following = st.session_state.pop(f"next {identity}", None)
    if following is None and st.session_state.get(key) not in keys:
        look = st.query_params.get("look", "")
        at = address().station
        by_name = {one.name: one.key for one in items}  # as in addresses of earlier versions
        following = f"Station {at}" if at is not None else by_name.get(look, look)
        if following not in keys:
            following = next((one.key for one in items if one.waits), keys[0])
    # set on every run: the browser drops the selection when an option's text changes
    st.session_state[key] = following if following in keys else st.session_state[key]
    waiting = sum(one.waits for one in items)
    item = next((one for one in items if one.key == st.session_state.get(key)), None)
    st.caption(f"{len(items) - waiting} of {len(items)} decided")
    with st.container(key="steps", horizontal=True):
        show_steps(opened, item)
    with st.container(key="strip"):
        chosen = st.radio(
            "Stations",
            keys,
            key=key,
            format_func=lambda one: words.get(one, one),
            label_visibility="collapsed",
            help="The most doubtful first. ≠ disagrees, ✕ thinner or outside a limit, ? and ! need "
            "a look, – incomplete, ○ agrees but is not decided yet, ✓ decided, ↩ with the "
            "inspector, ● changed since.",
        )
    station = next((one.station for one in items if one.key == chosen), None)
    if station != address().station:
        show_place(station)
    if station is None and chosen != WHOLE:
        st.query_params["look"] = str(chosen)
    return str(chosen)


def _show_item(
    opened: OpenInspection, item: ReviewItem, main: st.delta_generator.DeltaGenerator
) -> None:
    assessment = cached_assessment(opened)
    views = [] if item.station is None else station_views(opened, assessment, item.station)
    found = station_finding(item, views, opened.rope.units)
    view = _selected_view(item, views)
    with main:
        _show_finding(found)
        if item.station is None:
            show_lone(opened, item)
        elif views:
            key = f"{opened.inspection.identity} {item.station}"
            before = _last_time(assessment, item.station)
            if before is None:
                show_side_by_side(opened, views, key=key)
            else:
                here, then = st.columns([7, 2], gap="small")
                with here:
                    show_side_by_side(opened, views, key=key)
                with then, show_errors():
                    show_before(before, item.station, opened.rope.units, key=key)
            if any(isinstance(one.result, Estimate) for one in views):
                st.html(f"<div class='rope-lines'>{html.escape(LINES)}</div>")
        else:
            st.info(
                f"Station {item.station} has no photograph, so its readings can't be compared.",
                icon=":material/no_photography:",
            )
        if item.station is not None:
            facts = station_facts(opened, assessment, item.station, view)
            shown = "".join(
                f"<span><b>{html.escape(name)}</b> {html.escape(words)}</span>"
                for name, words in facts
            )
            st.html(f"<div class='rope-facts'>{shown}</div>")
        if item.station is not None:
            _more(opened, item.station, view)
    show_bar(opened, item, views, view)


def _last_time(assessment: Assessment, station: int) -> OpenInspection | None:
    """Return the latest earlier inspection with a photograph of the station."""
    name = photographed_before(assessment, station)
    return load_inspection(name) if name is not None and name in visible() else None


def _selected_view(item: ReviewItem, views: list[StationView]) -> StationView | None:
    """Return the direction that decisions apply to: the address's, else the doubtful one."""
    wanted = address().view_deg
    mine = [view for view in views if view.view_deg == wanted]
    return next(iter(mine), None) or doubted(item, views) or (views[0] if views else None)


def _show_finding(found: StationFinding) -> None:
    lines = [f"<b>{html.escape(as_minus(found.lead))}</b>"]
    lines += [f"<span>{html.escape(as_minus(words))}</span>" for words in found.more if words]
    if found.loss:
        remedies = " ".join(found.remedies)
        lines.append(f"<span class='look'>{html.escape(as_minus(remedies))}</span>")
    st.html(f"<div class='rope-found {found.tone}' role='status'>{''.join(lines)}</div>")
    if found.remedies and not found.loss:
        st.caption(as_typed(" ".join(found.remedies)))


def _more(opened: OpenInspection, station: int, view: StationView | None) -> None:
    """Show in an expander what the figures are based on."""
    with st.expander("Uncertainty, history, entries and neighbours", icon=":material/query_stats:"):
        assessment = cached_assessment(opened)
        left, right = st.columns(2, gap="large")
        with left, show_errors():
            if view is not None and isinstance(view.result, Estimate):
                show_budget(view.result)
            show_entries(opened, view, station)
        with right, show_errors():
            show_history(assessment, station)
        show_places(opened, assessment, station)


def _warm_up(opened: OpenInspection, still: list[ReviewItem], now: ReviewItem | None) -> None:
    """Make the next station's pictures and charts while this one is being reviewed."""
    following = next((one for one in still if now is None or one.key != now.key), None)
    if following is None or following.station is None:
        return
    mine = [result for result in opened.results if result.station == following.station]
    with show_errors():
        for result in mine:
            photograph = photograph_of(opened, result)
            if photograph is not None:
                pictures.make_ready(photograph, result)
        estimates = [one for one in mine if isinstance(one, Estimate)]
        make_ready(cached_assessment(opened), following.station, estimates)


st.html(STYLE)
inspection = page_header("Review")
if inspection is not None:
    with show_errors():
        _review(inspection)
