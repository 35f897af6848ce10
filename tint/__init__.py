"""tint: colour marking on metal, from test grid to job folder.

measurements → colour model → palette → layers → job. See README.md for the journeys.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

# Loaded on first use, so that `import tint` stays light: name -> the module that holds it.
_PLACES = {
    "TintError": "tint.errors",
    "Setting": "tint.setting",
    "Machine": "tint.setting",
    "Stock": "tint.setting",
    "read_machine": "tint.setting",
    "read_stock": "tint.setting",
    "process": "tint.process",
    "Grid": "tint.plan.grid",
    "plan_grid": "tint.plan.first",
    "Patches": "tint.measure.patches",
    "read_patches": "tint.measure.patches",
    "write_patches": "tint.measure.patches",
    "Artwork": "tint.artwork.artwork",
    "read_artwork": "tint.artwork.artwork",
    "ColourModel": "tint.model.model",
    "fit": "tint.model.fit",
    "predict": "tint.model.model",
    "find_setting": "tint.model.find",
    "Palette": "tint.palette.palette",
    "read_palette": "tint.palette.palette",
    "choose_palette": "tint.palette.choose",
    "Layers": "tint.layers.layers",
    "separate": "tint.layers.separate",
    "write_job": "tint.job.job",
    "check_strip": "tint.check.check",
    "run_batch": "tint.batch.run",
}
__all__ = sorted(_PLACES)


def __getattr__(name: str) -> Any:
    if name not in _PLACES:
        raise AttributeError(f"module 'tint' has no attribute {name!r}")
    return getattr(import_module(_PLACES[name]), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *_PLACES])
