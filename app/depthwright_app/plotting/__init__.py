"""Pieces every plot is made of: overlays painted in pixels, axes labelled in the job's unit."""
