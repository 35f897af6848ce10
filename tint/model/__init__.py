"""Colour from settings: fit, predict, find the setting of a colour."""
