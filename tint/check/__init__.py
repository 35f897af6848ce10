"""Keeping the promise of a palette: check strips, drift, correction, history, another batch."""
