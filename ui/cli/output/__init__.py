"""Output of the commands: figures and findings as tables and lines for a terminal, and as files.

May import everything in `ui` except the commands themselves.
"""
