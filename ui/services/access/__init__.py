"""Access control: logins, the team's roles, and the phones at the rope."""
