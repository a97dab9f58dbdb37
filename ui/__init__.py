"""What people touch: the command line, the pages and the report."""
