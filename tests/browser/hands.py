"""How a page is used: by finger, by keyboard alone, and by somebody whose page is reloaded in the middle of everything."""

import re

from playwright.sync_api import Error

TARGET_PX = 44
"""Least width or height of what a gloved finger has to hit (WCAG 2.2, 2.5.5)."""


class Touch:
    """Taps, and measures every target that it taps."""

    name = "touch"
    context = {"has_touch": True, "viewport": {"width": 1280, "height": 800}}

    def __init__(self, page):
        self.page = page
        self.small = []

    def goto(self, address):
        self.page.goto(address)

    def _tap(self, where):
        for _ in range(3):
            try:
                return self._tap_once(where)
            except Error as trouble:
                # An open page may come up to date in the very moment: a person then taps what stands there now.
                if "not attached" not in str(trouble):
                    raise
        return self._tap_once(where)

    def _tap_once(self, where):
        where.scroll_into_view_if_needed()
        box = where.bounding_box()
        if box and max(box["height"], box["width"]) < TARGET_PX - 0.5 or box and box["height"] < 24:
            self.small.append((self.page.url, where.evaluate("e => e.outerHTML.slice(0, 120)"), box))
        where.tap()

    def open(self, group):
        if group.get_attribute("open") is None:
            self._tap(group.locator("summary").first)

    def fill(self, form, label, value):
        field = form.get_by_label(label).first
        if field.evaluate("e => e.tagName") == "SELECT":
            field.select_option(label=value)
        else:
            self._tap(field)
            field.fill(value)

    def press(self, form, button):
        with self.page.expect_navigation():
            self._tap(form.get_by_role("button", name=button).first)


class Keyboard:
    """Never touches a pointer: walks with Tab, opens and sends with Enter, types letter by letter."""

    name = "keyboard"
    context = {"viewport": {"width": 1280, "height": 800}}

    def __init__(self, page):
        self.page = page
        self.small = []

    def goto(self, address):
        self.page.goto(address)

    def _walk_to(self, where):
        handle = where.element_handle()
        for _ in range(600):
            if handle.evaluate("e => e === document.activeElement"):
                shown = handle.evaluate("e => getComputedStyle(e).outlineStyle !== 'none' || getComputedStyle(e).boxShadow !== 'none'")
                assert shown, f"the focus cannot be seen on {where}"
                return
            self.page.keyboard.press("Tab")
        raise AssertionError(f"{where} cannot be reached with the Tab key on {self.page.url}")

    def open(self, group):
        if group.get_attribute("open") is None:
            self._walk_to(group.locator("summary").first)
            self.page.keyboard.press("Enter")

    def fill(self, form, label, value):
        field = form.get_by_label(label).first
        self._walk_to(field)
        if field.evaluate("e => e.tagName") == "SELECT":
            # Letters choose an option, as in every browser.
            self.page.keyboard.type(value)
            chosen = field.evaluate("e => e.selectedOptions[0].label")
            assert chosen == value, f"{label}: {chosen} instead of {value}"
        else:
            self.page.keyboard.press("Control+A")
            self.page.keyboard.type(value)

    def press(self, form, button):
        self._walk_to(form.get_by_role("button", name=button).first)
        with self.page.expect_navigation():
            self.page.keyboard.press("Enter")


class Reloading(Touch):
    """Reloads the page after everything is typed and before it is sent: nothing may be lost."""

    name = "reload"

    def __init__(self, page):
        super().__init__(page)
        self.typed = []

    def open(self, group):
        super().open(group)
        self.typed = []

    def fill(self, form, label, value):
        super().fill(form, label, value)
        self.typed.append((label, value))

    def press(self, form, button):
        # Drafts are written a moment after the last letter.
        self.page.wait_for_timeout(400)
        self.page.reload()
        for group in form.locator("xpath=ancestor::details").all():
            super().open(group)
        for label, value in self.typed:
            field = form.get_by_label(label).first
            now = field.evaluate("e => e.tagName === 'SELECT' ? e.selectedOptions[0].label : e.value")
            assert now == value, f"after a reload {label} holds {now!r} instead of {value!r} ({self.page.url})"
        self.typed = []
        super().press(form, button)


def heading(page):
    """What the page says first."""
    return re.sub(r"\s+", " ", page.locator("h1").first.inner_text())
