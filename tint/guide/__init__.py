"""The guide: pages for somebody at a bench, read in a terminal or written as a small site of HTML."""
