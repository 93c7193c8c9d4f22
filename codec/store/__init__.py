"""Append-only files: entries written once, each checked by its digest."""
