"""Depthwright's library: travel time to cover, spacing and thickness, with intervals.

Pure numpy/scipy in, plain values out. Knows no Qt, no globals, and touches the disk only in
:mod:`depthwright.files` and :mod:`depthwright.exports`.
"""

__version__ = "0.1.0"
