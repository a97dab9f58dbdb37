"""Navigation between the steps, and the style of all screens, with targets for gloved fingers."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Literal

import streamlit as st

from ui.web.page.address import address, link_query

Step = Literal["rope", "cards", "sheet", "result", "review"]
# Small text has a contrast of 4.5 to 1 on light and dark backgrounds (WCAG 2, 1.4.3); buttons and
# links are 44 px high (WCAG 2.1, 2.5.5).
THEME_CSS = """<style>
.stMainBlockContainer h1{font-size:clamp(1.5rem,1.1rem + 1.6vw,2rem);padding:0}
.stMainBlockContainer [data-testid=stHeading]:has(h1){margin-bottom:.6rem}
.stMainBlockContainer{padding-top:2.4rem;padding-bottom:3rem}
@media (max-width:768px){.stMainBlockContainer{padding-top:4.2rem}}
@media (min-width:769px){[data-testid=stHeader]{height:2.4rem;min-height:0}}
:has(>.stVerticalBlock>:only-child>.st-key-waiting){position:fixed;top:1rem;margin-left:3rem;
width:auto;z-index:999990}
@media (min-width:769px){:has(>.stVerticalBlock>:only-child>.st-key-waiting){top:.5rem}}
@media (min-width:769px) and (max-width:1400px){
.stMainBlockContainer{padding-left:2rem;padding-right:2rem}}
[data-testid=stSidebarUserContent] .stVerticalBlock{gap:.1rem}
[data-testid=stSidebarUserContent] [data-testid=stCaptionContainer]{margin:.35rem 0 -.1rem}
[data-testid=stSidebarUserContent] [data-testid=stCaptionContainer] p{font-size:.8rem}
[data-testid=stSidebarUserContent] :is(.stTextInput,.stSelectbox){margin-top:.7rem}
[data-testid=stSidebarHeader]{height:2.6rem;margin-bottom:0;padding-bottom:0}
.st-key-onward a{border:1px solid light-dark(#0B5FA5,#7FB8E8);border-radius:6px;padding:0 .9rem}
[data-testid=stCaptionContainer]{opacity:.85!important}
[data-testid=stCaptionContainer] *{color:inherit!important}
.stButton button,.stDownloadButton button,.stFormSubmitButton button,
[data-testid=stPageLink-NavLink],[data-testid=stFileUploaderDropzone] button{min-height:44px}
.stButton button p{white-space:normal!important;text-overflow:clip}
.stFormSubmitButton kbd{color:inherit!important;opacity:1!important}
@media (hover:none){.stFormSubmitButton kbd,.st-key-keys{display:none!important}}
input::placeholder,textarea::placeholder{color:inherit!important;opacity:.72!important}
[data-testid=stAlertContentSuccess] *{color:light-dark(#0E5F29,#A6E3B8)!important}
[data-testid=stPageLink] a{min-height:44px}
[data-testid=stPageLink] a:focus-visible{outline:3px solid light-dark(#0B5FA5,#7FB8E8);
outline-offset:-3px}
[role=tab][aria-selected=true] *,button[data-selected=true] *{
color:light-dark(#0B5FA5,#7CC0F5)!important}
.stMainBlockContainer h2{font-size:1.45rem}
@media (min-width:1100px){.st-key-on-a-phone{align-self:flex-end;margin:-5.6rem 0 1.9rem;
width:auto}
.stMainBlockContainer:has(.st-key-on-a-phone) .st-key-shown-inspection{padding-right:9rem}}
@media (max-width:768px){.st-key-on-a-phone{order:1}}
</style>"""


def apply_theme() -> None:
    """Apply the style that all screens share."""
    st.html(THEME_CSS)


def next_step_link(step: Step, words: str) -> None:
    """Draw the link to the next step."""
    with st.container(key="onward"):
        st.page_link(
            f"screens/{step}.py",
            label=f"Next: {words}",
            icon=":material/arrow_forward:",
            width="content",
            query_params=here(),
        )


def here() -> dict[str, str]:
    """Return the query of a link within the same inspection."""
    return link_query(address().inspection)


def draw_menu(sections: Mapping[str, Sequence[tuple[str, str, str]]], may: Collection[str]) -> None:
    """Draw the list of screens in the sidebar; every link keeps the current inspection.

    Streamlit's own list would drop the inspection from the address.
    """
    with st.sidebar:
        for section, screens in sections.items():
            known = [one for one in screens if one[0] in may]
            if section and known:
                st.caption(section)
            for screen, title, icon in known:
                st.page_link(
                    f"screens/{screen}.py",
                    label=title,
                    icon=f":material/{icon}:",
                    query_params=here(),
                )
