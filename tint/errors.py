"""What can go wrong, one small tree.

Every message is one line: what was found, what is allowed, what to do next. The command line prints it and leaves
with the error's `exit_code`; anything that is not a `TintError` is a defect of tint and shows its traceback.
"""


class TintError(Exception):
    """Something the operator can mend; the message says how. `exit_code` is what the command line returns."""

    exit_code = 1


class LimitError(TintError):
    """A number outside what the machine, the stock or physics allows."""


class DataError(TintError):
    """The data says no: too few patches, a colour out of reach, artwork that cannot be marked."""


class FileError(TintError):
    """A file that is missing, not of the kind expected, or already there."""

    exit_code = 2
