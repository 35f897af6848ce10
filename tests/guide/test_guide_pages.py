"""The guide is whole: every command, option, link, picture and word has its place, and the cautions stand where settings do."""

import re
import shlex
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from tint.caution import SHORT, cautions
from tint.cli import main
from tint.errors import DataError
from tint.guide.pages import FOLDER, NAMES, contents_text, read_guide, read_page, terminal_text
from tint.guide.web import PICTURES, heading_id

ROOT = Path(__file__).parents[2]
PAGES = read_guide()
WHOLE = "\n".join(page.markdown for page in PAGES)
# Commands whose answer shows settings or that lead to marking.
MARKING = {"grid", "borrow", "plot", "palette", "swatches", "separate", "proof", "job", "batch", "check", "history", "predict", "match", "desk"}
PURPOSE_SIGNS = 110  # with the name beside it, one line of a terminal


def joined(text):
    return " ".join(re.sub(r"^>", "", text, flags=re.M).split())


def test_every_page_of_the_folder_is_in_the_reading_order_and_says_what_it_is_for_on_one_line():
    assert sorted(path.stem for path in FOLDER.glob("*.md")) == sorted(NAMES)
    for page in PAGES:
        assert page.markdown.startswith("# ") and 20 < len(page.purpose) <= PURPOSE_SIGNS, page.name
        assert page.purpose.endswith("."), page.name
    assert len(contents_text(PAGES).splitlines()) == len(PAGES)


@pytest.mark.parametrize("page", PAGES, ids=NAMES)
def test_a_page_that_leads_to_marking_carries_the_cautions(page):
    if {shlex.split(line)[1] for line in re.findall(r"\btint [a-z]+", page.markdown)} & MARKING and page.name not in (
        "glossary", "trouble", "install", "how-sure"):  # fmt: skip
        assert SHORT in joined(page.markdown)


@pytest.mark.parametrize("grade", ["304", "titanium grade 2", "brass CuZn37"])
def test_the_page_on_safety_holds_every_caution_of_the_metals_it_names(grade):
    said = joined(read_page("safety").markdown)
    for sentence in cautions(1064, grade):
        assert sentence.rstrip(".") in said, sentence


def test_every_command_is_in_the_guide():
    missing = [name for name in main.commands if not re.search(rf"\btint {name}\b", WHOLE)]
    assert not missing


@pytest.mark.parametrize("name", sorted(main.commands))
def test_every_option_has_its_own_words_and_is_used_in_the_guide_or_in_an_example(name):
    command = main.commands[name]
    examples = command.get_help(click.Context(command, info_name=f"tint {name}")).partition("Examples:")[2].partition("Options:")[0]
    for option in command.params:
        if isinstance(option, click.Option):
            longest = max(option.opts, key=len)
            assert option.help and len(option.help) >= 5, f"tint {name} {longest} is not explained"
            used = any(re.search(rf"(?<![\w-]){re.escape(one)}(?![\w-])", WHOLE + examples) for one in (*option.opts, *option.secondary_opts))
            assert used, f"tint {name} {longest} is shown nowhere"


def test_every_link_leads_to_a_page_and_heading_that_is_there():
    headings = {page.name: {heading_id(line.lstrip("# ")) for line in page.markdown.splitlines() if line.startswith("#")} for page in PAGES}
    links = [(page.name, *link) for page in PAGES for link in re.findall(r"(?<!!)\[[^\]]*\]\(([^)#]*)(?:#([^)]*))?\)", page.markdown)]
    assert len(links) > 10
    for name, target, heading in links:
        assert target.removesuffix(".md") in NAMES and target.endswith(".md"), f"{name} links to {target}"
        assert not heading or heading in headings[target.removesuffix(".md")], f"{name} links to {target}#{heading}"


def test_every_check_that_a_figure_is_said_to_come_from_is_there():
    named = set(re.findall(r"`(tests/[\w/]+\.py)`", read_page("how-sure").markdown))
    assert len(named) > 8 and not [name for name in named if not (ROOT / name).is_file()]


def test_every_link_of_the_readme_leads_to_a_file_that_is_there():
    links = re.findall(r"\]\(([^)#]+)", (ROOT / "README.md").read_text(encoding="utf-8"))
    assert links and not [link for link in links if "://" not in link and not (ROOT / link).exists()]


def test_every_picture_is_there_described_and_used_and_all_are_light():
    used = re.findall(r"!\[([^\]]+)\]\(pictures/([^)]+)\)", WHOLE)
    assert WHOLE.count("![") == len(used) and all(len(words) > 20 for words, _ in used)
    assert {name for _, name in used} == {path.name for path in PICTURES.iterdir()}
    assert sum(path.stat().st_size for path in PICTURES.iterdir()) < 600_000


def words_of_developers():
    """Words that DEVELOPERS.md defines: what stands before each "=" or, in the first lines, in code."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").partition("## Words")[2].partition("\n## ")[0].partition("\n")[2]
    for part in re.split(r" · |(?<=angle|metal)\. |(?<=limit)\. ", " ".join(text.split())):
        before, equals, _ = part.replace(" as printers use them", " = as printers use them").partition(" = ")
        for word in before.split(", ") if equals else []:
            yield word.strip("` ")
        if not equals:
            yield from re.findall(r"`([a-z0-9_]+)`", part)


def test_the_glossary_has_every_word_that_developers_use_in_alphabetical_order():
    glossary = read_page("glossary").markdown
    terms = re.findall(r"^- \*\*(.+?)\*\*: ", glossary, re.M)
    assert terms == sorted(terms, key=str.lower) and len(set(terms)) == len(terms)
    heads = {word for term in terms for word in term.split(", ")} | set(re.findall(r"`([\w]+)`", glossary))
    wanted = list(words_of_developers())
    assert len(wanted) > 40 and "spatial error" in wanted and "swatch" in wanted and "speed_mm_s" in wanted
    known = {"light and heavy proof": {"light", "heavy"}, "max_power_w": set(), "lab": {"CIELAB"}}
    missing = [word for word in wanted if not known.get(word, {word}) <= heads]
    assert not missing


def test_the_glossary_has_the_words_that_head_a_job_sheet(shop):
    import pypdf

    sheet = " ".join(pypdf.PdfReader(shop / "simulated" / "job-sign" / "sheet.pdf").pages[0].extract_text().lower().split())
    heads = {word for term in re.findall(r"^- \*\*(.+?)\*\*: ", read_page("glossary").markdown, re.M) for word in term.lower().split(", ")}
    for word in ("stock", "machine", "piece", "proof", "key", "order", "layer", "power", "speed", "frequency", "passes", "focus", "hatch", "mask",
                 "jitter", "read first", "batch", "blank", "field", "spot", "trial"):  # fmt: skip
        assert word in sheet and word in heads, word


def test_each_word_of_the_glossary_has_one_sentence():
    for entry in re.split(r"\n- ", read_page("glossary").markdown)[1:]:
        body = " ".join(entry.split(": ", 1)[1].split())
        assert body.endswith(".") and not re.search(r"\. [A-Z]", body), entry


def test_the_guide_lists_its_pages_and_shows_one():
    done = CliRunner().invoke(main, ["guide"])
    assert done.exit_code == 0 and all(f"  {name} " in done.stdout for name in NAMES)
    shown = CliRunner().invoke(main, ["guide", "proof"]).stdout
    assert shown.startswith("# How to read a proof") and "[picture: Four proofs" in shown and "(tint guide how-sure)" in shown
    assert "](" not in terminal_text(read_page("proof"))


def test_a_page_that_is_not_there_is_one_line_that_names_those_there_are():
    with pytest.raises(DataError, match="no page 'prooof'; it has install, safety, artwork"):
        read_page("prooof")
    done = CliRunner().invoke(main, ["guide", "../../etc/passwd"])
    assert done.exit_code == 2 and done.stderr.count("\n") == 1
    assert CliRunner().invoke(main, ["guide", "proof", "-o", "pages"]).exit_code == 2
