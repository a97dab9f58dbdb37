"""The rope on the card: its axis, crowns, jaws, diameter, lay and budget; `edge`: its outline.

May import `vision.photo`, `vision.target` and what those may, but not `vision.scale_rule`.
"""
