"""A job folder of one file, for the tests of writing."""

from tint.files.write import new_folder


def names(folder):
    return sorted(item.name for item in folder.iterdir())


def job(path, text, *, force=False):
    with new_folder(path, "job", force=force) as place:
        (place / "job.json").write_text(text)
