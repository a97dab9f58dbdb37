"""Presenters: turn domain values into rows, sentences, queues and shapes. Nothing is drawn here.

May import `ui.charts` and `ui.text`; no streamlit, no click, no reportlab.
"""
