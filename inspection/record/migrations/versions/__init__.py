"""One file for each version of the tables; a file that was published is never edited."""
