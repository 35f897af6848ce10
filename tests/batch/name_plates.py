"""Invented name plates of a nature reserve, and work that misbehaves, for the tests of batches."""

import os
import tempfile
import time

NAMES = ("kingfisher", "heron", "grebe", "dipper", "wren", "plover", "teal", "curlew")


class Here:
    """Engine that works in this process: quick for tests that are not about processes."""

    def run(self, work, items, shared):
        for item in items:
            yield item, work(item, shared)


def name_plate(number, width_mm=30, height_mm=10):
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width_mm}mm" height="{height_mm}mm" viewBox="0 0 {width_mm} {height_mm}">'
        f'<rect width="{width_mm}" height="{height_mm}" fill="#2e4f78"/><circle cx="5" cy="5" r="3" fill="#d8b25a"/>'
        f'<rect x="{10 + number}" y="4" width="{3 + number}" height="2" fill="#7a3b6a"/></svg>'
    )


def write_plates(folder, count=8):
    folder.mkdir(parents=True, exist_ok=True)
    for number, name in enumerate(NAMES[:count]):
        (folder / f"{name}.svg").write_text(name_plate(number), encoding="utf-8")
    return folder


def double_or_die(item, shared):
    """Twice the item; the unlucky one kills its worker, as the system does when memory runs out."""
    if item == shared:
        os._exit(9)
    return item * 2


def double_or_die_once(item, shared):
    """Twice the item; the first worker to see the unlucky one dies of it and leaves a note."""
    unlucky, note = shared
    if item == unlucky and not os.path.exists(note):
        with open(note, "w", encoding="utf-8"):
            pass
        os._exit(9)
    return item * 2


def who_am_i(item, shared):
    time.sleep(shared)
    return os.getpid()


def slow_note(item, shared):
    """The item, noted once it is done; all but the first take their time, in a temporary folder."""
    with tempfile.TemporaryDirectory(dir=shared, prefix="half"):
        time.sleep(3 if item > 1 else 0)
        with open(os.path.join(shared, f"done {item}"), "w", encoding="utf-8"):
            return item


def raise_for(item, shared):
    if item == shared:
        raise ValueError("not this one")
    return item


def die_once(item, given):
    """The work on the item; the first worker to see any dies of it and leaves a note."""
    work, shared, note = given
    if not os.path.exists(note):
        with open(note, "w", encoding="utf-8"):
            pass
        os._exit(9)
    return work(item, shared)
