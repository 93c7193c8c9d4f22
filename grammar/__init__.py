"""The code itself: alphabet, fields, tables, layouts, books, and the proof that a book is
unambiguous. No clock, screen or network.
"""

__version__ = "0.1.0"
