"""Work for the tests of long work: functions a fresh process can find."""

import os
import time

from tint.errors import DataError


def count(progress, n):
    for i in range(n):
        progress(f"step {i + 1}")
    return {"counted": n}


def refuse(progress, where):
    progress("looking")
    raise DataError(f"{where}/patches.csv: only 7 good patches")


def sleep(progress, path):
    progress("asleep")
    with open(path, "w", encoding="utf-8") as stream:
        stream.write(str(os.getpid()))
    time.sleep(60)
    return {}


def vanish(progress):
    progress("about to go")
    time.sleep(0.05)
    os._exit(9)
