"""Whether a record is what was saved: verified, rebuilt from its events, restored from a file.

May import the record's tables, events, projection and commands; only the record itself and
`inspection.exchange` use it.
"""
