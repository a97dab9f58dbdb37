"""How blocks become a file: PDF by typst, HTML, and the charts and typefaces of both.

May import `ui.report.blocks`, but no page and no case.
"""
