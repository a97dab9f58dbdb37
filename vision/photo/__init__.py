"""From a file to upright pixels, and what the camera wrote beside them.

Knows file formats, nothing of cards or ropes. May import no other room.
"""
