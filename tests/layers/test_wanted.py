"""The artwork as it was wanted: a picture's own pixels, a drawing's shapes in their colours."""

import numpy as np
import shapely
from invented import picture

from tint.artwork.artwork import Drawing, Shape
from tint.layers.wanted import wanted_image


def test_a_picture_keeps_its_pixels_and_is_clear_where_bare():
    pixels = np.arange(5 * 4 * 3).reshape(5, 4, 3)
    bare = np.zeros((5, 4), bool)
    bare[0, 1] = True
    shown = np.asarray(wanted_image(picture(pixels, 10.0, bare), 0.1))
    assert (shown[..., :3] == pixels).all() and (shown[..., 3] == np.where(bare, 0, 255)).all()


def test_a_drawing_shows_every_shape_in_its_colour_even_more_than_a_label_map_holds():
    shapes = tuple(Shape(shapely.box(i, 0, i + 1, 2), (i % 256, i // 256, 7), "reed") for i in range(300))
    drawing = Drawing("reeds", 300.0, 3.0, shapes)
    shown = np.asarray(wanted_image(drawing, 0.5))
    assert shown.shape == (6, 600, 4)
    numbers = np.repeat(np.arange(300), 2)
    assert (
        (shown[:4, :, 0] == numbers % 256).all()
        and (shown[:4, :, 1] == numbers // 256).all()
        and (shown[:4, :, 3] == 255).all()
    )
    assert (shown[4:, :, 3] == 0).all()
