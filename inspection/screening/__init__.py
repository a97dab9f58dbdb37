"""Which entries of a log deserve a second look; `screen` runs all tests at one shared level.

May import `inspection.comparison` and below; judges entries, never people.
"""
