"""Parts of a page with a browser side of their own: photographs with lines and handles, charts.

May import `ui.presenters`.
"""
