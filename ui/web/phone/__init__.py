"""The phone at the rope: a light page of its own for one inspection, and the routes behind it.

Plain HTML and script from the same server, no framework: it must open in a dead spot's one bar of
signal and go on without any. May import the pages' door and session, and nothing of Streamlit's.
"""
