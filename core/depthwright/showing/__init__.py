"""A line as it is shown: its recipe made ready for its scan, and pictures of it at any zoom."""
