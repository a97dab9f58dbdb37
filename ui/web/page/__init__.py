"""What every screen needs: login, session, layout, navigation, downloads, security.

May import `ui.presenters` and `ui.services`.
"""
