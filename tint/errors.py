"""What can go wrong, one small tree.

Every message is one line: what was found, what is allowed, what to do next. The command line prints it and leaves
with the error's `exit_code`; anything that is not a `TintError` is a defect of tint and shows its traceback.
"""


LONGEST = 1000  # signs of a message; names and values from a hostile file may have thousands


class TintError(Exception):
    """Something the operator can mend; the message says how. `exit_code` is what the command line returns.

    Names and values from files stand in messages, so signs that would break or repaint the line become question marks and the
    middle of what is too long is left out.

    Parameters
    ----------
    message : one line: what was found, what is allowed, what to do next

    Examples
    --------
    >>> str(TintError("stock 'a\\nb' is not known"))
    "stock 'a?b' is not known"
    """

    exit_code = 1

    def __init__(self, message: object = "") -> None:
        text = "".join(sign if sign.isprintable() else "?" for sign in str(message))
        kept = LONGEST * 7 // 10
        super().__init__(text if len(text) <= LONGEST else f"{text[:kept]} … {text[kept - LONGEST :]}")


class LimitError(TintError):
    """A number outside what the machine, the stock or physics allows."""


class DataError(TintError):
    """The data says no: too few patches, a colour out of reach, artwork that cannot be marked."""


class UseError(TintError):
    """What was typed cannot be read, whatever the files hold."""

    exit_code = 2


class FileError(TintError):
    """A file that is missing, not of the kind expected, or already there."""

    exit_code = 2
