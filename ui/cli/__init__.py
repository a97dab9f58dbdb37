"""The command `ropephoto`: options and sentences of each command, and the tables it prints.

May import `ui.report`, `ui.services` and below. Heavy imports stand inside the commands.
"""
