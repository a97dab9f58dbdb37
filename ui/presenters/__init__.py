"""From the trade's values to what is shown: rows, sentences, queues, shapes. Nothing is drawn here.

May import `ui.charts` and `ui.text`; no streamlit, no click, no reportlab.
"""
