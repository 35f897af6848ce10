"""A photograph as pixels that know how much light each level stands for: JPEG, PNG, TIFF, or a camera's raw file."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from tint.errors import FileError
from tint.measure.photo.icc import tone_curves
from tint.measure.photo.vision import opencv

if TYPE_CHECKING:
    from PIL import Image

FORMATS = ("JPEG", "PNG", "TIFF", "WEBP")  # Pillow knows more, some of which start other programs
MAX_PIXELS = 80_000_000  # about 1 GB while it is read; a shop's camera has 12 to 50 million
MIN_SIDE_PX = 300  # fewer cannot show a plate and a chart
RAW_SUFFIXES = (".dng", ".cr2", ".cr3", ".nef", ".arw", ".raf", ".orf", ".rw2", ".pef", ".srw")
EXIF_MAKE, EXIF_MODEL, EXIF_TURN = 271, 272, 274  # Exif 2.3, table 4


@dataclass(frozen=True, eq=False)
class Photo:
    """A photograph, turned as its camera says.

    Parameters
    ----------
    name : for messages
    pixels : (h, w, 3) red, green, blue as uint8 or uint16
    light1 : (3, levels) amount of light 0..1 that each level stands for
    camera : what the file says took it, "" unknown
    """

    name: str
    pixels: np.ndarray
    light1: np.ndarray
    camera: str

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height [px]."""
        return self.pixels.shape[1], self.pixels.shape[0]

    @property
    def full(self) -> int:
        """Highest level a pixel can have."""
        return self.light1.shape[1] - 1

    def linear1(self, levels: np.ndarray) -> np.ndarray:
        """Light 0..1 (..., 3) of levels (..., 3), which may lie between whole ones."""
        steps = np.arange(self.light1.shape[1])
        return np.stack([np.interp(levels[..., k], steps, self.light1[k]) for k in range(3)], axis=-1)


def open_photo(path: str | Path) -> Photo:
    """Photograph of a file; its EXIF turn and embedded ICC profile are honoured, sRGB is taken where no profile is.

    Raises
    ------
    FileError
        Missing, not a picture, damaged, grey or CMYK, too small or larger than 80 megapixels, or a raw file without
        the package rawpy.
    """
    path = Path(path)
    if path.suffix.lower() in RAW_SUFFIXES:
        return _open_raw(path)
    from PIL import Image, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(path, formats=FORMATS) as image:
                _check_size(path, image.size)
                if image.mode not in ("RGB", "RGBA", "RGBX", "P"):
                    raise FileError(
                        f"{path} is not a colour photo (it is {image.mode}); save it as an RGB JPEG, PNG or TIFF."
                    )
                exif, profile = image.getexif(), image.info.get("icc_profile")
                camera = " ".join(str(exif.get(tag, "")).strip("\0 ") for tag in (EXIF_MAKE, EXIF_MODEL)).strip()
                pixels = _pixels(path, image)
    except FileError:
        raise
    except FileNotFoundError:
        raise FileError(f"{path} is not there. Check the name.") from None
    except UnidentifiedImageError:
        raise FileError(f"{path} is not a picture tint reads; save the photo as JPEG, PNG or TIFF.") from None
    except Image.DecompressionBombError:
        raise FileError(f"{path} has more than {MAX_PIXELS / 1e6:.0f} million pixels. Save it smaller.") from None
    except (OSError, SyntaxError, ValueError, EOFError) as error:
        raise FileError(f"{path} cannot be read as a picture: {' '.join(str(error).split())[:120]}.") from None
    levels = 65536 if pixels.dtype == np.uint16 else 256
    curves = tone_curves(profile, levels) if profile else None
    light1 = np.tile(_srgb_curve(levels), (3, 1)) if curves is None else curves
    return Photo(path.name, np.ascontiguousarray(_turned(pixels, exif.get(EXIF_TURN))), light1, camera)


def _check_size(path: Path, size: tuple[int, int]) -> None:
    if size[0] * size[1] > MAX_PIXELS:
        raise FileError(
            f"{path} has {size[0] * size[1] / 1e6:.0f} million pixels; tint reads up to {MAX_PIXELS / 1e6:.0f}. Save it smaller."
        )
    if min(size) < MIN_SIDE_PX:
        raise FileError(f"{path} has {size[0]} × {size[1]} pixels; {MIN_SIDE_PX} a side are needed, 3000 are good.")


def _pixels(path: Path, image: Image.Image) -> np.ndarray:
    """(h, w, 3) uint8, or uint16 where the file has 16 bits (Pillow would drop eight of them)."""
    if image.format in ("PNG", "TIFF") and _bits(image, path) == 16:
        cv2 = opencv()
        found = cv2.imdecode(np.fromfile(path, dtype=np.uint8), cv2.IMREAD_UNCHANGED)
        if found is None or found.dtype != np.uint16 or found.ndim != 3:
            raise FileError(
                f"{path} is a 16-bit picture that cannot be read; save it as a plain 16-bit RGB TIFF or PNG."
            )
        return found[..., 2::-1]
    return np.asarray(image if image.mode == "RGB" else image.convert("RGB"))


def _bits(image: Any, path: Path) -> int:
    if image.format == "PNG":
        with path.open("rb") as stream:
            return stream.read(25)[24]  # PNG specification, 11.2.2: bit depth follows width and height in IHDR
    bits = image.tag_v2.get(258, (8,))  # TIFF 6.0, BitsPerSample
    return int(bits[0] if isinstance(bits, tuple) else bits)


def _turned(pixels: np.ndarray, turn: Any) -> np.ndarray:
    """Pixels turned and mirrored as EXIF orientation 1 to 8 says (Exif 2.3, 4.6.4 A), as they are where the tag holds anything else."""
    if turn in (2, 4, 5, 7):
        pixels = pixels[:, ::-1]
    quarter = {3: 2, 4: 2, 5: 1, 6: 3, 7: 3, 8: 1}.get(turn, 0)
    return np.rot90(pixels, quarter)


def _srgb_curve(levels: int) -> np.ndarray:
    """Light 0..1 of each sRGB level (IEC 61966-2-1)."""
    value = np.linspace(0, 1, levels)
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def _open_raw(path: Path) -> Photo:
    """A raw file developed without tone curve, in the camera's own colours: the chart does the rest."""
    try:
        import rawpy
    except ImportError:
        raise FileError(
            f'{path} is a raw file; reading it needs rawpy: pip install "tint[raw]", or save it as TIFF.'
        ) from None
    if not path.is_file():
        raise FileError(f"{path} is not there. Check the name.")
    try:
        with rawpy.imread(str(path)) as raw:
            _check_size(path, (raw.sizes.width, raw.sizes.height))
            pixels = raw.postprocess(
                gamma=(1, 1), no_auto_bright=True, output_bps=16, use_camera_wb=True, output_color=rawpy.ColorSpace.raw
            )
    except FileError:
        raise
    except Exception as error:  # rawpy raises its library's own errors, one class per mishap
        raise FileError(
            f"{path} cannot be read as a raw file: {' '.join(str(error).split())[:100]}. Save it as TIFF."
        ) from None
    return Photo(path.name, pixels, np.tile(np.linspace(0, 1, 65536), (3, 1)), "")
