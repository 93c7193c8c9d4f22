"""What screens show, as data: the terminal and the browser only lay it out."""
