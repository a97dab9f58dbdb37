"""Parts of screens that more than one screen shows.

May import `ui.web.page`, `ui.web.components` and below.
"""
