"""Parts of a page with their own browser code: photographs with lines and handles, charts.

May import `ui.presenters`.
"""
