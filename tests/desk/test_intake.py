"""Names the page gives never become places, and files are told by what is in them."""

from pathlib import Path, PurePosixPath, PureWindowsPath

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tint.desk.intake import DEPTH, ENDINGS, find_files, kind_of, limit_bytes, safe_name
from tint.desk.session import Session
from tint.errors import FileError


@pytest.mark.parametrize(
    ("given_name", "kept"),
    [
        ("../../../etc/heron.png", "heron.png"),
        ("..\\..\\windows\\heron.PNG", "heron.png"),
        ("/root/.ssh/heron.svg", "heron.svg"),
        ("heron.png:stream.png", "stream.png"),
        ("CON.png", "artwork-CON.png"),
        ("...png", "artwork.png"),
        (".png", "artwork.png"),
        ("a\x00b.svg", "b.svg"),
        ("kingfisher <script>.svg", "kingfisher -script.svg"),
        ("Eisvögel & Schilf.jpg", "Eisvögel - Schilf.jpg"),
        ("x" * 500 + ".tif", "x" * 60 + ".tif"),
        ("heron.tar.png", "heron-tar.png"),
    ],
)
def test_a_name_loses_everything_that_could_lead_elsewhere(given_name, kept):
    assert safe_name(given_name, "artwork") == kept


@given(st.text(max_size=120), st.sampled_from(sorted(ENDINGS)))
def test_any_name_becomes_one_safe_part_or_is_refused(text, kind):
    for name in (text, text + ENDINGS[kind][0]):
        try:
            safe = safe_name(name, kind)
        except FileError as error:
            assert "\n" not in str(error)
            continue
        assert PurePosixPath(safe).name == safe and PureWindowsPath(safe).name == safe and not safe.startswith(".")
        assert safe.isprintable() and len(safe.encode()) <= 255 and Path(safe).suffix in ENDINGS[kind]
        assert not set(safe) & set('/\\:*?"<>|\x00') and safe.strip() == safe


@pytest.mark.parametrize("name", ["heron.gif", "heron", "heron.png.exe", "heron.svg/", ""])
def test_an_ending_of_another_kind_is_refused(name):
    with pytest.raises(FileError, match="such a file ends in"):
        safe_name(name, "artwork")


def test_drawings_and_tables_may_be_smaller_than_pictures():
    assert limit_bytes("artwork", "a.svg") < limit_bytes("patches", "a.csv") < limit_bytes("artwork", "a.png")


def test_what_lies_in_the_shop_is_found_by_its_contents(shop):
    session = Session(shop)
    try:
        find_files(session)
        found = {(item.kind, item.name) for item in session.items}
    finally:
        session.close()
    for kind, name in (("palette", "palette.json"), ("model", "model.json"), ("machine", "machine.toml"), ("stock", "stock.toml"),
                       ("patches", "patches.csv"), ("grid", "plate-1/grid.json"), ("reading", "reading.csv")):  # fmt: skip
        assert (kind, f"simulated/{name}") in found
    assert not [name for _, name in found if name.endswith((".png", "job.json", "layers.json", "settings.csv"))]


def test_files_that_cannot_be_read_come_last_and_say_so(tmp_path, shop):
    place = shop / "simulated"
    for name in ("machine.toml", "stock.toml", "palette.json", "patches.csv"):
        text = (place / name).read_text(encoding="utf-8")
        for key in "az":
            (tmp_path / f"{key}-{name}").write_text(text, encoding="utf-8")
    (tmp_path / "a-machine.toml").write_text('name = "bench"\nmax_power_w = "30 W"\n', encoding="utf-8")
    (tmp_path / "a-palette.json").write_text('{"format": "tint-palette/2"}', encoding="utf-8")
    (tmp_path / "a-patches.csv").write_text("patch,power_pct,L,a,b\nA1,much,1,2,3\n", encoding="utf-8")
    session = Session(tmp_path)
    try:
        find_files(session)
        offered = {kind: [item.name for item in session.items if item.kind == kind] for kind in ("machine", "stock", "palette", "patches")}
    finally:
        session.close()
    assert offered.pop("stock") == ["a-stock.toml", "z-stock.toml"]
    for kind, ending in (("machine", "toml"), ("palette", "json"), ("patches", "csv")):
        assert offered[kind] == [f"z-{kind}.{ending}", f"a-{kind}.{ending} (cannot be read)"]


def test_folders_too_deep_hidden_ones_and_links_are_not_followed(tmp_path, shop):
    palette = (shop / "simulated" / "palette.json").read_text()
    deep = tmp_path.joinpath(*(["below"] * (DEPTH + 1)))
    for folder in (tmp_path / ".hidden", deep):
        folder.mkdir(parents=True)
        (folder / "palette.json").write_text(palette)
    outside = tmp_path.parent / f"{tmp_path.name}-outside.json"
    outside.write_text(palette)
    (tmp_path / "link.json").symlink_to(outside)
    (tmp_path / "mine.json").write_text(palette)
    session = Session(tmp_path)
    try:
        find_files(session)
        assert [item.name for item in session.items] == ["mine.json"]
    finally:
        session.close()


def test_a_file_of_something_else_is_not_listed(tmp_path):
    for name, text in (
        ("a.json", "{}"),
        ("b.json", "not json"),
        ("c.toml", "x = 1"),
        ("d.csv", "a,b\n1,2"),
        ("e.txt", "hello"),
        ("f.json", ""),
    ):
        (tmp_path / name).write_text(text)
        assert kind_of(tmp_path / name) == ""
