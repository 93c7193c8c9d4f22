"""The sheet in a browser: pages for the wall, for those who watch, and for what is brought."""
