"""The live log: lines typed while the race is on, commands, talk, and what is to be told at once."""
