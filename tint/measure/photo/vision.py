"""The only door to OpenCV, and the few things of plane geometry that go with it."""

from __future__ import annotations

from types import ModuleType

import numpy as np

from tint.errors import FileError


def opencv() -> ModuleType:
    """OpenCV, loaded on first use.

    Raises
    ------
    FileError
        It is not installed, or has no finder of square marks.
    """
    try:
        import cv2
    except ImportError:
        raise FileError(
            'photographs are read with OpenCV, which is not installed: pip install "tint[photo]".'
        ) from None
    if not hasattr(cv2, "aruco") or not hasattr(cv2.aruco, "ArucoDetector"):
        raise FileError(f'OpenCV {cv2.__version__} is too old for photographs: pip install --upgrade "tint[photo]".')
    cv2.setNumThreads(1)
    return cv2


def mapped(matrix: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Points (..., 2) moved by a homography (3, 3)."""
    points = np.asarray(points, dtype=float)
    moved = points @ matrix[:, :2].T + matrix[:, 2]
    return moved[..., :2] / moved[..., 2:]


def square(xy: np.ndarray, side: float) -> np.ndarray:
    """(4, 2) corners of a square about a centre: top left, top right, bottom right, bottom left."""
    return np.asarray(xy, dtype=float) + side / 2 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
