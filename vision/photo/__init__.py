"""From a file to upright pixels and the camera's metadata.

Handles file formats only, not cards or ropes. Must not import any other subpackage.
"""
