"""Where the rope ends before the striped band: its outline, and what moves it.

Knows nothing of jaws, diameters and their budget: import-linter's contract holds that.
"""
