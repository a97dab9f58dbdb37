"""Photographs on the page: adding, filing, examining and remeasuring them.

May import the panels beside it, components, page, presenters and services.
"""
