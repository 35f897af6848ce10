"""Artwork of the invented shop: a kingfisher sign, flat as SVG and shaded as PNG, drawn here for the purpose."""

from __future__ import annotations

from pathlib import Path

import numpy as np

SIGN_WIDTH_MM = 90.0

KINGFISHER_SVG = """<?xml version="1.0" encoding="UTF-8"?>
<svg xmlns="http://www.w3.org/2000/svg" width="90mm" height="60mm" viewBox="0 0 900 600">
  <title>Kingfisher sign (invented artwork for the demo)</title>
  <style>
    .water { fill: #4f86ad } .deep { fill: #27527f } .ripple { fill: none; stroke: #a9c6d8; stroke-width: 6; stroke-linecap: round }
    .leaf { fill: #c49a62 } .leaf.far { fill: #d8c79a } .stem { fill: none; stroke: #c49a62; stroke-width: 7 }
    .head { fill: #6d4038 } .wood { stroke: #6d4a52; fill: none; stroke-linecap: round }
    .back { fill: #1f6f9e } .wing { fill: #234a86 } .shine { fill: none; stroke: #5fb3c8; stroke-width: 13; stroke-linecap: round }
    .breast { fill: #d08a3c } .white { fill: #ece8de } .dark { fill: #2c2530 } .foot { stroke: #a0586a; stroke-width: 9; fill: none }
  </style>
  <clipPath id="inside"><rect x="6" y="6" width="888" height="588" rx="26"/></clipPath>
  <g id="water" clip-path="url(#inside)">
    <path class="water" d="M0 505 C100 488 200 522 300 505 S500 488 600 505 S800 522 900 500 L900 600 L0 600 Z"/>
    <path class="ripple" d="M180 528 C230 520 270 536 320 528"/>
    <path class="ripple" d="M470 528 C520 520 560 536 620 528"/>
  </g>
  <g id="reeds" clip-path="url(#inside)">
    <path class="leaf far" d="M800 585 C786 430 806 300 846 190 C836 310 826 430 828 585 Z"/>
    <path class="leaf" d="M742 560 C730 430 700 320 652 250 C712 310 764 430 772 560 Z"/>
    <path class="leaf" d="M836 570 C842 450 862 360 892 300 L892 380 C872 440 862 500 862 570 Z"/>
    <path class="stem" d="M792 580 C790 420 796 280 800 150"/>
    <rect class="head" x="789" y="86" width="22" height="92" rx="11"/>
    <path class="stem" d="M86 580 C90 440 84 320 76 210"/>
    <rect class="head" x="65" y="132" width="22" height="92" rx="11"/>
    <path class="leaf" d="M112 575 C118 470 150 380 200 320 C164 400 142 480 138 575 Z"/>
    <path class="leaf far" d="M48 570 C46 470 36 390 14 330 L14 420 C22 470 26 520 26 570 Z"/>
  </g>
  <path class="deep" clip-path="url(#inside)" d="M0 548 C120 532 220 564 340 548 S560 532 680 548 S840 562 900 544 L900 600 L0 600 Z"/>
  <g id="branch" class="wood">
    <path d="M150 470 C270 448 430 446 650 462" stroke-width="24"/>
    <path d="M540 455 C580 440 606 424 624 398" stroke-width="11"/>
  </g>
  <g id="kingfisher">
    <path class="foot" d="M420 420 L414 452 M452 418 L452 452"/>
    <path class="back" d="M470 150 C400 190 330 280 310 400 L250 492 L292 502 L352 428 C430 440 530 420 566 330
      C582 280 592 240 592 200 C592 150 540 120 500 125 C485 128 475 140 470 150 Z"/>
    <path class="breast" d="M560 235 C588 300 545 400 440 425 C405 432 375 430 352 428 C420 400 470 350 490 290
      C500 255 530 235 560 235 Z"/>
    <path class="wing" d="M470 220 C400 240 350 320 330 420 C400 400 460 350 480 290 C488 262 485 240 470 220 Z"/>
    <path class="shine" d="M452 196 C392 236 344 306 324 392"/>
    <path class="breast" d="M498 196 C528 184 560 190 588 206 C562 226 520 232 494 216 Z"/>
    <path class="white" d="M470 204 C486 220 494 242 488 264 C466 250 456 226 460 204 Z"/>
    <path class="white" d="M562 214 C592 212 598 228 586 250 C566 246 556 234 562 214 Z"/>
    <g class="spots" fill="#7fa9c8">
      <ellipse cx="446" cy="268" rx="10" ry="6" transform="rotate(-50 446 268)"/>
      <ellipse cx="418" cy="306" rx="10" ry="6" transform="rotate(-55 418 306)"/>
      <ellipse cx="394" cy="350" rx="10" ry="6" transform="rotate(-60 394 350)"/>
      <ellipse cx="440" cy="322" rx="9" ry="5" transform="rotate(-50 440 322)"/>
    </g>
    <path class="dark" d="M584 176 L752 206 L586 216 C592 204 592 188 584 176 Z"/>
    <circle class="dark" cx="546" cy="177" r="13"/>
    <circle class="white" cx="551" cy="172" r="4.5"/>
  </g>
  <rect x="6" y="6" width="888" height="588" rx="26" fill="none" stroke="#2c2530" stroke-width="8"/>
</svg>
"""


def shaded_kingfisher(svg: Path, pitch_mm: float = 0.05) -> np.ndarray:
    """(h, w, 4) uint8 sRGB and opacity: the shapes of the sign lit from the top left, over water that darkens downward."""
    import shapely
    from scipy import ndimage

    from tint.artwork.vector import read_drawing
    from tint.layers.label import label_outlines

    drawing = read_drawing(svg)
    size = (round(drawing.height_mm / pitch_mm), round(drawing.width_mm / pitch_mm))
    which = label_outlines(
        [shapely.MultiPolygon(shapely.get_parts(shape.region).tolist()) for shape in drawing.shapes], size, pitch_mm
    )
    colours = np.array([(255, 255, 255), *(shape.srgb255 for shape in drawing.shapes)], dtype=float)
    linear = (colours / 255) ** 2.2
    picture = linear[which]
    lit = np.zeros(size)
    for number in range(1, len(colours)):
        inside = which == number
        if not inside.any():
            continue
        height = np.sqrt(np.minimum(ndimage.distance_transform_edt(inside), 2.5 / pitch_mm))
        dy, dx = np.gradient(ndimage.gaussian_filter(height, 0.25 / pitch_mm))
        lit[inside] = (-(dx + 1.4 * dy))[inside]
    lit = np.clip(1 - 2.6 * lit, 0.45, 1.9)
    down = np.linspace(1.08, 0.72, size[0])[:, None]
    shaded = np.clip(picture * (lit * down)[..., None], 0, 1) ** (1 / 2.2)
    opacity = np.where(which > 0, 255, 0).astype(np.uint8)
    return np.dstack([np.round(shaded * 255).astype(np.uint8), opacity])
