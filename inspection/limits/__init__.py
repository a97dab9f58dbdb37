"""Published limits, the user's own, and whether a figure conforms to them.

May import `inspection.measurement` and below.
"""
