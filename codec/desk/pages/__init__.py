"""The pages of the desk, one module each: its addresses and what they answer."""
