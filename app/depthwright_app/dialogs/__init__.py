"""Sheets that ask for what belongs to a line as a whole."""
