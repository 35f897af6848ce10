"""The guide as HTML: whole, linked, and in need of no network."""

import re
from html.parser import HTMLParser

import pytest
from click.testing import CliRunner

from tint.cli import main
from tint.guide.pages import NAMES
from tint.guide.web import heading_id


class Seen(HTMLParser):
    """What a page refers to, its names, and whether every element is closed."""

    EMPTY = frozenset({"meta", "img", "br", "hr", "link"})

    def __init__(self, text):
        super().__init__()
        self.targets, self.ids, self.open, self.tags, self.undescribed = [], set(), [], set(), 0
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        found = dict(attributes)
        self.tags.add(tag)
        self.targets += [found[name] for name in ("href", "src") if name in found]
        self.ids |= {found["id"]} if "id" in found else set()
        self.undescribed += tag == "img" and not found.get("alt")
        if tag not in self.EMPTY:
            self.open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.handle_starttag(tag, attributes)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    folder = tmp_path_factory.mktemp("guide") / "pages"
    done = CliRunner().invoke(main, ["guide", "-o", str(folder)])
    assert done.exit_code == 0 and f"{len(NAMES) + 1} pages in" in done.stdout and "index.html" in done.stderr
    return folder


def test_every_page_and_the_list_of_contents_is_written(site):
    assert {path.stem for path in site.glob("*.html")} == {*NAMES, "index"}
    assert all(f'href="{name}.html"' in (site / "index.html").read_text(encoding="utf-8") for name in NAMES)


def test_every_link_and_picture_resolves_inside_the_folder(site):
    pages = {path.name: Seen(path.read_text(encoding="utf-8")) for path in site.glob("*.html")}
    for name, page in pages.items():
        assert not page.open and not page.undescribed, name
        for target in page.targets:
            place, _, heading = target.partition("#")
            assert (site / place).is_file(), f"{name}: {target}"
            assert not heading or heading in pages[place].ids, f"{name}: {target}"


def test_pages_need_no_network_and_run_nothing(site):
    for path in site.glob("*.html"):
        text = path.read_text(encoding="utf-8")
        assert not Seen(text).tags & {"script", "iframe", "object", "link", "form"}
        assert not re.search(r"url\(|@import|https?:", text), path.name


def test_pages_fit_a_phone_light_and_dark_and_paper(site):
    text = (site / "proof.html").read_text(encoding="utf-8")
    assert 'name="viewport"' in text and "prefers-color-scheme: dark" in text and "@media print" in text
    assert text.count('<div class="wide" tabindex="0"><table>') == text.count("<table>") > 0


def test_signs_of_markup_in_a_page_are_shown_and_never_run():
    from tint.guide.pages import Page
    from tint.guide.web import page_html

    text = page_html(Page("planted", "# A <b>bold</b> title\n\nText <script>alert(1)</script> and [x](javascript:alert(1)).\n"))
    assert "<script" not in text and "<b>" not in text and 'href="javascript' not in text


def test_the_folder_is_replaced_only_with_force(site):
    assert CliRunner().invoke(main, ["guide", "-o", str(site)]).exit_code == 2
    assert CliRunner().invoke(main, ["guide", "-o", str(site), "--force"]).exit_code == 0


def test_a_heading_is_linked_by_its_words():
    assert heading_id("What `lost.png` shows") == "what-lost-png-shows"
