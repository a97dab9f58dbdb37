"""Changing a record: the conditions for each change, its event, and the state after it.

`commands`, `reviews` and `measurements` save; `projection` alone writes the tables of state.
"""
