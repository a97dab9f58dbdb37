"""Presenters: turn domain values into rows, sentences, queues and shapes. Nothing is drawn here.

Those of one table or form are modules here. May import `ui.charts` and `ui.text`; no streamlit,
no click, no reportlab.
"""
