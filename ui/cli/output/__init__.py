"""What commands print: figures and findings as tables and lines for a terminal, and as files.

May import all of `ui` but the commands themselves.
"""
