#!/usr/bin/env python3
"""How fast the pages come: `python3 tests/load/run.py BINARY DATA [SECONDS [CLIENTS]]`.

Serves the record of a folder and lets some people look around in it, each with a second between two pages. Prints for
each kind of page the middle and the 99th percentile of the time until the whole answer has come, as the client sees it,
and what the server takes in memory. A record of the size of a large plant is made by
`cargo xtask plant FOLDER` and `borewise record --data DATA FOLDER/*`.
"""

import http.client
import pathlib
import random
import re
import statistics
import subprocess
import sys
import threading
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "browser"))
from shapes import kind  # noqa: E402

THINK_S = 1.0


class Client:
    def __init__(self, port, cookie=""):
        self.connection, self.cookie = http.client.HTTPConnection("127.0.0.1", port, timeout=60), cookie

    def get(self, path):
        before = time.perf_counter()
        self.connection.request("GET", path, headers={"Cookie": self.cookie})
        answer = self.connection.getresponse()
        text = answer.read()
        return time.perf_counter() - before, answer.status, text.decode("utf-8", "replace")


def links(text):
    found = (link.split("#")[0].split("?")[0] for link in re.findall(r'href="(/[^"]*)"', text))
    return [link for link in found if not link.startswith("/assets") and ".pdf" not in link and ".svg" not in link]


def walk(port, seconds, seed, times, troubles):
    chance, client, path = random.Random(seed), Client(port), "/"
    end = time.monotonic() + seconds
    time.sleep(chance.random() * THINK_S)
    while time.monotonic() < end:
        taken, status, text = client.get(path)
        if status == 200:
            times.setdefault(kind(path), []).append(taken)
        else:
            troubles.append((path, status))
        path = chance.choice(links(text) or ["/"])
        time.sleep(THINK_S * (0.5 + chance.random()))


def memory_mb(process):
    status = pathlib.Path(f"/proc/{process.pid}/status").read_text()
    return {key: int(re.search(rf"{key}:\s+(\d+)", status)[1]) / 1024 for key in ("VmRSS", "VmHWM")}


def main():
    if len(sys.argv) < 3:
        sys.exit(__doc__)
    binary, data = sys.argv[1:3]
    seconds = float(sys.argv[3]) if len(sys.argv) > 3 else 60
    clients = int(sys.argv[4]) if len(sys.argv) > 4 else 20
    before = time.perf_counter()
    process = subprocess.Popen([binary, "serve", "--data", data, "--listen", "127.0.0.1:0"], stdout=subprocess.PIPE, text=True)
    try:
        port = int(re.search(r":(\d+)/", process.stdout.readline())[1])
        Client(port).get("/who")
        print(f"first page {(time.perf_counter() - before) * 1e3:.0f} ms after the start")
        times, troubles = [{} for _ in range(clients)], []
        threads = [threading.Thread(target=walk, args=(port, seconds, seed, times[seed], troubles)) for seed in range(clients)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        every = {}
        for own in times:
            for shape, taken in own.items():
                every.setdefault(shape, []).extend(taken)
        print(f"{'page':60} {'seen':>6} {'middle':>8} {'99 %':>8}")
        for shape in sorted(every):
            taken = sorted(every[shape])
            print(f"{shape:60} {len(taken):6} {statistics.median(taken) * 1e3:5.1f} ms {taken[int(0.99 * (len(taken) - 1))] * 1e3:5.1f} ms")
        taken = sorted(one for of_kind in every.values() for one in of_kind)
        print(f"{'all':60} {len(taken):6} {statistics.median(taken) * 1e3:5.1f} ms {taken[int(0.99 * (len(taken) - 1))] * 1e3:5.1f} ms")
        used = memory_mb(process)
        print(f"memory of the server {used['VmRSS']:.0f} MB, at most {used['VmHWM']:.0f} MB")
        assert not troubles, troubles[:5]
    finally:
        process.terminate()
        process.wait(timeout=20)


if __name__ == "__main__":
    main()
