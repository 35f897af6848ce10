"""A picture file opened, checked, and handed out in bands of rows: sRGB, and which pixels stay bare."""

from __future__ import annotations

import io
import math
import os
import threading
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, cast

import numpy as np

from tint.artwork.average import OPAQUE
from tint.errors import FileError

if TYPE_CHECKING:
    from PIL import Image
    from PIL.TiffImagePlugin import TiffImageFile

WHOLE_PX = 120_000_000  # decoded in one go and kept: 0.5 GB in Pillow
MOST_PX = 1_000_000_000  # a wall of a house at a spot a pixel; a bigger file is most likely a mistake
# of a JPEG: each block of 64 pixels takes a bit at least (ISO/IEC 10918-1, F.1.2), so no byte stands for more; the decoder would
# fill what is missing with grey
MOST_PX_PER_BYTE = 512
_HEAD_BYTES = 4096  # notes may stand before a drawing's first element
# PNG specification 5.2; ISO/IEC 10918-1 B.1.1.3; TIFF 6.0 section 2 and BigTIFF; RFC 9649 (RIFF container)
_PICTURE_STARTS = (b"\x89PNG\r\n\x1a\n", b"\xff\xd8", b"II*\0", b"MM\0*", b"II+\0", b"MM\0+", b"RIFF")
_BAND_PX = 250_000  # pixels converted at once: 1 MB, which stays in the processor's cache
_TURN = 0x0112  # EXIF's and TIFF's tag for how the camera was held
_COLOUR_MAP = 320  # TIFF 6.0: red, green and blue of each entry, one plane after the other
# Colours a profile is for, by the signature in its header (ICC.1:2022, 7.2.8), and which pixels it serves
_SERVES = {b"GRAY": ("greys",), b"RGB ": ("RGB", "greys"), b"CMYK": ("CMYK",), b"Lab ": ("CIELAB",)}


@dataclass(eq=False)
class Source:
    """A picture file.

    Parameters
    ----------
    path : of the file
    width, height : of its rows as they are stored, before any turn [pixels]
    images : gives Pillow pictures of some rows each, from the top
    turn : 1..8, how what is stored has to be turned (EXIF)
    profile : embedded ICC profile, None where there is none that serves these pixels
    mode : of the file's pixels, as Pillow names it
    unserved : what an embedded profile that is left out is for, "" where none is
    file_px : pixels of the file, more than there are rows for where a large JPEG is decoded at a part of its size
    """

    path: Path
    width: int
    height: int
    images: Callable[[], Iterator[Image.Image]]
    turn: int
    profile: bytes | None
    mode: str
    unserved: str = ""
    file_px: int = 0
    _transforms: dict[str, Any] = field(default_factory=dict)

    @property
    def turned(self) -> bool:
        """Whether width and height change places when the picture is turned."""
        return self.turn >= 5

    def bands(self) -> Iterator[tuple[np.ndarray, np.ndarray]]:
        """sRGB (r, w, 3) uint8 and bare (r, w) bool of some rows each, from the top, as they are stored.

        Raises
        ------
        FileError
            A damaged file, a colour profile that cannot be used, numbers of unknown scale.
        """
        try:
            for image in _silently(self.images()):
                step = max(1, _BAND_PX // image.width)
                for top in range(0, image.height, step):
                    yield self._srgb_and_bare(image.crop((0, top, image.width, min(image.height, top + step))))
        except FileError as error:
            raise FileError(f"{self.path} is too large to be decoded whole, and {error}.") from None
        except (OSError, SyntaxError, ValueError, EOFError, KeyError, IndexError) as error:
            raise unreadable(self.path, error) from None

    def _srgb_and_bare(self, image: Image.Image) -> tuple[np.ndarray, np.ndarray]:
        from PIL import Image

        if image.mode in ("I", "F"):
            raise ValueError("its pixels are 32-bit numbers of unknown scale; save it with 8 or 16 bits")
        bare = np.zeros((image.height, image.width), dtype=bool)
        if image.mode.startswith("I;16"):  # Pillow would clip it to 8 bit: scale first
            values = np.asarray(image, dtype=np.float32)
            bare = values == image.info.get("transparency", -1)
            image = Image.fromarray(np.round(values / 65535.0 * 255).astype(np.uint8))
        if image.mode in ("P", "PA", "LA", "La", "RGBa") or "transparency" in image.info:
            image = image.convert("RGBA")
        if image.mode == "RGBA":
            bare = np.asarray(image.getchannel("A")) < OPAQUE * 255
            image = image.convert("RGB")
        if self.profile and self.profile[16:20] == b"GRAY":  # it serves greys only, in whatever mode they came
            image = image.getchannel(0)
        return np.asarray(self._to_srgb(image)), bare

    def _to_srgb(self, image: Image.Image) -> Image.Image:
        profile = self.profile
        if image.mode not in ("RGB", "CMYK", "L", "LAB"):
            image, profile = image.convert("RGB"), None
        if not profile:
            return image if image.mode == "RGB" else image.convert("RGB")
        from PIL import ImageCms

        try:
            if image.mode not in self._transforms:
                source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
                grey_in_colour = image.mode == "L" and source.profile.xcolor_space.strip() == "RGB"
                mode = "RGB" if grey_in_colour else image.mode
                made = ImageCms.buildTransform(source, ImageCms.createProfile("sRGB"), mode, "RGB")
                self._transforms[image.mode] = mode, made
            mode, transform = self._transforms[image.mode]
            turned = ImageCms.applyTransform(image.convert(mode) if image.mode != mode else image, transform)
            return cast("Image.Image", turned)  # None only where it changes the picture in place
        except (ImageCms.PyCMSError, OSError) as error:
            raise ValueError(f"its colour profile cannot be used ({str(error)[:80]})") from None


def open_source(path: Path) -> Source:
    """`Source` of a PNG, JPEG, TIFF or WebP file; what is too large to decode whole comes in pieces.

    Raises
    ------
    FileError
        Not a picture, damaged, animated, without pixels, or too large.

    Notes
    -----
    TIFF above 120 megapixels is decoded strip by strip, baseline JPEG at a half, quarter or eighth of its size.
    """
    from PIL import Image, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about size and about tags tint does not use
            return _opened(path)
    except FileError:
        raise
    except FileNotFoundError:
        raise FileError(f"{path} is not there. Check the name.") from None
    except Image.DecompressionBombError:
        raise too_large(path) from None
    except (UnidentifiedImageError, SyntaxError, ValueError, KeyError, TypeError):
        raise _no_picture(path) from None
    except OSError as error:
        if error.strerror:
            raise FileError(f"cannot read {path}: {error.strerror}.") from None
        raise _no_picture(path) from None  # a decoder that found no more bytes


def unreadable(path: Path, error: Exception) -> FileError:
    """The error of a file whose pixels cannot be had, in one line."""
    said = (str(error).splitlines() or ["it is damaged"])[0][:160]
    if "truncated" in said.lower():  # Pillow's word, whatever the format
        return FileError(f"{path} is cut short: a part of the picture is missing. Ask for the file again, or export it again.")
    return FileError(f"{path} cannot be read: {said}. Save it again as a plain PNG.")


def _no_picture(path: Path) -> FileError:
    """The error of a file that no decoder opens, by what stands at its start."""
    start = b""
    with suppress(OSError), open(path, "rb") as stream:
        start = stream.read(_HEAD_BYTES)
    if not start:
        return FileError(f"{path} is empty. Ask for the file again, or export it again.")
    if b"<svg" in start:
        return FileError(f"{path} is an SVG drawing under another name. Give it the ending .svg.")
    if start.startswith(_PICTURE_STARTS):
        return FileError(f"{path} is damaged or cut short. Ask for the file again, or export it again.")
    return FileError(f"{path} is not a picture tint reads (PNG, JPEG, TIFF, WebP), or it is damaged.")


def too_large(path: Path, megapixels: float | None = None) -> FileError:
    """The error of a picture that is larger than tint reads."""
    has = f"has {megapixels:.0f} megapixels" if megapixels else "is far too large"
    return FileError(
        f"{path} {has}; "
        f"tint reads up to {WHOLE_PX / 1e6:.0f} megapixels, as TIFF in strips or baseline JPEG up to {MOST_PX / 1e6:.0f}. Scale it down."
    )


def _opened(path: Path) -> Source:
    image = _image(path)
    if image.format not in ("PNG", "JPEG", "MPO", "TIFF", "WEBP"):
        raise FileError(f"{path} is a {image.format} file under another name; save it as PNG, JPEG, TIFF or WebP.")
    if image.width * image.height == 0:
        raise FileError(f"{path} has no pixels ({image.width} × {image.height}). Export it again.")
    pages = getattr(image, "n_frames", 1)
    if pages > 1 and image.format != "MPO":
        raise FileError(f"{path} holds {pages} pictures (animated or with pages); export the one to mark.")
    pixels = image.width * image.height
    if pixels > MOST_PX or (pixels > WHOLE_PX and image.format not in ("TIFF", "JPEG", "MPO")):
        raise too_large(path, pixels / 1e6)
    if image.format in ("JPEG", "MPO") and pixels > MOST_PX_PER_BYTE * path.stat().st_size:
        raise FileError(f"{path} is cut short: {path.stat().st_size:,} bytes cannot hold {pixels / 1e6:.0f} megapixels. Export it again.")
    if image.format == "TIFF" and pixels > WHOLE_PX:
        from tint.artwork.strips import tiff_bands, tiff_size

        tiff = cast("TiffImageFile", image)
        turn = _known_turn(tiff.tag_v2.get(_TURN, 1))
        stream = cast("BinaryIO", tiff.fp)
        profile, unserved = _serving(image)
        return Source(path, *tiff_size(tiff), lambda: tiff_bands(tiff, stream), turn, profile, image.mode, unserved, pixels)
    if pixels > WHOLE_PX:
        if image.info.get("progressive"):
            raise FileError(
                f"{path} is a progressive JPEG of {pixels / 1e6:.0f} megapixels; save it as baseline JPEG or TIFF in strips."
            )
        part = math.ceil(math.sqrt(pixels / WHOLE_PX))
        smaller = 2 ** math.ceil(math.log2(part))  # JPEG decodes at 1/2, 1/4 and 1/8
        image.draft(image.mode, (image.width // smaller, image.height // smaller))
    try:
        with _silent():
            image.load()
    except (OSError, SyntaxError, ValueError, EOFError) as error:
        raise unreadable(path, error) from None
    _scale_clear_colour(image, path)
    turn = _known_turn(image.getexif().get(_TURN, 1))  # Pillow has turned a TIFF by now and says so
    profile, unserved = _serving(image)
    return Source(path, image.width, image.height, lambda: iter([image]), turn, profile, image.mode, unserved, pixels)


def _known_turn(tag: Any) -> int:
    """1..8, how what is stored has to be turned; 1, not at all, where the tag holds nothing of the kind."""
    return int(tag) if tag in range(1, 9) else 1


def _serving(image: Image.Image) -> tuple[bytes | None, str]:
    """Embedded profile where it serves the pixels, and what one that does not is for."""
    profile = image.info.get("icc_profile")
    serves = _SERVES.get(bytes(profile[16:20])) if profile else None
    if serves is None or _colours(image) in serves:  # what is no profile at all is refused when pixels pass through it
        return profile, ""
    return None, serves[0]


def _colours(image: Image.Image) -> str:
    """Which of a profile's colours the pixels are; those of a palette are greys where all its entries are."""
    if image.mode in ("P", "PA"):
        if image.format == "TIFF":  # read from the tag, as a large one is not decoded yet
            book = np.reshape(cast("TiffImageFile", image).tag_v2[_COLOUR_MAP], (3, -1)).T
        else:
            book = np.reshape(image.getpalette("RGB") or [], (-1, 3))
        return "greys" if (book == book[:, :1]).all() else "RGB"
    if image.mode in ("1", "L", "LA", "La") or image.mode.startswith("I;16"):
        return "greys"
    return {"CMYK": "CMYK", "LAB": "CIELAB"}.get(image.mode, "RGB")


def _scale_clear_colour(image: Image.Image, path: Path) -> None:
    """Brings the one colour of a PNG that is transparent to eight bits, as its pixels are; Pillow leaves it as the file has it."""
    clear = image.info.get("transparency")
    if image.format != "PNG" or clear is None:
        return
    with open(path, "rb") as stream:
        bits = stream.read(25)[24]  # PNG specification, 11.2.2: bit depth follows width and height in IHDR
    if image.mode == "L" and bits in (2, 4):
        image.info["transparency"] = clear * 255 // (2**bits - 1)
    elif image.mode == "RGB" and bits == 16:  # the lower halves are gone: colours that share the upper ones go with it
        image.info["transparency"] = tuple(value >> 8 for value in clear)


@contextmanager
def _silent() -> Iterator[None]:
    """Block in which libtiff's own lines about a damaged file go nowhere; what is wrong is told by an exception.

    Stderr is the whole process's: of several threads the first takes it away, and the last gives it back.
    """
    with _Stderr.guard:
        if not _Stderr.blocks:
            with suppress(OSError):  # no stderr at all
                _Stderr.kept = os.dup(2)
                nowhere = os.open(os.devnull, os.O_WRONLY)
                os.dup2(nowhere, 2)
                os.close(nowhere)
        _Stderr.blocks += 1
    try:
        yield
    finally:
        with _Stderr.guard:
            _Stderr.blocks -= 1
            if not _Stderr.blocks and _Stderr.kept is not None:
                os.dup2(_Stderr.kept, 2)
                os.close(_Stderr.kept)
                _Stderr.kept = None


class _Stderr:
    """Stderr while libraries are silent: how many blocks want that, and where it led before."""

    guard = threading.Lock()
    blocks = 0
    kept: int | None = None


def _silently(images: Iterator[Image.Image]) -> Iterator[Image.Image]:
    """The same pictures; the library is silent while each is decoded."""
    while True:
        with _silent():
            image = next(images, None)
        if image is None:
            return
        yield image


def _image(path: Path) -> Image.Image:
    """Pillow picture of a file, its pixels not yet read; TIFF and JPEG of any size."""
    from PIL import Image, JpegImagePlugin, TiffImagePlugin

    with open(path, "rb") as stream:
        start = stream.read(4)
    if start in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return TiffImagePlugin.TiffImageFile(path)
    if start[:2] == b"\xff\xd8":
        return JpegImagePlugin.jpeg_factory(cast(Any, path))  # a path will do, though it says a stream
    return Image.open(path)
