"""The section: the line's picture with its marks and the mouse."""
