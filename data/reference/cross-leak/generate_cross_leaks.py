"""Pressures of circuits that leak into one another, by scipy's initial-value solver; rates by its non-negative least squares.

Made with Python 3.11, numpy 2.4.6, scipy 1.17.1. Run in this folder. `solve_ivp` takes DOP853 at rtol 1e-11. The law is
V dp/dt = -sum g (p_i^2 - p_j^2) / D with D = 7^2 - 1.01325^2 bar^2, g in mbar l/s, V in l, p in bar absolute.
"""

import json

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import nnls

AIR, D = 1.013, 49 - 1.01325**2
TIMES = np.arange(0, 61, 1.0)


def pressures(volumes_l, paths, charged, closed, start=6.0, opens=None):
    """Pressures in bar absolute of all circuits; those not closed stay at the air's pressure."""
    count = len(volumes_l)

    def slopes(_, p):
        flow = np.zeros(count)
        for a, b, g in paths:
            far = AIR if b is None else p[b]
            if opens and abs(p[a] - far) <= opens.get((a, b), 0.0):
                continue
            q = g / 1000 * (p[a] ** 2 - far**2) / D
            flow[a] -= q
            if b is not None:
                flow[b] += q
        return np.where([i in closed for i in range(count)], flow / volumes_l, 0.0)

    p0 = np.where([i in charged for i in range(count)], start + AIR, AIR)
    step = {"max_step": 0.05} if opens else {}
    method = {"rtol": 1e-6, "atol": 1e-9} if opens else {"rtol": 1e-11, "atol": 1e-13}
    return solve_ivp(slopes, (0, 60), p0, method="DOP853", t_eval=TIMES, **method, **step).y


def test(names, volumes_l, paths, charged, start=6.0, opens=None, watched=None):
    count = len(names)
    watched = [i for i in range(count) if i not in charged] if watched is None else watched
    closed = set(charged) | set(watched)
    p = pressures(volumes_l, paths, charged, closed, start, opens)
    traces = {names[i]: {"time_s": TIMES.tolist(), "pressure_bar_g": [round(x - AIR, 7) for x in p[i]]} for i in sorted(closed)}
    return {"charged": [names[i] for i in charged], "watched": [names[i] for i in watched],
            "open": [names[i] for i in range(count) if i not in closed], "traces": traces, "hold_s": 600}, p


def circuits(names, volumes_l, percent=1.0):
    return [{"id": n, "volume_ml": round(v * 1000, 3), "volume_uncertainty_percent": percent} for n, v in zip(names, volumes_l)]


def write(name, document, expected):
    with open(f"{name}.json", "w") as file:
        json.dump(document | {"atmosphere_bar_abs": AIR}, file, separators=(",", ":"))
        file.write("\n")
    with open(f"{name}.expected.json", "w") as file:
        json.dump(expected, file, indent=1)
        file.write("\n")


def line_rates(tests, volumes_l, closed, candidates):
    """Rates by non-negative least squares: straight lines through pressures against those through time integrals."""
    rows, right = [], []
    for p, shut in zip(tests, closed):
        late = TIMES >= 8
        weights = (TIMES[late] - TIMES[late].mean()) / ((TIMES[late] - TIMES[late].mean()) ** 2).sum()
        for i in shut:
            row = []
            for a, b in candidates:
                if i not in (a, b):
                    row.append(0.0)
                    continue
                far = AIR if b is None else p[b if i == a else a]
                drive = (p[i] ** 2 - far**2) / D / volumes_l[i] / 1000
                integral = np.concatenate([[0], np.cumsum((drive[1:] + drive[:-1]) / 2 * np.diff(TIMES))])
                row.append(-weights @ integral[late])
            rows.append(row)
            right.append(weights @ p[i][late])
    return nnls(np.array(rows), np.array(right))[0]


def expected_paths(names, found, prefix=""):
    """Paths of a hand-made list in the order in which the program lists them when all are sure."""
    out = {}
    for at, (a, b, g) in enumerate(found):
        out[f"paths.{at}.from"], out[f"paths.{at}.to"] = names[a], "outside" if b is None else names[b]
        out[f"paths.{at}.rate_mbar_l_s.value"] = round(float(g), 6)
    return out


# Two equal circuits that equalise: the mean stays, the difference dies away exponentially (closed form).
volume, rate = 0.2, 12.0
mean, start = (7.013 + AIR) / 2, 6.0
per_s = 4 * rate / 1000 * mean / (volume * D)
half = start / 2 * np.exp(-per_s * TIMES)
document = {"circuits": circuits("AB", [volume, volume]), "tests": [{"charged": "A", "watched": ["B"], "hold_s": 600, "traces": {
    "A": {"time_s": TIMES.tolist(), "pressure_bar_g": (mean - AIR + half).round(7).tolist()},
    "B": {"time_s": TIMES.tolist(), "pressure_bar_g": (mean - AIR - half).round(7).tolist()}}}]}
write("equalise", document, expected_paths("AB", [(0, 1, rate)]))

# One circuit to the outside: (p - a) / (p + a) dies away exponentially (closed form).
volume, rate = 0.3, 2.0
share = (7.013 - AIR) / (7.013 + AIR) * np.exp(-2 * AIR * rate / 1000 * TIMES / (volume * D))
p = AIR * (1 + share) / (1 - share)
document = {"circuits": circuits(["A"], [volume]), "tests": [{"charged": ["A"], "hold_s": 600, "traces": {
    "A": {"time_s": TIMES.tolist(), "pressure_bar_g": (p - AIR).round(7).tolist()}}}]}
write("outside", document, expected_paths(["A"], [(0, None, rate)]))

# Unequal circuits, one slow and one fast path: the solver's own pressures.
names, volumes = ["M1", "M2", "M3", "M4"], [0.15, 0.4, 0.25, 0.3]
paths = [(0, 1, 0.5), (2, 3, 4.0), (2, None, 1.5)]
runs = [test(names, volumes, paths, [i]) for i in range(4)]
write("naive-4", {"circuits": circuits(names, volumes), "tests": [run for run, _ in runs]}, expected_paths(names, [(0, 1, 0.5), (2, 3, 4.0), (2, None, 1.5)]))

# Eight circuits, all on and three splits; rates again by non-negative least squares over every possible path.
names, volumes = [f"F{i + 1}" for i in range(8)], [0.12, 0.2, 0.35, 0.5, 0.18, 0.26, 0.4, 0.31]
paths = [(0, 5, 0.8), (2, 3, 0.3), (4, None, 1.2)]
runs = [test(names, volumes, paths, list(range(8)))]
runs += [test(names, volumes, paths, [i for i in range(8) if i >> k & 1]) for k in range(3)]
candidates = [(a, b) for a in range(8) for b in range(a + 1, 8)] + [(a, None) for a in range(8)]
rates = line_rates([p for _, p in runs], volumes, [range(8)] * 4, candidates)
by_nnls = {c: r for c, r in zip(candidates, rates)}
print("nnls on splits-8:", {c: round(r, 4) for c, r in by_nnls.items() if r > 0.01})
write("splits-8", {"circuits": circuits(names, volumes), "tests": [run for run, _ in runs]}, expected_paths(names, [(3, 2, by_nnls[2, 3]), (4, None, by_nnls[4, None]), (5, 0, by_nnls[0, 5])]) | {"next_test": None})

# A fast leak into a small neighbour, and that neighbour's slow leak to the outside.
names, volumes = ["A", "B", "C"], [0.5, 0.08, 0.2]
paths = [(0, 1, 6.0), (1, None, 0.4)]
runs = [test(names, volumes, paths, [0]), test(names, volumes, paths, [1]), test(names, volumes, paths, [0, 1, 2])]
candidates3 = [(0, 1), (0, 2), (1, 2), (0, None), (1, None), (2, None)]
rates3 = line_rates([p for _, p in runs], volumes, [range(3)] * 3, candidates3)
print("nnls on chain-3:", dict(zip(candidates3, rates3.round(4))))
write("chain-3", {"circuits": circuits(names, volumes), "tests": [run for run, _ in runs]}, expected_paths(names, [(0, 1, rates3[0]), (1, None, rates3[4])]))

# Opens only above 4 bar of difference: 6 bar shows it, 3 bar does not.
names, volumes = ["A", "B"], [0.3, 0.25]
paths, opens = [(0, 1, 0.6)], {(0, 1): 4.0}
runs = [test(names, volumes, paths, [0], start, opens) for start in (6.0, 3.0)]
write("opens", {"circuits": circuits(names, volumes), "tests": [run for run, _ in runs]}, expected_paths(names, [(0, 1, 0.6)]))

# Shuts while it is watched: a small sender falls below 4 bar of difference.
volumes = [0.06, 0.3]
runs = [test(names, volumes, [(0, 1, 6.0)], [0], 6.0, opens)]
write("shuts", {"circuits": circuits(names, volumes), "tests": [run for run, _ in runs]}, {"paths.0.from": "A", "paths.0.to": "B", "paths.0.opens_above_bar_g": 4.0})

# Nothing leaks: all on and two splits of four circuits.
names, volumes = ["A", "B", "C", "D"], [0.2, 0.2, 0.3, 0.3]
runs = [test(names, volumes, [], c) for c in ([0, 1, 2, 3], [0, 1], [0, 2])]
write("quiet-4", {"circuits": circuits(names, volumes), "tests": [run for run, _ in runs]}, {"next_test": None})

# Who of two vented circuits takes the air? Nobody watched them.
volumes = [0.2, 0.2, 0.3]
run, _ = test(["A", "B", "C"], volumes, [(0, 1, 1.0)], [0], watched=[])
write("vented", {"circuits": circuits(["A", "B", "C"], volumes), "tests": [run]}, {f"paths.{at}.rate_mbar_l_s.value": 1.0 for at in range(3)})

# Volumes that nobody knows.
run, _ = test(["A", "B"], [0.4, 0.1], [(0, 1, 1.0)], [0])
write("volumes-unknown", {"circuits": [{"id": "A"}, {"id": "B"}], "tests": [run]}, {"paths.0.from": "A", "paths.0.to": "B"})
