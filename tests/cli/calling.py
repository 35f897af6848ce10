"""How the tests call a command, and what every refusal must look like."""

from click.testing import CliRunner

from tint.cli import main


def tint(*words):
    """Result of a command, run in this process."""
    return CliRunner().invoke(main, [str(word) for word in words])


def one_line(done, code):
    """The single line on stderr with which a command refused; nothing on stdout."""
    assert done.exit_code == code, done.output
    assert done.stdout == "" and done.stderr.count("\n") == 1 and done.stderr.startswith("tint: "), done.stderr
    return done.stderr
