"""The interface as a page, or somebody with the token, may use and misuse it."""

import io
import itertools
import json
import zipfile
from urllib.parse import urlencode

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from tint.desk.routes import ROUTES
from tint.job.record import read_job
from tint.lab import delta_e00
from tint.measure.patches import read_patches
from tint.model.model import read_model
from tint.palette.palette import read_palette
from tint.plan.first import plan_grid
from tint.plan.grid import write_grid
from tint.setting import Machine, Stock


def png(width=40, height=30):
    out = io.BytesIO()
    ramp = np.linspace(0, 255, width * height * 3).reshape(height, width, 3).astype(np.uint8)
    Image.fromarray(ramp).save(out, "PNG")
    return out.getvalue()


def test_a_file_loaded_is_read_by_the_librarys_own_reader(desk, shop):
    status, item = desk.load("palette", "mine.json", (shop / "simulated/palette.json").read_bytes())
    assert status == 200 and item["kind"] == "palette" and item["name"] == "mine.json"
    status, answer = desk.load("palette", "mine.json", (shop / "simulated/model.json").read_bytes())
    assert (
        status == 400
        and "tint-model file; a tint-palette file is needed" in answer["error"]
        and "/" not in answer["error"].split(":")[0]
    )


@pytest.mark.parametrize(
    ("kind", "name", "data", "status", "said"),
    [
        ("artwork", "a.gif", b"GIF89a", 400, "such a file ends in"),
        ("artwork", "a.png", b"", 400, "is empty"),
        ("model", "a.json", b"{", 400, "not a file tint wrote"),
        ("machine", "a.toml", b"max_power_w = 'x", 400, "not valid TOML"),
        ("patches", "a.csv", b"\xff\xfe\x00", 400, "not UTF-8"),
        ("nonsense", "a.csv", b"x", 400, "one of"),
    ],
)
def test_what_cannot_be_used_is_refused_in_one_line(desk, kind, name, data, status, said):
    found, answer = desk.load(kind, name, data)
    assert found == status and said in answer["error"] and "\n" not in answer["error"] and "/tmp" not in answer["error"]


def test_uploads_beyond_the_limit_are_refused_by_what_they_say_and_by_what_comes(desk):
    headers = {**desk.own, "content-type": "application/octet-stream"}
    path = "/api/load?kind=artwork&name=a.svg"
    status, _, said = desk.raw("POST", path, {**headers, "content-length": "999999999999"}, b"")
    assert status == 413 and b"30 MB" in said
    parts = (b"x" * 1_000_000 for _ in range(40))
    try:
        status, _, said = desk.raw("POST", path, headers, parts)  # chunked: no length stated
    except (BrokenPipeError, ConnectionResetError):
        return  # hung up on, as it may be
    assert status == 413


def test_a_request_that_is_no_file_is_small(desk):
    status, answer = desk.ask("POST", "artwork/open", b'{"file": "' + b"a" * 1_100_000 + b'"}')
    assert status == 413 and "1 MB" in answer["error"]


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("artwork/open", b'{"file": "artwork-1", "width_mm": 1' + b"0" * 400 + b"}"),  # beyond every float
        ("stock/next", b'{"model": "model-1", "n": 1' + b"0" * 400 + b"}"),
    ],
)
def test_a_number_beyond_all_bounds_is_refused_in_a_line(desk, path, body):
    status, answer = desk.ask("POST", path, body)
    assert status == 400 and "it lies between" in answer["error"] and len(answer["error"]) < 120


def test_a_job_is_of_the_piece_the_window_shows_or_not_written(desk):
    _, item = desk.load("artwork", "two.png", png())
    desk.post("artwork/open", file=item["id"], width_mm=20)
    seen = desk.post("artwork/try", palette=desk.files("palette")["simulated/palette.json"], colours=5)["rev"]
    desk.post("artwork/try", colours=3)  # by another window
    for path, values in (
        ("artwork/job", {"hatch": False, "trial": True, "inset_spot": 0}), ("artwork/full", {}), ("artwork/palette", {}),
        ("artwork/others", {"number": 1}), ("artwork/swap", {"choice": 0}),
    ):  # fmt: skip
        status, answer = desk.ask("POST", path, json.dumps({**values, "rev": seen}))
        assert status == 400 and "changed in another window" in answer["error"], path
    status, answer = desk.ask("GET", f"artwork/at?x_mm=1&y_mm=1&rev={seen}")
    assert status == 400 and "changed in another window" in answer["error"]


@pytest.mark.parametrize(
    "name",
    [
        "../../../../tmp/evil.png",
        "..\\..\\evil.png",
        "/etc/cron.d/evil.png",
        "%2e%2e%2fevil.png",
        "evil.png\x00.svg.png",
    ],
)
def test_a_name_that_leads_elsewhere_leads_nowhere(desk, name):
    status, item = desk.load("artwork", name, png())
    assert (status == 200 and item["name"].endswith("evil.png")) or item["name"] == "svg.png" or "-" in item["name"]
    assert "/" not in item["name"] and "\\" not in item["name"] and ".." not in item["name"]


@pytest.mark.parametrize("id", ["../x", "/etc/passwd", "..%2f..%2fetc%2fpasswd", "palette-1/../x", "", "a" * 100])
def test_a_file_is_fetched_by_an_id_of_the_desk_or_not_at_all(desk, id):
    status, _, said = desk.raw("GET", f"/api/fetch?file={id}", desk.own)
    assert status == 400 and b"root:" not in said


def test_files_found_in_the_folder_cannot_be_fetched(desk):
    found = next(file for file in desk.get("state")["files"] if file["source"] == "found")
    status, answer = desk.ask("GET", f"fetch?file={found['id']}")
    assert status == 400 and "was not made here" in answer["error"]


def test_a_drawing_with_a_script_is_never_handed_back_as_a_drawing(desk):
    evil = b'<svg xmlns="http://www.w3.org/2000/svg" width="20mm" height="20mm" onload="alert(1)"><script>alert(2)</script>' \
           b'<rect width="10" height="10" fill="#4466aa" onclick="alert(3)"/></svg>'  # fmt: skip
    status, item = desk.load("artwork", "evil.svg", evil)
    assert status == 200
    status, answer = desk.ask("POST", "artwork/open", json.dumps({"file": item["id"]}))
    if status == 200:  # the reader drops what draws nothing; what comes back is pixels
        _, headers, data = desk.raw("GET", "/api/artwork/picture?which=wanted", desk.own)
        assert headers["content-type"] == "image/png" and data.startswith(b"\x89PNG")
    else:
        assert "\n" not in answer["error"]
    assert desk.ask("GET", f"fetch?file={item['id']}")[0] == 400
    entity = (
        b'<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/passwd">]>'
        b'<svg xmlns="http://www.w3.org/2000/svg" width="9mm" height="9mm"><text>&x;</text></svg>'
    )
    _, item = desk.load("artwork", "entity.svg", entity)
    status, answer = desk.ask("POST", "artwork/open", json.dumps({"file": item["id"]}))
    assert status == 400 and "root:" not in answer["error"]


def test_what_is_made_here_is_read_back_by_the_library(desk, tmp_path):
    _, item = desk.load("artwork", "heron.png", png())
    desk.post("artwork/open", file=item["id"], width_mm=20)
    shown = desk.post("artwork/try", palette=desk.files("palette")["simulated/palette.json"], colours=4)
    assert len(shown["result"]["palette"]["colours"]) == 4 and shown["result"]["cautions"]
    work = desk.finished(desk.post("artwork/job", hatch=False, trial=True, inset_spot=0))
    assert work["state"] == "done", work["error"]
    packed = tmp_path / "job.zip"
    packed.write_bytes(desk.ask("GET", f"fetch?file={work['answer']['file']['id']}")[1])
    zipfile.ZipFile(packed).extractall(tmp_path)
    job = read_job(tmp_path / "heron-job")
    assert job.name == "heron" and job.width_mm == 20 and job.trial is not None
    assert {layer.name for layer in job.layers} <= {colour["name"] for colour in shown["result"]["palette"]["colours"]}


def test_patches_model_and_palette_come_back_as_they_are_shown(desk, shop, tmp_path):
    machine, stock = desk.files("machine")["simulated/machine.toml"], desk.files("stock")["simulated/stock.toml"]
    rows = (shop / "simulated/patches.csv").read_text().splitlines()
    start = next(i for i, line in enumerate(rows) if line.startswith("patch,"))
    some = "\n".join(rows[: start + 29]) + "\n"  # fewer patches, a faster fit
    _, item = desk.load("patches", "few.csv", some.encode())
    desk.post("stock/read", file=item["id"])
    shown = desk.post("stock/drop", patches=[rows[start + 1].split(",")[0]], drop=True)
    assert sum(bool(patch["flag"]) for patch in shown["patches"]) >= 1
    saved = desk.post("stock/patches")
    path = tmp_path / "patches.csv"
    path.write_bytes(desk.ask("GET", f"fetch?file={saved['id']}")[1])
    assert "dropped on the desk" in read_patches(path).flags
    work = desk.finished(desk.post("stock/fit", machine=machine, stock=stock))
    assert work["state"] == "done", work["error"]
    path = tmp_path / "model.json"
    path.write_bytes(desk.ask("GET", f"fetch?file={work['answer']['file']['id']}")[1])
    model = read_model(path)
    report = desk.get("state")["places"]["stock"]["model"]["report"]
    assert report["patches"] == model.report.patches and report["median_de00"] == round(
        model.report.scores[0].median_de00, 1
    )
    shown = desk.post("stock/palette", model=work["answer"]["file"]["id"], n=5, name="reeds")
    path = tmp_path / "palette.json"
    path.write_bytes(desk.ask("GET", f"fetch?file={shown['palette']['file']['id']}")[1])
    assert [colour.name for colour in read_palette(path).colours] == [
        colour["name"] for colour in shown["palette"]["colours"]
    ]


def test_too_few_patches_are_refused_by_the_fit_itself(desk, shop):
    rows = (shop / "simulated/patches.csv").read_text().splitlines()
    start = next(i for i, line in enumerate(rows) if line.startswith("patch,"))
    _, item = desk.load("patches", "seven.csv", "\n".join(rows[: start + 8]).encode())
    desk.post("stock/read", file=item["id"])
    machine, stock = desk.files("machine")["simulated/machine.toml"], desk.files("stock")["simulated/stock.toml"]
    work = desk.finished(desk.post("stock/fit", machine=machine, stock=stock))
    assert work["state"] == "failed" and "a fit needs 12" in work["error"]


def test_a_photo_of_a_grid_is_read_by_its_marks_and_by_its_corners(desk, tmp_path):
    from photo_scene import View, film_reflectances, save, take

    laser = Machine("bench", 60, [2, 500], [1, 4000], 10000, [175, 175], spot_um=60)
    grid = plan_grid(laser, Stock("plate", "304", "2B", 1.5, [100, 100]), 24, seed=1)
    view = View(light="D65", size_px=(1200, 800))
    shot = take(grid, film_reflectances(len(grid)), view)  # simulated
    save(shot, tmp_path / "plate.png", view)
    write_grid(grid, tmp_path / "grid.json")
    _, grid_item = desk.load("grid", "grid.json", (tmp_path / "grid.json").read_bytes())
    _, item = desk.load("photo", "plate.png", (tmp_path / "plate.png").read_bytes())
    shown = desk.post("stock/photo", file=item["id"])
    assert shown["photo"]["size_px"] == [1200, 800] and not shown["photo"]["read"]
    corners = shot.px(np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * np.array(grid.plate_mm))
    for said in (None, corners.tolist()):
        work = desk.finished(
            desk.post("stock/photo/read", grid=grid_item["id"], chart="before-nov-2014", corners_px=said)
        )
        assert work["state"] == "done", work["error"]
        shown = desk.get("state")["places"]["stock"]
        assert np.abs(np.array(shown["photo"]["corners_px"]) - corners).max() < 3
        assert [patch["id"] for patch in shown["patches"]] == list(grid.ids)
        away = delta_e00(np.array([patch["lab"] for patch in shown["patches"]]), shot.lab)
        assert np.median(away) < 4  # the photo route has its own tests; here the right patches must have come
    overlay = desk.ask("GET", "stock/photo/picture?rev=1")[1]
    assert Image.open(io.BytesIO(overlay)).format == "PNG"
    status, answer = desk.ask("POST", "stock/photo", json.dumps({"file": grid_item["id"]}))
    assert status == 400 and "a photo file is needed" in answer["error"]


# ---- fuzz: whatever fits the described shapes, and much that does not, gets an answer in one line

QUICK = [
    route for route in ROUTES if route.path not in ("artwork/full", "artwork/job", "stock/fit", "stock/photo/read")
]  # those start processes


KIND_OF = {
    "file": "artwork",
    "strip": "patches",
    "base": "model",
}  # of the file a field names, where it is not the field's name


def values_of(schema, ids, name=""):
    """Values of a shape, mostly with files of the right kind that are on the desk; now and then something else."""
    if "anyOf" in schema:
        return st.none() | values_of(schema["anyOf"][0], ids, name)
    kind = schema["type"]
    if kind == "object":
        needed = {field: values_of(schema["properties"][field], ids, field) for field in schema["required"]}
        rest = {
            field: values_of(each, ids, field) for field, each in schema["properties"].items() if field not in needed
        }
        return st.fixed_dictionaries(needed, optional=rest)
    if kind == "array":
        least, most = schema["minItems"], min(schema["maxItems"], 4)
        return st.lists(values_of(schema["items"], ids, name), min_size=least, max_size=most)
    if kind == "boolean":
        return st.booleans()
    if kind == "integer":
        return st.integers(schema["minimum"], min(schema["maximum"], 30))
    if kind == "number":
        low, high = schema["minimum"], schema["maximum"]
        return st.floats(low, high) | st.floats(max(low, 0.5), max(0.5, min(high, 90)))
    if "enum" in schema:
        return st.sampled_from(schema["enum"])
    if schema.get("pattern"):
        right = st.sampled_from(ids.get(KIND_OF.get(name, name)) or ["palette-1"])
        any_of_them = st.sampled_from(list(itertools.chain(*ids.values())))
        return right | right | any_of_them | st.text("abcdefghijklmnopqrstuvwxyz0123456789-", max_size=12)
    return st.sampled_from(["#4466aa", "blue", "bare metal", "light orange", "B03"]) | st.text(
        max_size=schema["maxLength"]
    )


NOISE = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.text(max_size=4), inner, max_size=2),
    max_leaves=4,
)


# Routes that any values of their shape and the right files answer with what was asked for
SURE = {"state", "artwork/open", "artwork/try", "artwork/picture", "artwork/lost", "artwork/palette", "setting/model",
        "stock/model", "stock/palette", "stock/next", "check/strip"}  # fmt: skip


@pytest.mark.parametrize("route", QUICK, ids=lambda route: route.path)
def test_no_call_breaks_the_desk(desk, shop, route):
    _, item = desk.load("artwork", "fuzz.png", png())
    desk.post("artwork/open", file=item["id"], width_mm=15)
    desk.post("artwork/try", palette=desk.files("palette")["simulated/palette.json"])
    ids = {}
    for file in desk.get("state")["files"]:
        if file["kind"] != "artwork" or file["id"] == item["id"]:
            ids.setdefault(file["kind"], []).append(file["id"])
    takes = route.takes
    heavy = route.path in SURE | {"artwork/others", "setting/colour", "stock/plate", "check/judge"}
    answered = set()

    @settings(max_examples=6 if heavy else 10, suppress_health_check=list(HealthCheck), derandomize=True)
    @given(values_of(takes, ids) | st.dictionaries(st.sampled_from([*takes["properties"], "x"]), NOISE, max_size=3))
    def any_call(values):
        if route.changes:
            status, answer = desk.ask("POST", route.path, json.dumps(values))
        else:
            status, answer = desk.ask(
                "GET", f"{route.path}?{urlencode({name: str(value) for name, value in values.items()})}"
            )
        assert status in (200, 400), (route.path, values, status, answer)
        answered.add(status)
        if status == 400:
            assert set(answer) == {"error"} and "\n" not in answer["error"]
            assert "Traceback" not in answer["error"] and "/tmp" not in answer["error"]

    any_call()
    assert 200 in answered or route.path not in SURE


@settings(max_examples=30, derandomize=True)
@given(
    st.sampled_from([route for route in ROUTES if route.changes]),
    st.binary(max_size=60)
    | st.sampled_from([b"[" * 100_000, b'{"a":' * 50_000, b"NaN", b"1e999", b'"\\ud800"', b'{"file":"a","file":"b"}']),
)
def test_no_body_breaks_the_desk(desk, route, body):
    status, answer = desk.ask("POST", route.path, body)
    assert status in (200, 400) and (status == 200 or "\n" not in answer["error"])


def test_a_large_drawing_is_read_aside_can_be_stopped_and_is_resized_at_once(desk, shop):
    small = (shop / "artwork/kingfisher.svg").read_text(encoding="utf-8")
    large = small.replace("</svg>", f"<!-- {'reed ' * 80_000} --></svg>")  # counts by its bytes
    _, before = desk.load("artwork", "small.svg", small.encode())
    known = desk.post("artwork/open", file=before["id"])
    _, item = desk.load("artwork", "large.svg", large.encode())
    work = desk.post("artwork/open", file=item["id"])["work"]
    assert work["state"] == "running" and work["what"] == "opening the drawing"
    assert desk.post("work/stop", work=work["id"])["state"] == "stopped"
    assert desk.get("state")["places"]["artwork"]["file"] == before["id"]  # what was there stays
    work = desk.finished(desk.post("artwork/open", file=item["id"])["work"])
    assert work["state"] == "done", work["error"]
    now = desk.get("state")["places"]["artwork"]
    assert now["file"] == item["id"] and (now["width_mm"], now["height_mm"]) == (known["width_mm"], known["height_mm"])
    tried = desk.post("artwork/try", palette=desk.files("palette")["simulated/palette.json"])
    half = desk.post("artwork/open", file=item["id"], width_mm=known["width_mm"] / 2)
    assert half["width_mm"] == pytest.approx(known["width_mm"] / 2) and "work" not in half
    again = desk.post("artwork/try", palette=desk.files("palette")["simulated/palette.json"])
    area, quarter = (sum(row["area_mm2"] for row in one["result"]["layers"]) for one in (tried, again))
    assert quarter == pytest.approx(area / 4, rel=0.01)
