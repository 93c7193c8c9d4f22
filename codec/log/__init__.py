"""The live log: lines typed while the race is on, and what is to be told at once."""
