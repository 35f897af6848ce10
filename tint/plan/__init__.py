"""Grids: which settings to mark, where on the plate, in which order."""
