"""Append-only journals, in a file or on a server: what a journal is, opened, written, migrated and
rescued; nothing here knows what the rows of a journal mean.
"""
