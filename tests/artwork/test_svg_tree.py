"""The parsed tree and the cascade: weights worked out by hand from CSS, section by section."""

import pytest

from tint.artwork.svg_tree import Refusals, computed, read_tree
from tint.errors import FileError

SVG = "http://www.w3.org/2000/svg"


@pytest.fixture
def tree(tmp_path):
    """Function that gives the root node of an SVG text."""

    def reading(body):
        path = tmp_path / "sign.svg"
        path.write_text(f'<svg xmlns="{SVG}" xmlns:xlink="http://www.w3.org/1999/xlink">\n{body}</svg>')
        refusals = Refusals(str(path))
        root = read_tree(path, refusals)
        refusals.raise_if_any()
        return root

    return reading


@pytest.mark.parametrize(
    ("sheet", "attributes", "fill"),
    [
        ("", 'fill="red"', "red"),
        ("path { fill: blue }", 'fill="red"', "blue"),
        ("path { fill: blue }", 'style="fill: green"', "green"),
        ("path { fill: blue !important }", 'style="fill: green"', "blue"),
        ("path { fill: blue !important }", 'style="fill: green !important"', "green"),
        (".a { fill: blue } path { fill: red }", 'class="a"', "blue"),
        ("#p { fill: blue } .a.a { fill: red }", 'class="a" id="p"', "blue"),
        ("g path { fill: blue } path { fill: red }", "", "blue"),
        ("g > path { fill: blue } svg > path { fill: red }", "", "blue"),
        ("path { fill: blue } path { fill: red }", "", "red"),
        ("path { fill: blue; /* fill: red */ }", "", "blue"),
        ("path, circle { FILL: blue }", "", "blue"),
        ("path:hover { fill: red }", 'fill="blue"', "blue"),
        ("* { fill: blue }", 'fill="red"', "blue"),
        ("@font-face { font-family: x } path { fill: blue }", "", "blue"),
    ],
)
def test_the_heavier_rule_wins(tree, sheet, attributes, fill):
    root = tree(f"<style>{sheet}</style><g><path {attributes}/></g>")
    [path] = [node for node in root.walk() if node.tag == "path"]
    assert path.style["fill"] == fill


def test_inherited_properties_come_from_above_and_others_do_not(tree):
    above = {"fill": "red", "opacity": "0.5", "clip-path": "url(#c)", "stroke-width": "3"}
    [node] = tree('<path stroke-width="inherit" style="opacity: inherit; fill: initial; stroke: unset"/>').children
    assert computed(node, above) == {"stroke-width": "3", "opacity": "0.5"}


def test_nodes_know_their_line_name_and_references(tree):
    root = tree('<g id="reeds">\n\n<use xlink:href="#a"/><use xlink:href="#a" href="#b"/></g>')
    group = root.children[0]
    assert group.place == "g 'reeds' (line 2)"
    assert [(use.line, use.attributes["href"]) for use in group.children] == [(4, "#a"), (4, "#b")]


def test_elements_of_other_languages_have_no_tag(tree):
    root = tree('<x:page xmlns:x="urn:drawing-program"><path/></x:page>')
    assert root.children[0].tag == ""


def test_refusals_are_told_once_each_and_counted_beyond_five():
    refusals = Refusals("sign.svg")
    for number in range(7):
        refusals.add(f"text {number}", "convert it")
        refusals.add(f"text {number}", "convert it")
    with pytest.raises(FileError) as caught:
        refusals.raise_if_any()
    assert str(caught.value) == (
        "sign.svg: cannot be marked exactly: text 0, text 1, text 2, text 3, text 4, and 2 more."
        " Convert it; or export the drawing as PNG."
    )
    refusals = Refusals("sign.svg", {"text 0": ""})
    with pytest.raises(FileError, match="exactly: text 0. Export the drawing as PNG.$"):
        refusals.raise_if_any()


def test_too_many_elements_are_refused(tree):
    with pytest.raises(FileError, match="over 200,000 elements"):
        tree("<g/>" * 200_001)
