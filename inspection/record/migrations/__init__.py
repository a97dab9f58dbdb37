"""How the tables of a record came to be, version by version; run when a record is opened."""
