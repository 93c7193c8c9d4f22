"""Where a report begins and ends in what was written down of the radio, and what is only talk."""
