"""The command `ropephoto`: the options and help of each command, and the tables it prints.

May import `ui.report`, `ui.services` and below. Heavy imports are made inside the commands.
"""
