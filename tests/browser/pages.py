"""Every page of the invented plant: accessible, nothing wider than the screen, in both schemes, on a tablet and on a phone."""

from axe_core_python.sync_playwright import Axe

from shapes import kind

LOOKS = {
    "light-tablet": {"color_scheme": "light", "viewport": {"width": 1280, "height": 800}, "device_scale_factor": 0.5},
    "dark-phone": {"color_scheme": "dark", "viewport": {"width": 390, "height": 844}, "device_scale_factor": 0.75},
}
"""Each page is looked at in both schemes and both sizes."""
VISITED = 400
"""Most pages looked at."""


def all_pages(page, base):
    """Addresses that can be reached by links, some of each kind."""
    found, waiting, of_kind, came = [], ["/"], {}, {"/": "/"}
    while waiting and len(found) < VISITED:
        path = waiting.pop(0)
        shape = kind(path)
        limit = 2 if "*" in shape else 1
        if path in found or of_kind.get(shape, 0) >= limit:
            continue
        answer = page.goto(base + path)
        assert answer and answer.status == 200, f"{path}, a link of {came[path]}, answers {answer and answer.status}"
        if "text/html" not in answer.headers.get("content-type", ""):
            continue
        of_kind[shape] = of_kind.get(shape, 0) + 1
        found.append(path)
        links = page.eval_on_selector_all("a[href]", "all => all.map(a => a.getAttribute('href'))")
        for link in links:
            if link.startswith("/") and ".pdf" not in link:
                link = link.split("#")[0].split("?")[0]
                came.setdefault(link, path)
                waiting.append(link)
    return found


def name_of(path):
    return kind(path).strip("/").replace("/", "-").replace("*", "one") or "today"


def check(browser, base, pictures):
    troubles, kept = [], {}
    for look, options in LOOKS.items():
        with browser(options) as page:
            page.goto(base + "/who")
            page.locator("main form button").first.click()
            for path in all_pages(page, base):
                page.goto(base + path)
                troubles += [f"{look} {path}: {one['id']}: {one['nodes'][0]['html'][:140]}" for one in Axe().run(page)["violations"]]
                wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
                if wide > 0:
                    troubles.append(f"{look} {path}: {wide} px wider than the screen")
                looks = kept.setdefault(name_of(path), {})
                if pictures and look not in looks:
                    looks[look] = page.title()
                    pictures.mkdir(parents=True, exist_ok=True)
                    page.screenshot(path=pictures / f"{name_of(path)}-{look}.jpg", type="jpeg", quality=60)
    if pictures:
        (pictures / "README.md").write_text(index(kept), encoding="utf-8")
    assert not troubles, "\n".join(troubles)


def index(kept):
    """The pages side by side, as the program showed them."""
    lines = ["# The pages", "", "Written by `python3 tests/browser/run.py pages --pictures docs/pages`: the invented plant, as a tablet shows it in light and a phone in dark.", ""]
    for name in sorted(kept):
        title = next(iter(kept[name].values())).removesuffix(" · Borewise")
        shown = " ".join(f'<img src="{name}-{look}.jpg" height="400" alt="{title}, {look.replace("-", ", ")}">' for look in LOOKS if look in kept[name])
        lines += [f"## {title}", "", shown, ""]
    return "\n".join(lines)
