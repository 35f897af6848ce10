"""The chosen few colours of a stock, and how they are chosen."""
