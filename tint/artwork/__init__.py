"""Artwork read at a physical size: pictures and drawings."""
