"""The page for everybody: axe-core finds nothing serious, in light and dark; nothing runs out of the window."""

from importlib import resources

from test_journeys import artwork_with_palette, goto

AXE = (resources.files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
SIZES = {"workshop screen": (1280, 800), "tablet": (1024, 768), "tablet upright": (820, 1180), "phone": (360, 740)}


def filled(page, shop, place):
    """The place with something on it."""
    if place == "artwork":
        artwork_with_palette(page, shop / "artwork/kingfisher.svg")
        page.click("#layers .pick >> nth=0")
        page.wait_for_selector("#spot-card:not([hidden])")
    goto(page, place)
    if place == "setting":
        page.select_option("#setting-model", label="simulated/model.json")
        page.click("#find-go")
        page.wait_for_selector("#found tbody tr")
        page.wait_for_selector("#colour-said .headline")
    if place == "stock":
        page.select_option("#stock-reading", label="simulated/patches.csv")
        page.wait_for_selector("#plate svg g")
        page.select_option("#stock-model", label="simulated/model.json")
        page.wait_for_selector("#report .headline")
        page.click("#palette-go")
        page.wait_for_selector("#palette-out .swatches")


def test_axe_finds_nothing_serious_and_nothing_runs_out_of_the_window(page, shop):
    page.context.new_cdp_session(page).send(
        "Runtime.evaluate", {"expression": AXE}
    )  # the page's own policy lets no script in
    for place in ("artwork", "stock", "setting", "check"):
        page.set_viewport_size({"width": 1280, "height": 800})
        filled(page, shop, place)
        judged(page)


def judged(page):
    """Nothing; fails where axe finds something serious in light or dark, or a size of window is too narrow for the place."""
    for look in ("light", "dark"):
        page.select_option("#look", look)
        found = page.evaluate("(tags) => axe.run(document, { runOnly: tags, resultTypes: ['violations'] })", TAGS)
        serious = [
            (each["id"], each["impact"], [node["html"][:120] for node in each["nodes"]][:3])
            for each in found["violations"]
            if each["impact"] in ("serious", "critical")
        ]
        assert not serious
        assert found["passes"], "axe looked at nothing"
    for width, height in SIZES.values():
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate("document.scrollingElement.scrollWidth - innerWidth") <= 0


def test_the_names_of_the_places_fit_the_width_of_a_phone(page):
    page.set_viewport_size({"width": 390, "height": 844})
    assert page.locator("nav a").count() == 4
    assert page.evaluate("Math.max(...[...document.querySelectorAll('nav a')].map(a => a.getBoundingClientRect().right))") <= 390
    assert page.evaluate("document.scrollingElement.scrollWidth - innerWidth") <= 0


def test_dark_follows_the_system_unless_told_otherwise(page):
    paper = "getComputedStyle(document.body).backgroundColor"
    page.select_option("#look", "")
    page.emulate_media(color_scheme="light")
    light = page.evaluate(paper)
    page.emulate_media(color_scheme="dark")
    dark = page.evaluate(paper)
    assert light != dark
    page.select_option("#look", "light")
    assert page.evaluate(paper) == light
    page.reload()
    page.wait_for_selector("body[data-ready]")
    assert page.evaluate(paper) == light
    page.select_option("#look", "")
