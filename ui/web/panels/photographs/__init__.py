"""Photographs on the page: how they come in, are filed, looked at closely and measured again.

May import the panels beside it, components, page, presenters and services.
"""
