#!/usr/bin/env python3
"""The bench book in a real browser: `python3 tests/browser/run.py [visits|live|pages|all] [--binary FILE] [--pictures FOLDER]`.

Needs Chromium; makes a Python environment of its own for Playwright and axe-core.
"""

import os
import pathlib
import shutil
import subprocess
import sys
import tempfile

HERE = pathlib.Path(__file__).resolve().parent
NEEDS = ["playwright==1.56.0", "axe-core-python==0.1.0"]


def target():
    return pathlib.Path(os.environ.get("CARGO_TARGET_DIR", HERE.parent.parent / "target"))


def environment():
    """A Python with what the tests need, made once."""
    home = target() / "browser-tests"
    python = home / "bin" / "python"
    stamp = home / "needs.txt"
    if not stamp.is_file() or stamp.read_text() != "\n".join(NEEDS):
        shutil.rmtree(home, ignore_errors=True)
        subprocess.run([sys.executable, "-m", "venv", str(home)], check=True)
        subprocess.run([str(python), "-m", "pip", "install", "--quiet", *NEEDS], check=True)
        stamp.write_text("\n".join(NEEDS))
    return python


def main():
    if "--help" in sys.argv:
        sys.exit(__doc__)
    words = sys.argv[1:]
    binary = str(target() / "debug" / "borewise")
    if "--binary" in words:
        at = words.index("--binary")
        binary = words[at + 1]
        del words[at : at + 2]
    if not pathlib.Path(binary).is_file():
        sys.exit(f"{binary} is not there: build it first (cargo build -p borewise)")
    if not (shutil.which("chromium") or shutil.which("chromium-browser")):
        sys.exit("no Chromium on this machine: install it (Debian: apt install chromium) and run this again")
    with tempfile.TemporaryDirectory(prefix="borewise-browser-") as folder:
        script = [str(environment()), str(HERE / "tests.py"), folder, binary, *words]
        sys.exit(subprocess.run(script, check=False).returncode)


if __name__ == "__main__":
    main()
