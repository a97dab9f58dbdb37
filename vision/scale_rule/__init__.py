"""Photographs without the card: the scale comes from a rule, a tape or a known length in them.

May import `vision.photo`, `vision.rope` and what those may.
"""
