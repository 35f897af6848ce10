"""Pictures: PNG, JPEG, TIFF or WebP at a physical size, as sRGB pixels with a mask of what stays bare."""

from __future__ import annotations

import io
import warnings
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from tint.artwork.artwork import Picture
from tint.errors import FileError, LimitError

if TYPE_CHECKING:
    from PIL import Image

MAX_PIXELS = 120_000_000  # about 1 GB while it is separated; a bigger file is most likely a mistake
MIN_PITCH_MM, MAX_PITCH_MM = 0.002, 1.0  # finer than any line spacing; coarser than any spot
OPAQUE = 0.5  # a pixel less opaque than this stays bare: an anti-aliased edge goes to the side that covers more of it


def read_picture(path: str | Path, width_mm: float | None, pitch_mm: float | None = None) -> Picture:
    """Picture at `width_mm` on the metal; its height keeps the picture's proportions.

    Parameters
    ----------
    width_mm : width on the metal [mm]
    pitch_mm : size of a pixel on the metal [mm] to resample to, in linear light; None keeps the picture's own pixels

    Raises
    ------
    FileError
        Not a picture, damaged, animated, or larger than 120 megapixels.
    LimitError
        No width, or a pitch outside 0.002–1 mm.

    Notes
    -----
    EXIF turn and embedded ICC profile are honoured; CMYK, grey, 16-bit and palette pictures become 8-bit sRGB.
    """
    if width_mm is None:
        raise LimitError(f"{path} is a picture and has no size of its own; say how wide it is to be with --width-mm.")
    if not (np.isfinite(width_mm) and width_mm > 0):
        raise LimitError(f"width {width_mm:g} mm cannot be; it is a number above 0.")
    image = _open(Path(path))
    try:
        srgb, bare = _srgb_and_bare(image)
    except (OSError, SyntaxError, ValueError, EOFError) as error:
        raise FileError(f"{path} cannot be read: {str(error)[:120]}. Save it again as a plain PNG.") from None
    own_pitch = width_mm / srgb.shape[1]
    if pitch_mm is not None and not np.isclose(pitch_mm, own_pitch, rtol=1e-6):
        srgb, bare = _resample(srgb, bare, width_mm, pitch_mm)
    height_mm = srgb.shape[0] * width_mm / srgb.shape[1]
    if not MIN_PITCH_MM <= width_mm / srgb.shape[1] <= MAX_PITCH_MM:
        raise LimitError(
            f"a pixel of {path} would be {own_pitch:.4g} mm on the metal; state --pitch-mm (such as 0.05) to resample it."
        )
    return Picture(Path(path).stem, float(width_mm), float(height_mm), srgb, bare)


def _open(path: Path) -> Image.Image:
    from PIL import Image, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)  # the limit below is ours and says so
            image = Image.open(path)
        if image.format not in ("PNG", "JPEG", "MPO", "TIFF", "WEBP"):
            raise FileError(f"{path} is a {image.format} file under another name; save it as PNG, JPEG, TIFF or WebP.")
        if image.width * image.height > MAX_PIXELS:
            raise FileError(
                f"{path} has {image.width * image.height / 1e6:.0f} megapixels; tint reads up to {MAX_PIXELS / 1e6:.0f}. Scale it down."
            )
        if getattr(image, "n_frames", 1) > 1 and image.format != "MPO":
            raise FileError(f"{path} holds {image.n_frames} pictures (animated or with pages); export the one to mark.")
        return image
    except FileNotFoundError:
        raise FileError(f"{path} is not there. Check the name.") from None
    except Image.DecompressionBombError:
        raise FileError(
            f"{path} is far too large; tint reads up to {MAX_PIXELS / 1e6:.0f} megapixels. Scale it down."
        ) from None
    except (UnidentifiedImageError, SyntaxError, ValueError):
        raise FileError(f"{path} is not a picture tint reads (PNG, JPEG, TIFF, WebP), or it is damaged.") from None
    except OSError as error:
        raise FileError(f"cannot read {path}: {error.strerror or str(error)[:120]}.") from None


def _srgb_and_bare(image: Image.Image) -> tuple[np.ndarray, np.ndarray]:
    from PIL import Image, ImageOps

    ImageOps.exif_transpose(image, in_place=True)
    if image.mode in ("I", "F"):
        raise ValueError("its pixels are 32-bit numbers of unknown scale; save it with 8 or 16 bits")
    if image.mode.startswith("I;16"):  # Pillow would clip it to 8 bit: scale first
        values = np.asarray(image, dtype=np.float32)
        image = Image.fromarray(np.round(values / 65535.0 * 255).astype(np.uint8))
    if image.mode in ("P", "PA", "LA", "La", "RGBa") or "transparency" in image.info:
        image = image.convert("RGBA")
    alpha = np.asarray(image.getchannel("A")) if "A" in image.getbands() else None
    bare = alpha < OPAQUE * 255 if alpha is not None else np.zeros((image.height, image.width), dtype=bool)
    if image.mode == "RGBA":
        image = image.convert("RGB") if "icc_profile" not in image.info else _without_alpha(image)
    image = _to_srgb(image)
    return np.asarray(image), bare


def _without_alpha(image: Image.Image) -> Image.Image:
    profile = image.info["icc_profile"]
    flat = image.convert("RGB")
    flat.info["icc_profile"] = profile
    return flat


def _to_srgb(image: Image.Image) -> Image.Image:
    from PIL import ImageCms

    profile = image.info.get("icc_profile")
    if image.mode not in ("RGB", "CMYK", "L", "LAB"):
        image, profile = image.convert("RGB"), profile if image.mode == "RGB" else None
    if profile:
        try:
            source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            if image.mode == "L" and source.profile.xcolor_space.strip() == "RGB":  # grey saved by a colour program
                image = image.convert("RGB")
            return ImageCms.profileToProfile(image, source, ImageCms.createProfile("sRGB"), outputMode="RGB")
        except (ImageCms.PyCMSError, OSError) as error:
            raise ValueError(f"its colour profile cannot be used ({str(error)[:80]})") from None
    return image if image.mode == "RGB" else image.convert("RGB")


def _resample(srgb: np.ndarray, bare: np.ndarray, width_mm: float, pitch_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """Pixels at another pitch, averaged in linear light and weighted by opacity."""
    from PIL import Image

    if not MIN_PITCH_MM <= pitch_mm <= MAX_PITCH_MM:
        raise LimitError(f"pitch {pitch_mm:g} mm cannot be; it lies between {MIN_PITCH_MM:g} and {MAX_PITCH_MM:g} mm.")
    width = max(1, round(width_mm / pitch_mm))
    height = max(1, round(width * srgb.shape[0] / srgb.shape[1]))
    if width * height > MAX_PIXELS:
        raise LimitError(
            f"{width} × {height} pixels at {pitch_mm:g} mm are too many (up to {MAX_PIXELS / 1e6:.0f} million); use a coarser pitch."
        )

    def scaled(plane: np.ndarray) -> np.ndarray:
        return np.asarray(
            Image.fromarray(plane.astype(np.float32)).resize(
                (width, height), Image.Resampling.BOX if width < srgb.shape[1] else Image.Resampling.BILINEAR
            )
        )

    opaque = scaled(~bare)
    linear = _LINEAR1[srgb]
    planes = [scaled(np.where(bare, 0, linear[..., i])) / np.maximum(opaque, 1e-6) for i in range(3)]
    linear1 = np.clip(np.stack(planes, axis=-1), 0, 1)
    srgb1 = np.where(linear1 <= 0.0031308, linear1 * 12.92, 1.055 * linear1 ** (1 / 2.4) - 0.055)
    return np.round(srgb1 * 255).astype(np.uint8), opaque < OPAQUE


# sRGB byte -> linear light 0..1, IEC 61966-2-1
_LEVELS = np.arange(256) / 255
_LINEAR1 = np.where(_LEVELS <= 0.04045, _LEVELS / 12.92, ((_LEVELS + 0.055) / 1.055) ** 2.4).astype(np.float32)
