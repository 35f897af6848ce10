"""Each journey clicked through in Chromium to a file on disk that the library reads back."""

import re
import shutil
import zipfile

import pytest
from running_desk import RunningDesk

from tint.artwork.artwork import read_artwork
from tint.check.history import history_path, read_history
from tint.job.record import read_job
from tint.measure.patches import read_settings
from tint.model.model import predict, read_model
from tint.palette.palette import read_palette
from tint.plan.grid import read_grid


def goto(page, place):
    page.click(f"nav a[href='#{place}']")
    page.wait_for_selector(f"#{place}:not([hidden])")


def artwork_with_palette(page, path, palette="palette: simulated/palette.json"):
    goto(page, "artwork")
    page.select_option("#source", label=palette)
    before = rev(page)
    page.set_input_files("#artwork-file", path)
    changed(page, before)
    assert page.inner_text("#artwork-name") == path.name and page.query_selector("#layers tbody tr")


def rev(page):
    page.wait_for_selector("#artwork:not([aria-busy=true])")
    return page.get_attribute("#view", "data-rev")


def changed(page, before):
    """Nothing; waits until the piece was changed and nothing more is under way."""
    page.wait_for_function("(before) => (document.querySelector('#view').dataset.rev ?? null) !== before", arg=before)
    page.wait_for_selector("#artwork:not([aria-busy=true])")


def downloaded(page, selector, folder):
    with page.expect_download() as waiting:
        page.click(selector)
    path = folder / waiting.value.suggested_filename
    waiting.value.save_as(path)
    return path


def test_artwork_becomes_a_job_folder(page, shop, tmp_path):
    artwork_with_palette(page, shop / "artwork/kingfisher-shaded.png")
    before = rev(page)
    page.fill("#width", "45")
    page.press("#width", "Enter")
    changed(page, before)
    before = rev(page)
    page.evaluate(
        "() => { const count = document.querySelector('#count'); count.value = 6; count.dispatchEvent(new Event('input', { bubbles: true })); }"
    )
    changed(page, before)
    assert len(page.query_selector_all("#layers tbody tr")) <= 6 and page.inner_text("#count-said") == "6"
    # a region is looked at: what it is, what sets it, how sure, how long
    page.click("#view", position={"x": 300, "y": 420})
    page.wait_for_selector("#spot-card:not([hidden]) h3")
    card = page.inner_text("#spot-card")
    assert "mm/s" in card and "±" in card and "min:s" in card and "from the top left corner" in card
    name = page.inner_text("#spot-card h3")
    before = rev(page)
    page.click("#keep")
    changed(page, before)
    assert page.inner_text(f"#layers tr.chosen:has-text('{name}')").count("kept") == 1
    # two colours become one
    names = [row.inner_text().split("\n")[0].split(" ", 1)[1] for row in page.query_selector_all("#layers .pick")]
    other = next(each for each in names if each != name)
    before = rev(page)
    page.select_option("#join", label=other)
    changed(page, before)
    assert not page.query_selector(
        f"#layers .pick:text-is('{name}')"
    ) and f"{name} is marked as {other}" in page.inner_text("#artwork-warnings")
    # it survives a reload
    rows = page.inner_text("#layers")
    page.reload()
    page.wait_for_selector("#layers tbody tr")
    assert page.inner_text("#layers") == rows and page.input_value("#width") == "45"
    page.click("#job")
    page.wait_for_selector("#job-done button.main")
    path = downloaded(page, "#job-done button.main", tmp_path)
    zipfile.ZipFile(path).extractall(tmp_path)
    job = read_job(tmp_path / "kingfisher-shaded-job")
    assert job.width_mm == 45 and job.trial is not None and name not in {layer.name for layer in job.layers}
    shown = [re.sub(r"^\d+ ", "", row.inner_text()) for row in page.query_selector_all("#layers .pick")]
    assert {layer.name for layer in job.layers} == set(shown)
    assert (tmp_path / "kingfisher-shaded-job/sheet.pdf").stat().st_size > 10_000


def test_a_drawing_dropped_onto_the_page_is_seen_at_full_size_and_its_colours_are_swapped(page, shop, tmp_path):
    goto(page, "artwork")
    page.select_option("#source", label="palette: simulated/palette.json")
    before = rev(page)
    text = (shop / "artwork/kingfisher.svg").read_text()
    dropped = page.evaluate_handle(
        "(text) => { const all = new DataTransfer(); all.items.add(new File([text], 'dropped.svg', { type: 'image/svg+xml' })); return all; }",
        text,
    )
    page.dispatch_event("#stage", "drop", {"dataTransfer": dropped})
    changed(page, before)
    assert page.inner_text("#artwork-name") == "dropped.svg"
    assert float(page.input_value("#width")) == pytest.approx(read_artwork(shop / "artwork/kingfisher.svg").width_mm)
    page.click("#artwork-full")
    page.wait_for_function("() => document.querySelector('#said').textContent.includes('Full size is ready')")
    with page.expect_response(lambda answer: "artwork/crop" in answer.url):
        page.click("#zoom-cells")
    page.wait_for_function("() => document.querySelector('#scale').textContent.startsWith('full size')")
    page.click("#layers .pick >> nth=0")
    page.click("text=Other settings for this colour")
    page.wait_for_selector("#offers table")
    wanted = page.inner_text("#offers tbody tr:nth-child(2) td:nth-child(4)")
    before = rev(page)
    page.click("#offers tbody tr:nth-child(2) button")
    changed(page, before)
    assert wanted in page.inner_text("#layers")
    path = downloaded(page, "#palette-save", tmp_path)
    assert wanted in {str(colour.setting) for colour in read_palette(path).colours}


def test_readings_become_a_palette(page, shop, tmp_path):
    goto(page, "stock")
    page.select_option("#stock-machine", label="simulated/machine.toml")
    page.select_option("#stock-stock", label="simulated/stock.toml")
    page.select_option("#stock-grid", label="simulated/plate-1/grid.json")
    page.select_option("#stock-reading", label="simulated/reading.csv")
    page.wait_for_selector("#plate svg g")
    grid = read_grid(shop / "simulated/plate-1")
    assert len(page.query_selector_all("#plate g[role=button]")) == len(grid)
    page.focus("#plate g[data-patch=B03]")
    page.keyboard.press("Enter")
    page.click("text=Leave it out")
    page.wait_for_selector("#plate g[data-patch=B03][aria-label*='left out']")
    page.click("#fit")
    page.wait_for_selector("#report .headline", timeout=60_000)
    assert "9 of 10 within" in page.inner_text("#report .headline")
    page.fill("#palette-n", "6")
    page.fill("#palette-name", "reeds")
    page.click("#palette-go")
    page.wait_for_selector("#palette-out p:has-text('reeds: 6 colours')")
    palette = read_palette(downloaded(page, "#palette-download", tmp_path))
    assert palette.name == "reeds" and len(palette) == 6
    for colour in palette.colours:
        assert colour.name in page.inner_text("#palette-out")
    model = read_model(downloaded(page, "text=Save the model", tmp_path))
    assert "B03" not in model.patches.ids
    page.fill("#next-n", "14")
    page.click("#next-go")
    page.wait_for_selector("#next-out button.main")
    zipfile.ZipFile(downloaded(page, "#next-out button.main", tmp_path)).extractall(tmp_path)
    assert len(read_grid(tmp_path / "plate")) == 14


def test_a_setting_is_dialled_and_a_colour_is_found(page, shop, tmp_path):
    goto(page, "setting")
    if page.locator("#setting-model option:checked").inner_text() != "simulated/model.json":  # kept from a test before
        page.select_option("#setting-model", label="simulated/model.json")
    page.wait_for_selector(f"#predicted[data-model='{page.input_value('#setting-model')}']")
    before = page.inner_text("#colour-said")
    page.focus("#dial-power_pct-range")
    for _ in range(6):
        page.keyboard.press("PageUp")
    page.wait_for_function("(before) => document.querySelector('#colour-said').innerText !== before", arg=before)
    assert float(page.input_value("#dial-power_pct")) > 27
    assert page.get_attribute("#dial-power_pct-range", "aria-valuetext").endswith("%")
    assert "J/mm²" in page.inner_text("#quantities")
    for name, value in (("l", "46"), ("a", "-10"), ("b", "-26")):
        page.fill(f"#wish-{name}", value)
    page.click("#find-go")
    page.wait_for_selector("#found tbody tr")
    words = page.inner_text("#found tbody tr:nth-child(1) td:nth-child(7)")
    page.click("#found tbody tr:nth-child(1) button")
    page.wait_for_function("(words) => document.querySelector('#colour-said').innerText.includes(words)", arg=words)
    setting = read_settings(downloaded(page, "#setting-save", tmp_path))
    assert str(setting[0]) == words
    lightness = predict(read_model(shop / "simulated/model.json"), setting[0]).lab[0]
    assert f"L {lightness:.0f}" in page.inner_text("#colour-said .headline")


def test_a_second_window_is_told_what_the_first_changed(page, shop):
    artwork_with_palette(page, shop / "artwork/kingfisher.svg")
    other = page.context.new_page()
    other.goto(page.url)
    other.wait_for_selector("body[data-ready]")
    before = rev(page)
    page.click("#paper")
    changed(page, before)
    other.wait_for_selector("#said.wrong:has-text('in another window')")
    other.click("#said >> text=Reload")
    other.wait_for_function("() => document.body.dataset.ready && !document.querySelector('#paper').checked")
    assert other.inner_text("#layers") == page.inner_text("#layers")
    before = rev(page)
    page.click("#paper")
    changed(page, before)


def test_the_divider_and_the_picture_obey_the_keyboard(page, shop):
    artwork_with_palette(page, shop / "artwork/kingfisher-shaded.png")
    page.focus("#divider")
    for key, value in (("ArrowRight", "52"), ("PageDown", "42"), ("Home", "0"), ("End", "100")):
        page.keyboard.press(key)
        assert page.get_attribute("#divider", "aria-valuenow") == value
    page.focus("#view")
    before = page.inner_text("#scale")
    page.keyboard.press("+")
    page.wait_for_function("(before) => document.querySelector('#scale').innerText !== before", arg=before)
    page.keyboard.press("Enter")
    page.wait_for_selector("#spot-card:not([hidden])")


def test_what_goes_wrong_is_said_in_a_line(page, tmp_path, console):
    goto(page, "artwork")
    bad = tmp_path / "not-a-picture.png"
    bad.write_text("hello")
    page.set_input_files("#artwork-file", bad)
    page.wait_for_selector("#said.wrong")
    said = page.inner_text("#said")
    assert "not-a-picture.png is not a picture" in said and "/tmp" not in said
    assert len(console) == 1 and "400" in console.pop()
    page.click("nav >> text=Stock")  # the next step: what was wrong before is not said of it
    page.wait_for_function("() => document.querySelector('#said').textContent === ''")


def test_a_strip_is_judged_and_a_corrected_palette_taken(browser, shop, tmp_path, console):
    folder = tmp_path / "shop"  # a history is begun beside the palette: not in the shop the other tests use
    shutil.copytree(shop / "simulated", folder)
    running = RunningDesk(folder)
    context = browser.new_context(accept_downloads=True)
    try:
        page = context.new_page()
        page.on(
            "console", lambda message: console.append(message.text) if message.type in ("error", "warning") else None
        )
        page.goto(running.link)  # the link, as the command prints it
        page.wait_for_selector("body[data-ready]")
        assert "key=" not in page.url
        goto(page, "check")
        page.select_option("#check-palette", label="palette.json")
        for number, strip in enumerate(("strip-first.csv", "strip-later.csv"), 1):
            page.select_option("#check-strip", label=strip)
            page.click("#check-go")
            page.wait_for_function(
                "(name) => document.querySelector('#check-body').innerText.includes(`against ${name}`)", arg=strip
            )
            page.click("#check-record")
            page.wait_for_function("(n) => document.querySelectorAll('#strips tbody tr').length === n", arg=number)
        assert "out" in page.inner_text("#verdict").lower() and "power" in page.inner_text("#offer h2")
        page.click("#check-correct")
        page.wait_for_selector("#version-download")
        new = read_palette(downloaded(page, "#version-download", tmp_path))
        old = read_palette(folder / "palette.json")
        history = read_history(history_path(folder / "palette.json"), old)
    finally:
        context.close()
        running.end()
    assert new.lineage.version == 2 and new.lineage.parent == old.digest
    assert (new.setting.power_pct > old.setting.power_pct).all()  # the simulated laser had lost power
    assert [row.verdict for row in history.checks] == ["within", "out"] and len(history.versions) == 2
    assert not console


def test_the_corners_of_a_photo_are_dragged_and_what_cannot_be_read_is_said(page, shop):
    goto(page, "stock")
    page.select_option("#stock-grid", label="simulated/plate-1/grid.json")
    page.set_input_files("#reading-file", shop / "side-by-side.png")  # a picture, but of no plate
    page.wait_for_selector("#photo .handle")
    page.locator("#photo-stage").scroll_into_view_if_needed()
    handle = page.locator("#photo .handle").first
    before = handle.get_attribute("aria-label")
    box = handle.bounding_box()
    page.mouse.move(box["x"] + 22, box["y"] + 22)
    page.mouse.down()
    page.mouse.move(box["x"] + 62, box["y"] + 42, steps=4)
    page.mouse.up()
    dragged = handle.get_attribute("aria-label")
    assert dragged != before and "top left corner of the plate at" in dragged
    after = handle.bounding_box()
    assert after["x"] - box["x"] == pytest.approx(40, abs=2) and after["y"] - box["y"] == pytest.approx(20, abs=2)
    handle.focus()
    page.keyboard.press("ArrowRight")
    assert handle.get_attribute("aria-label") != dragged
    page.click("#photo-corners")
    page.wait_for_selector("#stock-photo-work .warn")
    assert "side-by-side.png" in page.inner_text("#stock-photo-work")


def test_a_large_drawing_shows_its_progress_and_comes_onto_the_desk(page, shop, tmp_path):
    small = (shop / "artwork/kingfisher.svg").read_text(encoding="utf-8")
    (tmp_path / "reeds.svg").write_text(small.replace("</svg>", f"<!-- {'reed ' * 80_000} --></svg>"), encoding="utf-8")
    goto(page, "artwork")
    page.select_option("#source", label="palette: simulated/palette.json")
    before = rev(page)
    page.set_input_files("#artwork-file", tmp_path / "reeds.svg")
    page.wait_for_selector("#view-work progress[aria-label='opening the drawing']")
    assert page.is_visible("#view-work button:has-text('Stop')")
    changed(page, before)
    page.wait_for_selector("#layers tbody tr")
    assert page.inner_text("#artwork-name") == "reeds.svg" and not page.query_selector("#view-work progress")
