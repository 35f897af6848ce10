"""What the guide says tint says, tint says: every message it explains stands in the source."""

import ast
import re
from pathlib import Path

import tint
from tint.guide.pages import read_guide, read_page

SOURCE = Path(tint.__file__).parent
LEAST_SIGNS = 5


def spoken():
    """All text of the source's strings, places for values as one sign, pieces of one string joined."""
    texts = []
    for path in sorted(SOURCE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                texts.append(node.value)
            elif isinstance(node, ast.JoinedStr):
                texts.append("".join(part.value if isinstance(part, ast.Constant) else "¤" for part in node.values))
    return " ".join("\n".join(texts).split())


def explained():
    """(page, message) the guide explains: first columns of the page on trouble, and what is set in italics under "What can go wrong"."""
    for message in re.findall(r"^\| ([^|]+) \|", read_page("trouble").markdown, re.M):
        if message.strip("- ") and message != "it says":
            yield from (("trouble", one) for one in message.split(" · "))
    for page in read_guide():
        wrong = page.markdown.partition("## What can go wrong")[2]
        yield from ((page.name, one) for one in re.findall(r"(?<!\*)\*([^*]+)\*(?!\*)", wrong))


def longest_piece(message):
    """The longest part of a message that holds no value: what … and figures stand for changes."""
    return max((piece.strip(" .:,;") for piece in re.split(r"…|\d[\d.]*(?: [^\w\s])?|tint-[a-z]+|\(.*\)", message)), key=len)


def test_every_message_the_guide_explains_stands_in_the_source():
    said, found = spoken(), list(explained())
    foreign = {"command not found", "No space left on device"}  # of shell and system
    foreign |= {"OUT, beyond an action limit", "WATCH"}  # a verdict put together; the page on keeping a palette true runs one
    assert len(found) > 60
    wrong = [(page, message) for page, message in found
             if (piece := " ".join(longest_piece(message).split())) not in foreign and (len(piece) < LEAST_SIGNS or piece not in said)]  # fmt: skip
    assert not wrong


def test_a_message_that_is_nowhere_in_the_source_is_found_out():
    assert longest_piece("power 120 % is outside this machine") == "is outside this machine"
    assert "the laser is tired today" not in spoken()
