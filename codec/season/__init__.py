"""All events of a season as one: words heard for others, calibration, seconds and questions.

The same queries are asked of a server, which adds up there, and of a folder, whose sheets DuckDB
reads as Parquet; they tell the same numbers.
"""
