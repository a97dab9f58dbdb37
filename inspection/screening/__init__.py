"""Which entries of a log deserve a second look: one module per test, and the shared level.

May import `inspection.comparison` and below; judges entries, never people.
"""
