"""Two pages of one visit: what one records comes up on the other, and nothing that is being typed is lost. Drawings are read by
pointer and by keyboard, looked at closer, and stand on paper as they were made."""

import time

import visit

CIRCUIT = "/circuits/F1"
FLOW = "form[action$='/enter/flow']"


def until(page, test, seconds=10):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if page.evaluate(test):
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"never: {test} ({page.url})")


def note(page, stay, circuit, text):
    """Somebody records a note, in a tab of their own."""
    page.goto(f"{stay}/circuits/{circuit}")
    group = page.locator("details.form", has=page.locator("form[action$='/enter/note']")).first
    if group.get_attribute("open") is None:
        group.locator("summary").first.click()
    group.locator("textarea, input[type=text]").first.fill(text)
    group.get_by_role("button", name="Record").click()


def news(page, stay):
    """A page that is only read comes up to date; one in which something is typed says so and waits."""
    page.goto(stay + CIRCUIT)
    until(page, "document.querySelectorAll('.chart-tools:not([hidden])').length > 0")
    page.evaluate("window.scrollTo(0, 600)")
    other = page.context.new_page()
    page.bring_to_front()
    note(other, stay, "F1", "seen on the other tablet")
    page.bring_to_front()
    until(page, "document.querySelector('main').innerText.includes('seen on the other tablet')")
    assert page.evaluate("scrollY") == 600 and page.locator("#live").inner_text().startswith("Kim Dale recorded a note of F1.")
    assert page.locator(".chart-tools:not([hidden])").count() > 0, "the drawings of the fresh page can be read"
    page.evaluate(f"document.querySelector(\"{FLOW}\").closest('details').open = true")
    field = page.locator(FLOW).locator("[name=flow_l_min]")
    field.fill("12.")
    note(other, stay, "F1", "a second one")
    page.bring_to_front()
    until(page, "document.querySelector('#live').innerText.includes('recorded') && !document.querySelector('#live button').hidden")
    page.wait_for_timeout(300)
    assert "a second one" not in page.locator("main").inner_text(), "nothing moves while somebody types"
    page.get_by_role("button", name="Show", exact=True).click()
    until(page, "document.querySelector('main').innerText.includes('a second one')")
    assert field.input_value() == "12." and page.locator(FLOW).locator("xpath=ancestor::details").get_attribute("open") is not None
    field.fill("")
    other.close()


def drawings(page, stay):
    """Each drawing: a value under the pointer, the next one by an arrow key, closer and whole again."""
    page.goto(stay + CIRCUIT)
    until(page, "document.querySelectorAll('.chart-tools:not([hidden])').length > 0")
    for chart in page.locator(".chart.readable").all():
        drawing, slider = chart.locator("svg.plot"), chart.locator("input[type=range]")
        drawing.scroll_into_view_if_needed()
        before = drawing.inner_html()
        drawing.hover()
        read = chart.locator(".chart-at").inner_text()
        assert read.startswith(("flow", "time")) and chart.locator(".key .read:not(:empty)").count() > 0, read
        page.mouse.move(0, 0)
        assert drawing.inner_html() == before, "nothing stays when the pointer has gone"
        slider.focus()
        first = slider.get_attribute("aria-valuetext")
        page.keyboard.press("ArrowRight")
        second = slider.get_attribute("aria-valuetext")
        assert first != second and ": " in second and chart.locator(".read-line").count() == 1, (first, second)
        page.evaluate("document.activeElement.blur()")
        chart.get_by_role("button", name="Closer").click()
        assert drawing.locator("g .tick").count() > 2
        page.emulate_media(media="print")
        page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
        assert drawing.locator("g .tick").count() == 0 and drawing.locator("[display]").count() == 0, "paper has the whole"
        page.evaluate("window.dispatchEvent(new Event('afterprint'))")
        page.emulate_media(media="screen")
        assert drawing.locator("g .tick").count() > 2, "and the screen has what it had"
        chart.get_by_role("button", name="Whole").click()
        page.mouse.move(0, 0)
        assert drawing.inner_html() == before
    how = page.locator("details.how")
    how.locator("summary").click()
    for number in ("Leak rate", "Sonic conductance", "Flow factor", "Flow factor, of what it should be"):
        assert how.get_by_role("heading", name=number, exact=True).count() == 1, number


def check(hand, base):
    visit.begin(hand.page, base)
    visit.take_in(hand, base)
    stay = visit.start(hand, base)
    visit.readings(hand, stay, ["F1"])
    drawings(hand.page, stay)
    news(hand.page, stay)
