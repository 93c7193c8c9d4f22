"""The code itself: alphabet, fields, code tables, layouts, books, and the proof that a book is unambiguous. Pure: no clock, screen or network."""
