"""What `run.py` runs: whole visits by finger, by keyboard, with reloads, by two people at once; every page under axe-core."""

import contextlib
import pathlib
import re
import shutil
import subprocess
import sys
import threading
import time
import urllib.request

from playwright.sync_api import sync_playwright

import live
import pages
import visit
from hands import Keyboard, Reloading, Touch

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


@contextlib.contextmanager
def server(command, log):
    """A server of its own; it is told to end, and must end well."""
    with open(log, "w+", encoding="utf-8") as out:
        process = subprocess.Popen(command, stdout=out, stderr=subprocess.STDOUT)
        try:
            yield wait_for(process, log)
        finally:
            process.terminate()
            code = process.wait(timeout=20)
    assert code == 0, f"the server ended with {code}: {pathlib.Path(log).read_text()}"


def wait_for(process, log, seconds=240):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        found = re.search(r"http://[0-9.]+:\d+", pathlib.Path(log).read_text())
        if found:
            with contextlib.suppress(OSError), urllib.request.urlopen(found[0] + "/who"):
                return found[0]
        if process.poll() is not None:
            break
        time.sleep(0.05)
    raise AssertionError(f"no server: {pathlib.Path(log).read_text()}")


@contextlib.contextmanager
def browser(options):
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        context = chromium.new_context(**options)
        context.set_default_timeout(15_000)
        page = context.new_page()
        wrong = []
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.on("console", lambda said: wrong.append(said.text) if said.type == "error" and "422" not in said.text else None)
        yield page
        assert not wrong, f"the browser complains: {wrong}"
        chromium.close()


def audit(binary, data):
    done = subprocess.run([binary, "audit", "--data", str(data)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def alone(binary, folder, kind):
    """One person, one way of using the page, the whole visit."""
    data = folder / kind.name
    with server([binary, "serve", "--data", str(data), "--listen", "127.0.0.1:0"], folder / f"{kind.name}.log") as base:
        with browser(kind.context) as page:
            hand = kind(page)
            visit.begin(page, base)
            visit.take_in(hand, base)
            stay = visit.start(hand, base)
            visit.readings(hand, stay, visit.CIRCUITS)
            visit.finish(hand, stay)
            assert not hand.small, f"too small for a gloved finger: {hand.small[:5]}"
    audit(binary, data)


def together(binary, folder):
    """Two people on one visit, each with a browser, at the same time."""
    data = folder / "together"
    with server([binary, "serve", "--data", str(data), "--listen", "127.0.0.1:0"], folder / "together.log") as base:
        with browser(Touch.context) as page:
            hand = Touch(page)
            visit.begin(page, base)
            visit.add_person(page, base, "Lee Moss", "LM")
            visit.take_in(hand, base)
            stay = visit.start(hand, base)
        troubles = []

        def work(short, circuits):
            try:
                with browser(Touch.context) as own:
                    visit.be(own, base, short)
                    visit.readings(Touch(own), stay, circuits)
            except BaseException as trouble:  # noqa: BLE001 - told to the thread that waits
                troubles.append((short, trouble))

        threads = [threading.Thread(target=work, args=share) for share in (("KD", visit.CIRCUITS[:6]), ("LM", visit.CIRCUITS[6:]))]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert not troubles, troubles
        with browser(Touch.context) as page:
            visit.be(page, base, "KD")
            visit.finish(Touch(page), stay)
    audit(binary, data)


def following(binary, folder):
    """What one records comes up on the page of another; drawings are read."""
    data = folder / "following"
    with server([binary, "serve", "--data", str(data), "--listen", "127.0.0.1:0"], folder / "following.log") as base:
        with browser({"viewport": {"width": 1280, "height": 800}}) as page:
            live.check(Keyboard(page), base)


def timed(name, test, *arguments):
    before = time.monotonic()
    test(*arguments)
    print(f"{name}: passed in {time.monotonic() - before:.0f} s", flush=True)


def main():
    folder, binary, *rest = sys.argv[1:]
    folder = pathlib.Path(folder)
    which = rest[0] if rest and not rest[0].startswith("--") else "all"
    pictures = pathlib.Path(rest[rest.index("--pictures") + 1]) if "--pictures" in rest else None
    if which in ("all", "visits"):
        for kind in (Touch, Keyboard, Reloading):
            timed(f"a whole visit, {kind.name}", alone, binary, folder, kind)
        timed("a whole visit, two people at once", together, binary, folder)
    if which in ("all", "live"):
        timed("news and drawings", following, binary, folder)
    if which in ("all", "pages"):
        command = [binary, "demo", "--data", str(folder / "demo")]
        with server(command, folder / "demo.log") as base:
            timed("every page under axe-core, both schemes", pages.check, browser, base, pictures)


if __name__ == "__main__":
    main()
