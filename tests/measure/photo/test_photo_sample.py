"""Levels of squares: what a square shows in its middle, whatever lies on one side of it."""

import numpy as np
import pytest

pytest.importorskip("cv2")

from tint.measure.photo.picture import Photo
from tint.measure.photo.sample import read_squares


def sloping(scratched: slice) -> Photo:
    """A photo whose light rises by a level every two pixels to the right, with a bright scratch over some columns."""
    row = 60 + 0.5 * np.arange(200)
    pixels = np.repeat(np.repeat(row[None, :, None], 100, axis=0), 3, axis=2)
    pixels[:, scratched] = 240
    return Photo("slope", np.round(pixels).astype(np.uint8), np.tile(np.linspace(0, 1, 256), (3, 1)), "")


@pytest.mark.parametrize("scratched", [slice(0, 0), slice(84, 89), slice(112, 117)])
def test_a_scratch_on_one_side_does_not_move_the_level_of_a_square_under_sloping_light(scratched):
    squares = read_squares(sloping(scratched), np.eye(3), np.array([[100.0, 50.0]]), (36.0, 36.0))
    assert squares.level[0] == pytest.approx(60 + 0.5 * 99.5, abs=0.35)  # the middle lies between two columns of pixels
    assert squares.slope[0] == pytest.approx(18, abs=1)
    assert (squares.odd[0] > 0.1) == (scratched.stop > 0)
