"""What the figures show, as plain values, and as charts for the pages.

May import `inspection` and `vision`.
"""
