"""Who may come in and do what: logins, the team's roles, and the phones at the rope."""
