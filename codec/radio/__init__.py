"""The radio into the sheet: transcripts read, reports found in talk, each on its lap."""
