"""Artwork reduced to layers, one per palette colour, never overlapping."""
