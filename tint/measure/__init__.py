"""Measured patches: their table, and the routes that make one."""
