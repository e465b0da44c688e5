"""The right side of the window: what speaks about the depths, and what is adopted."""
