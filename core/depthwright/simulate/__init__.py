"""Full-wave scenes in two dimensions: where the sample data comes from.

Independent of the ray formula that depths are read with: Maxwell's equations on a grid.
"""
