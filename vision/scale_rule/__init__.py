"""Photographs without the card: a rule, a tape or a known length in the picture gives the scale.

May import `vision.photo`, `vision.rope` and what those may.
"""
