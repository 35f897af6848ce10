"""The desk's interface: every route with the shape of what it takes. One table for the server, its checks and its description."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from tint.check.strip import MOST_REPLICATES
from tint.desk import artwork, artwork_made, artwork_seen, check, settings, stock
from tint.desk.desk import Desk, whole_state
from tint.desk.intake import ENDINGS
from tint.desk.shape import FLAG, NAME, TEXT, Schema, many, maybe, number, one_of, record, whole
from tint.lab import CHART_EDITIONS
from tint.layers.gamut import MAPS
from tint.layers.tonal import MAX_CELL_MM, WAYS
from tint.palette.palette import MAX_COLOURS

NOTHING = record()


@dataclass(frozen=True)
class Route:
    """One route.

    Parameters
    ----------
    path : under /api
    call : function of the desk and the checked values; gives plain values, or bytes of a PNG
    takes : shape of the values: the body of a POST, the query of a GET
    place : whose state it changes or reads; calls of one place come one after the other
    changes : True for a POST
    """

    path: str
    call: Callable[[Desk, dict[str, Any]], Any]
    takes: Schema = field(default_factory=lambda: NOTHING)
    place: str = ""
    changes: bool = True
    picture: bool = False


def _work(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """A piece of long work, how far it is, and what came out."""
    return desk.workshop.get(values["work"]).as_dict()


def _stop(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """A piece of long work, stopped."""
    return desk.workshop.stop(values["work"]).as_dict()


WIDTH = number(0.1, 2000)
MM = number(0, 2000)
PAIR = many(TEXT, 2, 2)
COUNT = whole(1, MAX_COLOURS)
COLOUR = settings.HEX
SEEN = {"rev": whole(0, 10**9)}  # what the window shows: refused where another window has changed the piece since

ROUTES = (
    Route("state", whole_state, changes=False),
    Route("work", _work, record({"work": NAME}), changes=False),
    Route("work/stop", _stop, record({"work": NAME})),
    Route("artwork/open", artwork.open_artwork, record({"file": NAME}, {"width_mm": maybe(WIDTH)}), "artwork"),
    Route(
        "artwork/try",
        artwork.try_out,
        record(
            {},
            {
                "palette": maybe(NAME),
                "model": maybe(NAME),
                "colours": maybe(COUNT),
                "way": one_of("flat", *WAYS),
                "map": maybe(one_of(*MAPS)),
                "cell_mm": maybe(number(0.001, MAX_CELL_MM)),
                "paper": FLAG,
                "ink": FLAG,
                "smooth": FLAG,
                "speck_mm2": maybe(number(0, 100)),
                "join": many(PAIR, MAX_COLOURS),
                "keep": many(TEXT, MAX_COLOURS),
                "machine": maybe(NAME),
                "stock": maybe(NAME),
            },
        ),
        "artwork",
    ),
    Route("artwork/at", artwork_seen.look_at_place, record({"x_mm": MM, "y_mm": MM}, SEEN), "artwork", changes=False),
    Route("artwork/lost", artwork_seen.what_is_lost, place="artwork", changes=False),
    Route("artwork/others", artwork.other_settings, record({"number": whole(0, MAX_COLOURS)}, SEEN), "artwork"),
    Route("artwork/swap", artwork.swap, record({"choice": whole(0, 50)}, SEEN), "artwork"),
    Route(
        "artwork/picture",
        artwork_seen.picture,
        record({"which": one_of("wanted", "proof", "light", "heavy", "lost", "labels")}, {"rev": whole(0, 10**9)}),
        "artwork",
        changes=False,
        picture=True,
    ),
    Route(
        "artwork/crop",
        artwork_seen.crop,
        record(
            {"which": one_of("wanted", "proof"), "x_mm": MM, "y_mm": MM, "to_x_mm": MM, "to_y_mm": MM},
            {"rev": whole(0, 10**9)},
        ),
        "artwork",
        changes=False,
        picture=True,
    ),
    Route("artwork/full", artwork_made.start_full, record({}, SEEN), "artwork"),
    Route(
        "artwork/job",
        artwork_made.start_job,
        record({"hatch": FLAG, "trial": FLAG, "inset_spot": number(0, 0.5)}, SEEN),
        "artwork",
    ),
    Route("artwork/palette", artwork_made.save_palette, record({}, {"name": maybe(TEXT), **SEEN}), "artwork"),
    Route("setting/model", settings.choose_model, record({"model": NAME}), "setting"),
    Route(
        "setting/colour", settings.colour_of_setting, record({"model": NAME, "setting": settings.SETTING}), "setting"
    ),
    Route("setting/save", settings.save_setting, record({"model": NAME, "setting": settings.SETTING}), "setting"),
    Route("setting/find", settings.settings_of_colour, settings.FIND, "setting"),
    Route("stock/read", stock.read_readings, record({"file": NAME}, {"grid": maybe(NAME)}), "stock"),
    Route("stock/photo", stock.show_photo, record({"file": NAME}), "stock"),
    Route(
        "stock/photo/read",
        stock.start_photo,
        record(
            {"grid": NAME, "chart": one_of(*CHART_EDITIONS)},
            {"corners_px": maybe(many(many(number(0, 100_000), 2, 2), 4, 4))},
        ),
        "stock",
    ),
    Route(
        "stock/photo/picture",
        stock.photo_picture,
        record({}, {"rev": whole(0, 10**9)}),
        "stock",
        changes=False,
        picture=True,
    ),
    Route("stock/drop", stock.drop_patches, record({"patches": many(TEXT, 2000, 1), "drop": FLAG}), "stock"),
    Route(
        "check/judge",
        check.judge,
        record(
            {"palette": NAME, "strip": NAME},
            {"grid": maybe(NAME), "tolerance_de00": maybe(number(0.01, 50)), "remap": FLAG},
        ),
        "check",
    ),
    Route("check/record", check.record_strip, place="check"),
    Route("check/version", check.new_version, record({"way": one_of("accept", "correct")}), "check"),
    Route(
        "check/strip", check.strip_plate, record({"palette": NAME}, {"replicates": whole(1, MOST_REPLICATES)}), "check"
    ),
    Route("stock/patches", stock.save_patches, place="stock"),
    Route("stock/fit", stock.start_fit, record({"machine": NAME, "stock": NAME}, {"base": maybe(NAME)}), "stock"),
    Route("stock/model", stock.show_model, record({"model": NAME}), "stock"),
    Route("stock/palette", stock.make_palette, record({"model": NAME, "n": COUNT}, {"name": maybe(TEXT)}), "stock"),
    Route(
        "stock/next",
        stock.next_plate,
        record({"model": NAME, "n": whole(1, 400)}, {"toward": many(COLOUR, 12), "name": maybe(TEXT)}),
        "stock",
    ),
    Route(
        "stock/plate",
        stock.first_plate,
        record({"machine": NAME, "stock": NAME, "n": whole(1, 400)}, {"name": maybe(TEXT)}),
        "stock",
    ),
)
UPLOAD = record({"kind": one_of(*ENDINGS), "name": {"type": "string", "maxLength": 300}})  # query of /api/load
FETCH = record({"file": NAME})  # query of /api/fetch


def description() -> dict[str, Any]:
    """The interface as OpenAPI 3.1: what the page may send, from the same shapes the server checks."""
    paths: dict[str, Any] = {}
    answers = {
        "200": {"description": "done"},
        "400": {"description": "the data says no, one line"},
        "403": {"description": "not from the desk's own page"},
        "413": {"description": "too large"},
    }
    for route in ROUTES:
        what: dict[str, Any] = {"summary": (route.call.__doc__ or "").strip(), "responses": answers}
        if route.changes:
            what["requestBody"] = {"required": True, "content": {"application/json": {"schema": route.takes}}}
        else:
            what["parameters"] = [
                {"name": name, "in": "query", "required": name in route.takes["required"], "schema": schema}
                for name, schema in route.takes["properties"].items()
            ]
        paths[f"/api/{route.path}"] = {"post" if route.changes else "get": what}
    paths["/api/load"] = {
        "post": {
            "summary": "The file loaded, now on the desk.",
            "parameters": [
                {"name": name, "in": "query", "required": True, "schema": schema}
                for name, schema in UPLOAD["properties"].items()
            ],
            "requestBody": {
                "required": True,
                "content": {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}},
            },
            "responses": answers,
        }
    }
    paths["/api/fetch"] = {
        "get": {
            "summary": "The contents of a file that was made here.",
            "parameters": [
                {"name": name, "in": "query", "required": True, "schema": schema}
                for name, schema in FETCH["properties"].items()
            ],
            "responses": answers,
        }
    }
    return {"openapi": "3.1.0", "info": {"title": "tint desk", "version": "1"}, "paths": paths}
