"""Trail markers of the invented reserve: small drawings of 35 × 35 mm, for batches and plates."""

from __future__ import annotations

_FRAME = """<?xml version="1.0" encoding="UTF-8"?>
<svg xmlns="http://www.w3.org/2000/svg" width="35mm" height="35mm" viewBox="0 0 400 400">
  <title>{title} marker (invented artwork for the demo)</title>
  <rect x="8" y="8" width="384" height="384" rx="60" fill="{ground}"/>
  <g fill="{sign}">{body}</g>
</svg>
"""
_SIGNS = {
    "reed-trail": ("#27527f", "#d8c79a", '<path d="M120 340 C110 250 130 150 180 70 C176 160 170 250 162 340 Z"/>'
                   '<path d="M220 340 C220 250 240 160 290 100 C278 180 268 260 260 340 Z"/>'),
    "heron-trail": ("#d8c79a", "#234a86", '<path d="M90 300 C150 210 220 190 240 130 C244 100 264 84 290 92 L340 112 L288 118'
                    ' C282 190 250 260 170 300 Z"/><rect x="170" y="296" width="12" height="52"/><rect x="204" y="280" width="12" height="68"/>'),
    "leaf-trail": ("#6d4038", "#c49a62", '<path d="M80 320 C80 160 180 80 330 80 C330 240 230 320 80 320 Z"/>'),
    "water-trail": ("#4f86ad", "#ece8de", '<path d="M200 70 C260 160 300 210 300 260 A100 100 0 0 1 100 260 C100 210 140 160 200 70 Z"/>'),
    "way-left": ("#27527f", "#ece8de", '<path d="M70 200 L200 90 L200 160 L330 160 L330 240 L200 240 L200 310 Z"/>'),
    "way-right": ("#27527f", "#ece8de", '<path d="M330 200 L200 90 L200 160 L70 160 L70 240 L200 240 L200 310 Z"/>'),
}  # fmt: skip


def trail_markers() -> dict[str, str]:
    """SVG text of each marker, by its file name.

    Examples
    --------
    >>> sorted(trail_markers())[0]
    'heron-trail.svg'
    """
    return {
        f"{name}.svg": _FRAME.format(title=name.replace("-", " "), ground=ground, sign=sign, body=body)
        for name, (ground, sign, body) in _SIGNS.items()
    }
