"""`Desk`: a session and its long work, as every place of the page uses them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tint.caution import SHORT, cautions
from tint.desk.intake import find_files
from tint.desk.session import Item, Place, Session
from tint.desk.work import Workshop
from tint.errors import TintError
from tint.model.model import ColourModel, read_model
from tint.palette.palette import Palette, read_palette
from tint.setting import Machine, Stock, read_machine, read_stock

SCREEN = (
    "Screens differ from each other, and a mark's colour shifts with the angle and the light. What is shown here is a guide: "
    "the proof is a trial on scrap of the same batch."
)


@dataclass(frozen=True)
class Desk:
    """What the places of the page work on."""

    session: Session
    workshop: Workshop

    def place(self, name: str) -> Place:
        """A place of the page."""
        return self.session.places[name]

    def palette(self, id: str) -> Palette:
        """Palette of a file on the desk."""
        return self.session.read(self.session.item(id, "palette"), read_palette)

    def model(self, id: str) -> ColourModel:
        """Colour model of a file on the desk."""
        return self.session.read(self.session.item(id, "model"), read_model)

    def model_of(self, palette: Palette, first: str | None = None) -> ColourModel | None:
        """The colour model on the desk of a palette's machine and stock: `first` where it is one, then the newest; else None."""
        newest = [item.id for item in reversed(self.session.items) if item.kind == "model"]
        for id in ([first] if first else []) + newest:
            try:
                model = self.model(id)
            except TintError:
                continue  # a file of an older tint, say: another may do
            if model.machine == palette.machine and model.stock == palette.stock:
                return model
        return None

    def machine(self, id: str) -> Machine:
        """Machine of a file on the desk."""
        return self.session.read(self.session.item(id, "machine"), read_machine)

    def stock(self, id: str) -> Stock:
        """Stock of a file on the desk."""
        return self.session.read(self.session.item(id, "stock"), read_stock)

    def made(self, kind: str, path: Path, name: str | None = None) -> Item:
        """The file made here, now on the desk."""
        return self.session.add(kind, name or path.name, path, "made")


def new_desk(start: Path | None = None) -> Desk:
    """A desk with what lies in the folder on it."""
    session = Session(start)
    find_files(session)
    return Desk(session, Workshop(session.told))


def whole_state(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """Everything the page needs to show itself again after a reload."""
    running = [desk.workshop.running(name) for name in desk.session.places]
    return {
        "files": [item.as_dict() for item in desk.session.items],
        "places": {name: place.shown for name, place in desk.session.places.items()},
        "works": [work.as_dict() for work in running if work is not None],
        "caution": SHORT,
        "screen": SCREEN,
    }


def full_cautions(machine: Machine, stock: Stock) -> list[str]:
    """The cautions for a laser and a metal, in full."""
    return list(cautions(machine.wavelength_nm, stock.grade))
