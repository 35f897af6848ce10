"""Photographs of a plate beside a 24-patch chart: found, corrected, judged patch by patch."""
