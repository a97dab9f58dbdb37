"""Jobs that commands and pages share: measure, add to the record, assess, who may do what.

May import `inspection` and `vision`; no streamlit, no click, no reportlab.
"""
