"""The rope on the card: its axis, outline, crowns, jaws, diameter, lay and budget.

May import `vision.photo`, `vision.target` and what those may; knows nothing of scale rules.
"""
