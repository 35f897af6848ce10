"""A table of widths and copies: used where it fits the artworks, refused by line where it does not."""

import dataclasses

import pytest
from name_plates import NAMES, Here, write_plates

from tint.batch.run import Packing, run_batch
from tint.batch.sizes import Size, read_sizes
from tint.batch.task import Order
from tint.errors import FileError
from tint.job.job import read_job
from tint.palette.palette import read_palette


@pytest.fixture(scope="module")
def order(shop):
    palette = read_palette(shop / "simulated" / "palette.json")
    return Order(palette, palette.machine)


def test_an_artwork_takes_its_own_width_and_changes_when_the_table_does(order, tmp_path):
    folder = write_plates(tmp_path / "plates", 2)
    table = tmp_path / "sizes.csv"
    table.write_text(f"file;width_mm\n{NAMES[0]}.svg;12,5\n{NAMES[1]}.svg;\n", encoding="utf-8")  # as offices write them
    run_batch(folder, tmp_path / "out", order, engine=Here(), sizes=table)
    assert [read_job(tmp_path / "out" / "jobs" / name).width_mm for name in NAMES[:2]] == [12.5, 30]
    table.write_text(f"file,width_mm\n{NAMES[0]}.svg,14\n", encoding="utf-8")
    assert run_batch(folder, tmp_path / "out", order, engine=Here(), sizes=table).kept == 1
    assert read_job(tmp_path / "out" / "jobs" / NAMES[0]).width_mm == 14


def test_copies_of_a_piece_are_packed_each_with_a_place_of_its_own(order, tmp_path):
    folder = write_plates(tmp_path / "plates", 2)
    table = tmp_path / "sizes.csv"
    table.write_text(f"file,width_mm,copies\n{NAMES[0]}.svg,20,5\n", encoding="utf-8")
    packed = dataclasses.replace(order, layers_only=True)
    done = run_batch(folder, tmp_path / "out", packed, engine=Here(), packing=Packing(), sizes=table)
    assert sorted(one.name for one in done.placed) == sorted([NAMES[0]] * 5 + [NAMES[1]])
    assert len({(one.plate, one.x_mm, one.y_mm) for one in done.placed}) == 6 and not done.failed
    assert len((tmp_path / "out" / "placed.csv").read_text(encoding="utf-8").splitlines()) == 7


@pytest.mark.parametrize("header", ["File,Width_mm,COPIES", "file,width_mm,copies,", "FILE;WIDTH_MM;Copies"])
def test_columns_are_read_in_capitals_or_not_and_an_empty_last_one_is_passed_over(tmp_path, header):
    cells = ["heron.svg", "20", "3", ""][: 1 + header.count(",") + header.count(";")]
    (tmp_path / "sizes.csv").write_text(f"{header}\n{(';' if ';' in header else ',').join(cells)}\n", encoding="utf-8")
    read = read_sizes(tmp_path / "sizes.csv", {"heron": tmp_path / "heron.svg"}, tmp_path)
    assert read == {"heron": Size(20.0, 3)}


def test_copies_without_packing_are_told_to_count_with_it_only(order, tmp_path):
    folder, told = write_plates(tmp_path / "plates", 1), []
    table = tmp_path / "sizes.csv"
    table.write_text(f"file,width_mm,copies\n{NAMES[0]}.svg,12,6\n", encoding="utf-8")
    done = run_batch(folder, tmp_path / "out", order, engine=Here(), sizes=table, progress=told.append)
    assert not done.failed and read_job(tmp_path / "out" / "jobs" / NAMES[0]).width_mm == 12
    assert sum(line.startswith("copies count with --pack only") for line in told) == 1
    table.write_text(f"file,width_mm,copies\n{NAMES[0]}.svg,12,1\n", encoding="utf-8")
    told.clear()
    run_batch(folder, tmp_path / "out", order, engine=Here(), sizes=table, progress=told.append)
    assert not told


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("file,width_mm\nosprey.svg,20\n", r"line 2, column file: 'osprey.svg' is not an artwork of .*; write it as in summary.csv"),
        ("file,width_mm\nheron.svg,20\nheron.svg,30\n", "line 3, column file: 'heron.svg' stands here twice"),
        ("file,width_mm\nheron.svg,-2\n", "line 2, column width_mm: -2 cannot be"),
        ("file,width_mm\nheron.svg,wide\n", "line 2, column width_mm: 'wide' is not a number"),
        ("file,copies\nheron.svg,1.5\n", "line 2, column copies: 1.5 cannot be"),
        ("artwork,width_mm\nheron.svg,20\n", "line 1: column file is missing"),
        ("file,width_in\nheron.svg,20\n", "line 1: column 'width_in' has a unit tint does not read; convert it to width_mm"),
        ("file,width\nheron.svg,20\n", "line 1: column 'width' is not known; there can be file, width_mm, copies. Rename or drop it"),
        ("File;Width_mm;Breite\nheron.svg;20;20\n", "line 1: column 'Breite' is not known"),
        ("file,width_mm,Width_MM\nheron.svg,20,20\n", "line 1: column width_mm is there twice"),
    ],
)
def test_a_table_that_does_not_fit_is_refused_in_one_line(tmp_path, text, said):
    (tmp_path / "sizes.csv").write_text(text, encoding="utf-8")
    with pytest.raises(FileError, match=said) as refused:
        read_sizes(tmp_path / "sizes.csv", {"heron": tmp_path / "heron.svg"}, tmp_path)
    assert "\n" not in str(refused.value)
