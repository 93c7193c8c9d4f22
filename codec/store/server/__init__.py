"""Journals on a PostgreSQL server: their tables, a connection, what sets a server up."""
