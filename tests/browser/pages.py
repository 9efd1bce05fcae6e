"""Every page of the invented plant: accessible, nothing wider than the screen, in both schemes, on a tablet and on a phone."""

from axe_core_python.sync_playwright import Axe

SIZES = {"tablet": {"width": 1280, "height": 800}, "phone": {"width": 390, "height": 844}}
VISITED = 400
"""Most pages looked at."""
SAME = {"moulds": 3, "circuits": 2, "calculators": 6, "visits": 3, "photos": 1}
"""Of pages of one kind so many are looked at."""


def kind(path):
    """Pages of one kind differ in names only."""
    parts, shape = path.strip("/").split("/"), []
    for at, part in enumerate(parts):
        named = at > 0 and parts[at - 1] in ("moulds", "visits", "circuits", "halves", "rigs", "instruments", "people", "calculators", "certificates", "photos")
        shape.append("*" if named else part)
    return "/" + "/".join(shape)


def all_pages(page, base):
    """Addresses that can be reached by links, some of each kind."""
    found, waiting, of_kind = [], ["/"], {}
    while waiting and len(found) < VISITED:
        path = waiting.pop(0)
        shape = kind(path)
        limit = 2 if "*" in shape else 1
        if path in found or of_kind.get(shape, 0) >= limit:
            continue
        answer = page.goto(base + path)
        if not answer or "text/html" not in answer.headers.get("content-type", ""):
            continue
        assert answer.status == 200, f"{path} answers {answer.status}"
        of_kind[shape] = of_kind.get(shape, 0) + 1
        found.append(path)
        links = page.eval_on_selector_all("a[href]", "all => all.map(a => a.getAttribute('href'))")
        waiting.extend(link.split("#")[0].split("?")[0] for link in links if link.startswith("/") and ".pdf" not in link)
    return found


def name_of(path):
    return kind(path).strip("/").replace("/", "-").replace("*", "one") or "today"


def check(browser, base, pictures):
    troubles, kept = [], set()
    for scheme in ("light", "dark"):
        for size, viewport in SIZES.items():
            with browser({"viewport": viewport, "color_scheme": scheme}) as page:
                page.goto(base + "/who")
                page.locator("main form button").first.click()
                for path in all_pages(page, base):
                    page.goto(base + path)
                    troubles += [f"{scheme} {size} {path}: {one['id']}: {one['nodes'][0]['html'][:140]}" for one in Axe().run(page)["violations"]]
                    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
                    if wide > 0:
                        troubles.append(f"{scheme} {size} {path}: {wide} px wider than the screen")
                    picture = f"{name_of(path)}-{scheme}-{size}.png"
                    if pictures and picture not in kept:
                        kept.add(picture)
                        pictures.mkdir(parents=True, exist_ok=True)
                        page.screenshot(path=pictures / picture, full_page=False)
    assert not troubles, "\n".join(troubles)
