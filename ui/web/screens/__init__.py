"""One module a screen, drawn from top to bottom.

May import `ui.web.panels` and below.
"""
