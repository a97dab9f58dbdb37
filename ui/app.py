"""The pages and their order; each lies in a file of its own under screens/."""

import streamlit as st

st.set_page_config(page_title="Rope Photo Check", page_icon=":material/straighten:", layout="wide")
st.navigation(
    {
        "": [st.Page("screens/start.py", title="Start", icon=":material/home:", default=True)],
        "Inspect": [
            st.Page("screens/rope.py", title="1 Rope", icon=":material/cable:"),
            st.Page("screens/cards.py", title="2 Cards", icon=":material/print:"),
            st.Page("screens/photographs.py", title="3 Photographs", icon=":material/photo:"),
            st.Page("screens/stations.py", title="4 Stations", icon=":material/pin_drop:"),
            st.Page("screens/readings.py", title="5 Readings", icon=":material/edit_note:"),
            st.Page("screens/result.py", title="6 Result", icon=":material/fact_check:"),
        ],
        "Review": [st.Page("screens/review.py", title="Review", icon=":material/rate_review:")],
        "Supervise": [
            st.Page("screens/supervise.py", title="Supervise", icon=":material/troubleshoot:")
        ],
    }
).run()
