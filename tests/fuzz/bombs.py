"""Small files that would grow: each is made and given to its command in this process, whose address space is limited.

`python tests/fuzz/bombs.py DEMO FOLDER` prints a line of JSON per bomb: name, exit code, message, seconds of processor time, memory
it added [MB]. All files are invented.
"""

from __future__ import annotations

import json
import struct
import sys
import time
import zlib
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

SVG = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" width="30mm" height="20mm" viewBox="0 0 300 200">{}</svg>'
LAUGHS = "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 12))
LIMIT_GB = 4.0


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png(width: int, height: int, *chunks: bytes, rows: int = 1) -> bytes:
    """A grey PNG that states a size and holds `rows` rows of zeros, with more chunks before its pixels."""
    pixels = zlib.compress(b"\0" * (rows * (width + 1)), 9)
    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + b"".join(chunks) + chunk(b"IDAT", pixels) + chunk(b"IEND", b"")


@lru_cache
def zeros(megabytes: int) -> bytes:
    """zlib stream of that many megabytes of zeros; a thousandth of it on disk."""
    packer = zlib.compressobj(9)
    return b"".join([*(packer.compress(b"\0" * 1_000_000) for _ in range(megabytes)), packer.flush()])


def tiff(*tags: tuple[int, int, int, int], rest: bytes = b"", next_directory: int = 0) -> bytes:
    """Little-endian TIFF of one directory; tags are (number, type, count, value or offset)."""
    rows = b"".join(struct.pack("<HHII", *tag) for tag in sorted(tags))
    return (
        b"II*\0" + struct.pack("<I", 8) + struct.pack("<H", len(tags)) + rows + struct.pack("<I", next_directory) + rest
    )


GREY = (
    (258, 3, 1, 8),
    (259, 3, 1, 1),
    (262, 3, 1, 1),
    (277, 3, 1, 1),
)  # bits, compression, photometric, samples of TIFF 6.0


def jpeg_of_size(shop: Path, width: int, height: int) -> bytes:
    """A small JPEG whose frame states another size."""
    import io

    from PIL import Image

    out = io.BytesIO()
    Image.new("RGB", (16, 16), (40, 80, 120)).save(out, "JPEG")
    data = bytearray(out.getvalue())
    place = data.index(b"\xff\xc0")
    data[place + 5 : place + 9] = struct.pack(">HH", height, width)
    return bytes(data)


def history(path: Path, sql: str) -> None:
    import sqlite3

    base = sqlite3.connect(path)
    base.executescript(sql + "; PRAGMA application_id = 1953066612; PRAGMA user_version = 1;")
    base.close()


ENDLESS = """CREATE VIEW {0} AS WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n) SELECT x AS id, 1 AS version, '' AS digest,
 '' AS parent, '' AS date, '' AS reason, '' AS strip, '' AS verdict, '' AS cause, 0 AS heat_pct, 0 AS heat_sd_pct, 0 AS watch_pct,
 0 AS out_pct, 0 AS ewma_pct, 0 AS ewma_limit_pct, 0 AS median_de00, 0 AS max_de00, 0 AS tolerance_de00, '[]' AS colours,
 '' AS patches, '' AS palette, 'none' AS line FROM n WHERE x < 0"""


def deep(kind: str, depth: int) -> str:
    return f"<{kind}>" * depth + '<rect width="9" height="9"/>' + f"</{kind}>" * depth


def uses(levels: int) -> str:
    doubled = "".join(
        f'<g id="u{n}"><use href="#u{n - 1}"/><use href="#u{n - 1}" x="1"/></g>' for n in range(1, levels)
    )
    return f'<defs><rect id="u0" width="2" height="2"/>{doubled}</defs><use href="#u{levels - 1}"/>'


def svg_bombs() -> dict[str, str]:
    """Drawings by name."""
    rect, many = '<rect width="9" height="9"/>', '<rect class="a" width="1" height="1"/>'
    out = {
        "entities that multiply": f'<!DOCTYPE svg [<!ENTITY a0 "ha">{LAUGHS}]>' + SVG.format("<text>&a11;</text>"),
        "a long entity said often": f'<!DOCTYPE svg [<!ENTITY a "{"x" * 50_000}">]>'
        + SVG.format(f"<text>{'&a;' * 20_000}</text>"),
        "an entity outside the file": '<!DOCTYPE svg [<!ENTITY a SYSTEM "file:///etc/passwd">]>'
        + SVG.format("<text>&a;</text>"),
        "a parameter entity outside the file": '<!DOCTYPE svg [<!ENTITY % a SYSTEM "http://127.0.0.1:9/x.dtd"> %a;]>'
        + SVG.format(rect),
        "groups nested deep": SVG.format(deep("g", 100_000)),
        "a use of itself": SVG.format('<g id="a"><use href="#a"/></g>'),
        "uses of each other": SVG.format('<g id="a"><use href="#b"/></g><g id="b"><use href="#a"/></g>'),
        "uses that double": SVG.format(uses(30)),
        "clip paths of each other": SVG.format(
            '<clipPath id="a" clip-path="url(#b)"><rect width="9" height="9"/></clipPath>'
            '<clipPath id="b" clip-path="url(#a)"><rect width="9" height="9"/></clipPath><rect clip-path="url(#a)" width="9" height="9"/>'
        ),
        "a huge path": SVG.format(f'<path d="M0 0{"L1 1 2 3" * 600_000}z"/>'),
        "a path of curves": SVG.format(f'<path d="M0 0{"A99 99 0 0 1 200 100 99 99 0 0 1 0 0" * 30_000}z"/>'),
        "a scribble that crosses itself": SVG.format(
            '<path stroke="#222" fill="#222" d="M0 0'
            + "".join(f"L{n * 7919 % 300} {n * 104729 % 200}" for n in range(4000))
            + '"/>'
        ),
        "dashes without end": SVG.format(
            '<path d="M0 0H300" stroke="#222" stroke-width="2" stroke-dasharray="0.000001 0.000001"/>'
        ),
        "nested selectors": SVG.format(f"<style>{':not(' * 3000}a{')' * 3000}{{fill:red}}</style>{rect}"),
        "selectors that go back over the tree": SVG.format(
            f"<style>{'g ' * 24}rect.x{{fill:red}} {'g ~ ' * 12}rect.x{{fill:red}}</style>"
            + "<g>" * 90
            + many * 2000
            + "</g>" * 90
        ),
        "selectors by siblings": SVG.format(f"<style>{'rect ~ ' * 9}g{{fill:red}}</style>" + many * 3000),
        "many rules for many elements": SVG.format("<style>" + ".a{fill:#222}" * 6000 + "</style>" + many * 6000),
        "a picture inside": SVG.format(
            f'<image width="30" height="20" xlink:href="data:image/png;base64,{"iVBORw0KGgo" * 300_000}"/>'
        ),
        "text of many lines": SVG.format(f"<text>{chr(10) * 1_000_000}</text>"),
        "remarks without number": SVG.format("<!---->" * 500_000 + rect),
        "elements without number": SVG.format("<g/>" * 250_000),
        "attributes without number": SVG.format("<rect " + " ".join(f'a{n}="1"' for n in range(100_000)) + "/>"),
        "transforms without number": SVG.format(f'<rect width="9" height="9" transform="{"rotate(1) " * 300_000}"/>'),
        "a number of a million digits": SVG.format(f'<rect width="{"9" * 1_000_000}" height="9"/>'),
        "a polygon of spaces": SVG.format(f'<polygon points="{" " * 5_000_000}1"/>'),
        "a style of brackets": SVG.format(f'<rect width="9" height="9" style="fill:{"(" * 300_000}"/>'),
        "a class of many words": SVG.format(
            f'<style>.a.b{{fill:red}}</style><rect width="9" height="9" class="{"a " * 1_000_000}"/>'
        ),
        "gradients of each other": SVG.format(
            '<linearGradient id="a" href="#b"/><linearGradient id="b" href="#a"/><rect width="9" height="9" fill="url(#a)"/>'
        ),
    }
    return out


def bombs(shop: Path) -> dict[str, tuple[str, Callable[[], bytes]]]:
    """File name and content by the name of each bomb."""
    out: dict[str, tuple[str, Callable[[], bytes]]] = {}

    def add(name: str, file: str, made: Callable[[], bytes]) -> None:
        out[name] = file, made

    for name, text in svg_bombs().items():
        add(f"SVG: {name}", "bomb.svg", lambda text=text: text.encode())
    cxf = '<?xml version="1.0"?><!DOCTYPE CxF [<!ENTITY a0 "ha">{}]><CxF xmlns="http://colorexchangeformat.com/CxF3-core">{}</CxF>'
    plain = '<?xml version="1.0"?><CxF xmlns="http://colorexchangeformat.com/CxF3-core">{}</CxF>'
    add("CxF: entities that multiply", "bomb.cxf", lambda: cxf.format(LAUGHS, "&a11;").encode())
    add(
        "CxF: an entity outside the file",
        "bomb.cxf",
        lambda: cxf.format('<!ENTITY a SYSTEM "file:///etc/passwd">', "&a;").encode(),
    )
    add("CxF: elements nested deep", "bomb.cxf", lambda: plain.format("<a>" * 100_000).encode())
    add("CxF: elements without number", "bomb.cxf", lambda: plain.format("<a/>" * 900_000).encode())
    add("CxF: text of many lines", "bomb.cxf", lambda: plain.format(f"<a>{chr(10) * 1_000_000}</a>").encode())
    add("PNG: 60,000 × 60,000 pixels", "bomb.png", lambda: png(60_000, 60_000))
    add("PNG: 2 thousand million pixels wide", "bomb.png", lambda: png(2**31 - 1, 1, rows=0))
    add("PNG: a colour profile of 200 MB", "bomb.png", lambda: png(8, 8, chunk(b"iCCP", b"x\0\0" + zeros(200)), rows=8))
    add("PNG: a text of 200 MB", "bomb.png", lambda: png(8, 8, chunk(b"zTXt", b"x\0\0" + zeros(200)), rows=8))
    add(
        "PNG: an international text of 200 MB",
        "bomb.png",
        lambda: png(8, 8, chunk(b"iTXt", b"x\0\1\0\0\0" + zeros(200)), rows=8),
    )
    add("PNG: texts without number", "bomb.png", lambda: png(8, 8, chunk(b"zTXt", b"x\0\0" + zeros(1)) * 300, rows=8))
    add(
        "PNG: 200 MB of pixels for eight rows",
        "bomb.png",
        lambda: png(8, 8).replace(b"IEND", b"IEND", 1)[:33] + chunk(b"IDAT", zeros(200)) + chunk(b"IEND", b""),
    )
    add(
        "TIFF: 60,000 × 60,000 pixels in one strip",
        "bomb.tif",
        lambda: tiff(
            (256, 4, 1, 60_000),
            (257, 4, 1, 60_000),
            (273, 4, 1, 8),
            (279, 4, 1, 4_000_000_000),
            (278, 4, 1, 60_000),
            *GREY,
        ),
    )
    add(
        "TIFF: 30,000 × 30,000 pixels in one strip",
        "bomb.tif",
        lambda: tiff(
            (256, 4, 1, 30_000),
            (257, 4, 1, 30_000),
            (273, 4, 1, 8),
            (279, 4, 1, 900_000_000),
            (278, 4, 1, 30_000),
            *GREY,
        ),
    )
    add(
        "TIFF: a tag of 4 thousand million values",
        "bomb.tif",
        lambda: tiff((256, 4, 1, 8), (257, 4, 1, 8), (273, 4, 2**32 - 1, 8), (279, 4, 2**32 - 1, 8), *GREY),
    )
    add(
        "TIFF: a profile of 4 GB",
        "bomb.tif",
        lambda: tiff(
            (256, 4, 1, 8),
            (257, 4, 1, 8),
            (273, 4, 1, 200),
            (279, 4, 1, 64),
            (34675, 7, 2**32 - 1, 8),
            *GREY,
            rest=b"\0" * 300,
        ),
    )
    add(
        "TIFF: a directory that follows itself",
        "bomb.tif",
        lambda: tiff(
            (256, 4, 1, 8),
            (257, 4, 1, 8),
            (273, 4, 1, 8),
            (279, 4, 1, 64),
            (278, 4, 1, 8),
            *GREY,
            rest=b"\0" * 100,
            next_directory=8,
        ),
    )
    add("JPEG: 65,000 × 65,000 pixels", "bomb.jpg", lambda: jpeg_of_size(shop, 65_000, 65_000))
    add("JPEG: 12,000 × 9,000 pixels in 600 bytes", "bomb.jpg", lambda: jpeg_of_size(shop, 12_000, 9_000))
    add("JSON: nested deep", "palette.json", lambda: b'{"format": "tint-palette/2", "name": ' + b"[" * 2_000_000)
    add(
        "JSON: names without number",
        "palette.json",
        lambda: json.dumps({"format": "tint-palette/2", **{f"n{n}": n for n in range(100_000)}}).encode(),
    )
    add(
        "JSON: a number of a million digits",
        "palette.json",
        lambda: b'{"format": "tint-palette/2", "name": ' + b"9" * 1_000_000 + b"}",
    )
    add(
        "JSON: a text of 70 MB",
        "palette.json",
        lambda: b'{"format": "tint-palette/2", "name": "' + b"9" * 70_000_000 + b'"}',
    )
    add(
        "JSON: a text of 30 MB",
        "palette.json",
        lambda: (
            (shop / "simulated" / "palette.json")
            .read_bytes()
            .replace(b'"remarks": [', b'"remarks": ["' + b"x" * 30_000_000 + b'",', 1)
        ),
    )
    add("TOML: nested deep", "machine.toml", lambda: b"name = " + b"[" * 200_000)
    add("TOML: a key of many parts", "machine.toml", lambda: b".".join([b"a"] * 30_000) + b" = 1")
    add("TOML: keys without number", "machine.toml", lambda: b"".join(b"k%d = 1\n" % n for n in range(60_000)))
    add("TOML: tables without number", "machine.toml", lambda: b"".join(b"[a.b%d]\n" % n for n in range(30_000)))
    add("CSV: a line of 100 MB", "patches.csv", lambda: b"patch,L,a,b\n" + b"x" * 100_000_000)
    add("CSV: a line of 50 MB", "patches.csv", lambda: b"patch,L,a,b\n" + b"x" * 50_000_000)
    add("CSV: 8 million columns", "patches.csv", lambda: b"a," * 8_000_000 + b"\n1,2\n")
    add(
        "CSV: 2,000 columns of 12,000 rows",
        "patches.csv",
        lambda: b",".join(b"c%d" % n for n in range(2000)) + b"\n" + (b"1" + b"," * 1999 + b"\n") * 12_000,
    )
    add(
        "CSV: facts without number",
        "patches.csv",
        lambda: b"".join(b"# k%d: 1\n" % n for n in range(100_000)) + b"patch,L,a,b\n",
    )
    add("CSV: a quote never closed", "patches.csv", lambda: b'patch,L,a,b\n"' + b"1,2,3\n" * 3_000_000)
    add(
        "reading: 2,000 columns of 4,000 rows",
        "reading.csv",
        lambda: (
            b",".join([b"patch", b"L", b"a", *(b"c%d" % n for n in range(1997))])
            + b"\n"
            + (b"A01,1" + b"," * 1998 + b"\n") * 4_000
        ),
    )
    add(
        "CGATS: fields without number",
        "reading.txt",
        lambda: (
            b"CGATS.17\nBEGIN_DATA_FORMAT\n" + b"LAB_L " * 2_000_000 + b"\nEND_DATA_FORMAT\nBEGIN_DATA\n1\nEND_DATA\n"
        ),
    )
    add(
        "CGATS: keywords without number",
        "reading.txt",
        lambda: b"CGATS.17\n" + b"".join(b'KEYWORD "K%d"\n' % n for n in range(600_000)),
    )
    add("CGATS: a line of 15 MB", "reading.txt", lambda: b'CGATS.17\nORIGINATOR "' + b"x" * 15_000_000 + b'"\n')
    add("history: not a database", "palette-history.sqlite", lambda: b"x" * 5_000_000)
    return out


def words(file: str, path: Path, shop: Path, out: Path) -> list[object]:
    """The command that reads a file of this name."""
    place, palette = shop / "simulated", shop / "simulated" / "palette.json"
    if file.endswith((".svg", ".png", ".tif", ".jpg")):
        return ["separate", path, palette, *(() if file.endswith(".svg") else ("--width-mm", 4)), "-o", out / "layers"]
    return {
        "palette.json": ["swatches", path, "-o", out / "swatches"],
        "machine.toml": ["grid", path, "--stock", place / "stock.toml", "-n", 12, "-o", out / "plate"],
        "patches.csv": ["check", palette, path, "--no-record"],
        "reading.csv": ["measure", place / "plate-1", path, "-o", out / "patches.csv"],
        "reading.txt": ["measure", place / "plate-1", path, "--kind", "cgats", "-o", out / "patches.csv"],
        "bomb.cxf": ["measure", place / "plate-1", path, "--kind", "cxf", "-o", out / "patches.csv"],
        "palette-history.sqlite": ["history", path.with_name("palette.json")],
    }[file]


def peak_mb(begin: bool = False) -> float:
    """Peak of resident memory since `begin` [MB]; 0 where the system does not tell."""
    try:
        if begin:
            Path("/proc/self/clear_refs").write_text("5")
        return (
            next(
                int(line.split()[1])
                for line in Path("/proc/self/status").read_text().splitlines()
                if line.startswith("VmHWM")
            )
            / 1e3
        )
    except (OSError, StopIteration):
        return 0.0


def main(shop: Path, folder: Path, only: str = "") -> None:
    import resource
    import shutil

    from good_shop import run

    run(
        "separate", shop / "artwork" / "kingfisher.svg", shop / "simulated" / "palette.json", "-o", folder / "warm"
    )  # libraries are loaded
    resource.setrlimit(resource.RLIMIT_AS, (int(LIMIT_GB * 1e9),) * 2)
    special = {
        "history: a view without end": ENDLESS.format("versions") + ";" + ENDLESS.format("checks"),
        "history: a value of 200 MB": "CREATE TABLE versions (x); INSERT INTO versions VALUES (zeroblob(200000000))",
    }
    for name, (file, made) in {**bombs(shop), **{name: ("palette-history.sqlite", bytes) for name in special}}.items():
        if only not in name:
            continue
        place = folder / "bomb"
        out = place / "out"
        shutil.rmtree(place, ignore_errors=True)
        out.mkdir(parents=True)
        path = place / file
        if name in special:
            shutil.copy(shop / "simulated" / "palette.json", place)
            history(path, special[name])
        else:
            path.write_bytes(made())
            if file == "palette-history.sqlite":
                shutil.copy(shop / "simulated" / "palette.json", place)
        start, began = peak_mb(begin=True), time.process_time()
        done = run(*words(file, path, shop, out))
        spent, grown = time.process_time() - began, peak_mb() - start
        trace = "" if done.exception is None or isinstance(done.exception, SystemExit) else repr(done.exception)[:300]
        left = sorted(item.name for item in out.iterdir())
        print(
            json.dumps(
                {
                    "name": name,
                    "exit": done.exit_code,
                    "said": done.stderr[:1500],
                    "trace": trace,
                    "seconds": spent,
                    "grown_mb": grown,
                    "left": left,
                }
            ),
            flush=True,
        )


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), *sys.argv[3:])
