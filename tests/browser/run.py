#!/usr/bin/env python3
"""The bench book in a real browser: `python3 tests/browser/run.py BINARY [visits|pages|all] [--pictures FOLDER]`.

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


def environment():
    """A Python with what the tests need, made once."""
    home = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", HERE.parent.parent / "target")) / "browser-tests"
    python = home / "bin" / "python"
    stamp = home / "needs.txt"
    if not stamp.is_file() or stamp.read_text() != "\n".join(NEEDS):
        shutil.rmtree(home, ignore_errors=True)
        subprocess.run([sys.executable, "-m", "venv", str(home)], check=True)
        subprocess.run([str(python), "-m", "pip", "install", "--quiet", *NEEDS], check=True)
        stamp.write_text("\n".join(NEEDS))
    return python


def main():
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    if not (shutil.which("chromium") or shutil.which("chromium-browser")):
        sys.exit("no Chromium on this machine: install it (Debian: apt install chromium) and run this again")
    with tempfile.TemporaryDirectory(prefix="borewise-browser-") as folder:
        script = [str(environment()), str(HERE / "tests.py"), folder, *sys.argv[1:]]
        sys.exit(subprocess.run(script, check=False).returncode)


if __name__ == "__main__":
    main()
