"""The phone at the rope: a light page for one inspection, and the routes behind it.

Plain HTML and script from the same server, without a framework: it must load on a very weak
signal and keep working without one. May import the pages' door and session, nothing from Streamlit.
"""
