"""The report to sign: its content as blocks, and the writers of PDF and HTML.

May import `ui.presenters` and `ui.charts`.
"""
