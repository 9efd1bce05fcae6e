#!/usr/bin/env python3
"""Times the kernels and their peers in one run, in turns, and writes the tables of docs/speed.md.

    python3 benches/run.py              (about ten minutes; five rounds)
    python3 benches/run.py --rounds 9 --only circuit,network

Needs cargo, Python 3.11 and, the first time, a package index for benches/requirements.txt: the peers go into a virtual
environment in the temporary folder. One after the other, each kernel and each of its peers runs in a process of its own;
then the next round begins. What counts is the median over the rounds of each round's median.
"""

import argparse
import datetime
import hashlib
import json
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PAGE = ROOT / "docs" / "speed.md"
BEGIN, END = "<!-- measured: begin -->", "<!-- measured: end -->"

KERNELS = {
    "circuit-3": "Operating point of a circuit, 3 pieces",
    "circuit-16": "Operating point of a circuit, 16 pieces",
    "network-10": "Flow in a network, 10 pipes",
    "network-100": "Flow in a network, 100 pipes",
    "network-1000": "Flow in a network, 1000 pipes",
    "leak-600": "Leak-down, 600 samples",
    "bore-state": "State of a bore, five readings",
    "cross-12": "Leak map, 12 circuits and 8 tests",
    "trace-50": "Trace of 50 MB",
    "trace-200": "Trace of 200 MB",
    "assess-24": "Visit of 24 circuits and 72 traces",
}
PEERS = {
    "fluids": "`fluids` + `scipy.optimize.brentq`",
    "library": "EPANET 2.2, solver kept open",
    "opened": "EPANET 2.2, solver opened and closed",
    "toolkit": "EPANET {EPANET in owa-epanet} by `owa-epanet`, solver kept open",
    "wntr": "`wntr` `EpanetSimulator` (EPANET 2.2, by files)",
    "lstsq": "`numpy.linalg.lstsq`, one solution",
    "least_squares": "`scipy.optimize.least_squares`, one solution",
    "laplace": "`scipy.optimize.least_squares`, each kind from several starts, Laplace's evidence",
    "nested": "`dynesty`, nested sampling of each kind",
    "nnls": "`scipy.optimize.nnls` over all 78 paths: rates, no probabilities, no next test",
    "lsq_linear": "`scipy.optimize.lsq_linear` with bounds over all 78 paths, the same",
    "csv": "Python's `csv`, all rows kept",
    "pandas": "`pandas.read_csv`, all rows kept",
}
# Largest relative difference of the answers; a faster wrong answer is no comparison. Leak rates and
# thicknesses are compared by their intervals instead, networks on every pipe that carries more than 2 % of the largest flow.
INTERVALS = {"leak": "mbar l/s", "bore": "mm"}
TOLERANCE = {"circuit": 1e-9, "network": 5e-3, "trace": 1e-5, "cross": 0.03}
BAR_ASSESS_S = 0.3


def command(words, **more):
    done = subprocess.run([str(word) for word in words], cwd=ROOT, capture_output=True, text=True, **more)
    if done.returncode:
        sys.exit(f"{' '.join(map(str, words))}\n{done.stderr}")
    return done.stdout


def build():
    """The release program; cargo says where it lies."""
    lines = command(["cargo", "build", "--release", "--locked", "-p", "benches", "--message-format=json"]).splitlines()
    messages = [json.loads(line) for line in lines if line.startswith("{")]
    return next(m["executable"] for m in messages if m.get("executable") and m["target"]["name"] == "benches")


def environment():
    """A Python that has the peers, made once for each state of requirements.txt."""
    wanted = ROOT / "benches" / "requirements.txt"
    mark = hashlib.sha256(wanted.read_bytes()).hexdigest()[:12]
    folder = Path(tempfile.gettempdir()) / f"borewise-peers-{mark}"
    python = folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    if not (folder / "complete").exists():
        venv.create(folder, with_pip=True, clear=True)
        command([python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "-r", wanted])
        (folder / "complete").touch()
    return python


def measure(program, python, inputs, names, rounds):
    """For each kernel and peer, what every round found."""
    here = ROOT / "benches" / "peers.py"
    # Our side has one thread; so get the libraries of linear algebra below the peers.
    alone = os.environ | {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    listed = json.loads(command([python, here, "--list"]))
    found = {}
    for at in range(rounds):
        for kernel in names:
            ours = json.loads(command([program, "run", inputs, kernel]))["kernels"][kernel]
            found.setdefault(kernel, []).append(ours)
            for peer in (name for name in listed if name.split(":")[0] == kernel):
                found.setdefault(peer, []).append(json.loads(command([python, here, inputs, peer], env=alone)))
        print(f"round {at + 1} of {rounds} done", file=sys.stderr)
    return found


def difference(kernel, ours, peer):
    """Largest relative difference of the answers; nothing for an answer whose interval is compared."""
    if kernel.split("-")[0] in INTERVALS:
        return None
    if kernel.startswith("network"):
        pairs = zip(ours["more"]["flows_l_min"], peer["more"]["flows_l_min"])
        return max(abs(p / o - 1) for o, p in pairs if abs(o) > 0.02 * ours["answer"])
    return abs(peer["answer"] / ours["answer"] - 1)


def check(found):
    """Every peer has to give our answer."""
    for name in (name for name in found if ":" in name):
        kernel = name.split(":")[0]
        ours, peer = found[kernel][0], found[name][0]
        off = difference(kernel, ours, peer)
        if off is None:
            if peer["more"]["low"] > ours["more"]["high"] or ours["more"]["low"] > peer["more"]["high"]:
                sys.exit(f"{name}: {peer['answer']} against {ours['answer']}, the intervals do not meet")
        elif off > TOLERANCE[kernel.split("-")[0]]:
            sys.exit(f"{name}: the answer differs by {off:.2g}")


def shown(seconds):
    for factor, unit in ((1, "s"), (1e3, "ms"), (1e6, "µs")):
        if seconds * factor >= 1 or unit == "µs":
            return f"{float(f'{seconds * factor:.3g}'):g} {unit}"


def over(rounds, key="median_s"):
    values = [one[key] for one in rounds]
    return statistics.median(values), min(values), max(values)


def cell(rounds):
    middle, least, most = over(rounds)
    return f"{shown(middle)} ({shown(least)} to {shown(most)})"


def times(factor):
    return f"{factor:.3g}" if factor < 100 else f"{factor:.0f}"


def answers(kernel, ours, peer):
    off = difference(kernel, ours, peer)
    if off is not None:
        return f"{off:.1g}"
    rate = lambda one: f"{one['answer']:.3f} ({one['more']['low']:.3f} to {one['more']['high']:.3f})"
    return f"{rate(ours)} and {rate(peer)} {INTERVALS[kernel.split('-')[0]]}"


def worked(ours, peer):
    """Peer over ours in processor time, which the work of others on the machine does not stretch."""
    if any(one["processor_s"] is None for one in ours + peer):
        return "–"
    return times(over(peer, "processor_s")[0] / over(ours, "processor_s")[0])


def steps(one):
    return f"{one['more']['steps']:.0f}" if "steps" in one["more"] else "–"


def comparison(found, versions):
    lines = ["| task | ours: median (range) | peer | peer: median (range) | peer / ours | the same in processor time | "
             "steps, ours and peer | answers differ by |", "| --- | --- | --- | --- | --: | --: | --- | --- |"]
    for name in (name for name in found if ":" in name):
        kernel, peer = name.split(":")
        ours, theirs = found[kernel], found[name]
        factor = times(over(theirs)[0] / over(ours)[0])
        lines.append(f"| {KERNELS[kernel]} | {cell(ours)} | {PEERS[peer].format_map(versions)} | {cell(theirs)} | "
                     f"{factor} | {worked(ours, theirs)} | {steps(ours[0])} and {steps(theirs[0])} | "
                     f"{answers(kernel, ours[0], theirs[0])} |")
    return lines


def traces(found):
    lines = ["| trace | reader | speed | the same in processor time | largest memory of the process | samples kept |",
             "| --- | --- | --: | --: | --: | --: |"]
    for name, rounds in found.items():
        kernel, _, peer = name.partition(":")
        if kernel.startswith("trace"):
            more = rounds[0]["more"]
            speed = lambda key: f"{more['bytes'] / 1e6 / over(rounds, key)[0]:.0f} MB/s" if rounds[0][key] else "–"
            memory = rounds[0]["peak_mb"] and f"{over(rounds, 'peak_mb')[0]:.0f} MB"
            kept = more.get("samples_kept") or more["rows"]
            lines.append(f"| {KERNELS[kernel]} | {PEERS[peer].split(',')[0] if peer else 'ours'} | {speed('median_s')} | "
                         f"{speed('processor_s')} | {memory or 'not known here'} | {kept:,} |".replace(",", " "))
    return lines


def visit(rounds):
    part = lambda key: shown(statistics.median(one["more"][key] for one in rounds))
    middle, _, most = over(rounds)
    more = rounds[0]["more"]
    word = "met" if most < BAR_ASSESS_S else "met by the median" if middle < BAR_ASSESS_S else "missed"
    busy = over(rounds, "processor_s")[0] if rounds[0]["processor_s"] else None
    lines = [f"Visit of 24 circuits and 72 traces ({more['files']} files), no peer: {cell(rounds)} for the whole"
             + (f", of which {shown(busy)} on the processor" if busy else "")
             + f". The bar of {shown(BAR_ASSESS_S)} is {word}.", "",
             "| part | median |", "| --- | --- |"]
    named = {"load_s": "files read and checked", "judge_s": "judged",
             "json_s": f"findings as JSON ({more['json_bytes'] / 1e3:.0f} kB)",
             "sheet_s": f"visit sheet ({more['sheet_bytes'] / 1e3:.0f} kB)"}
    return lines + [f"| {text} | {part(key)} |" for key, text in named.items()]


def machine():
    model, memory = platform.processor() or platform.machine(), ""
    if Path("/proc/cpuinfo").exists():
        model = next((line.split(":")[1].strip() for line in Path("/proc/cpuinfo").read_text().splitlines()
                      if line.startswith("model name")), model)
        total = Path("/proc/meminfo").read_text().split()[1]
        memory = f", {int(total) / 1024**2:.0f} GiB"
    return f"{model}, {os.cpu_count()} processors{memory}, {platform.system()} {platform.machine()}"


def load():
    return f"{os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "not known"


def page(found, versions, rounds, before):
    rust = command(["rustc", "--version"]).split()[1]
    used = ", ".join(f"{name} {version}" for name, version in versions.items())
    today = datetime.date.today().isoformat()
    lines = [f"Measured on {today} in {rounds} round{'s'[:rounds > 1]}. Machine: {machine()}; load {before} before and {load()} after (work of "
             f"others shared it). Ours: rustc {rust}, release profile. Peers: {used}.", ""]
    if any(":" in name for name in found):
        lines += comparison(found, versions)
    if any(name.startswith("trace") for name in found):
        lines += [""] + traces(found)
    if "assess-24" in found:
        lines += [""] + visit(found["assess-24"])
    return "\n".join(lines)


def main():
    ask = argparse.ArgumentParser(description="Times the kernels and their peers; writes docs/speed.md.")
    ask.add_argument("--rounds", type=int, default=5, help="rounds (5)")
    ask.add_argument("--only", help="kernels, by the beginning of their names, separated by commas; the page stays as it is")
    ask.add_argument("--json", type=Path, help="write what every round found to this file")
    given = ask.parse_args()
    before = load()
    program, python = build(), environment()
    names = [name for name in KERNELS if not given.only or name.startswith(tuple(given.only.split(",")))]
    with tempfile.TemporaryDirectory() as inputs:
        command([program, "make", inputs])
        found = measure(program, python, inputs, names, given.rounds)
    check(found)
    if given.json:
        given.json.write_text(json.dumps(found))
    text = page(found, json.loads(command([python, ROOT / "benches" / "peers.py", "--versions"])), given.rounds, before)
    print(text)
    if not given.only:
        head, rest = PAGE.read_text().split(BEGIN)
        PAGE.write_text(f"{head}{BEGIN}\n{text}\n{END}{rest.split(END)[1]}")


if __name__ == "__main__":
    main()
