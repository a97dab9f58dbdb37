"""Whether a record is what was saved: verified, made anew from its events, taken in from outside.

May import the record's tables, events, projection and commands; only the record itself and the
exchange of files ask it.
"""
