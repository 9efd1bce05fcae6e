"""Times one peer and prints one JSON document, in the shape that the `benches` program prints.

`peers.py INPUTS PEER` times a peer on the inputs that `benches make INPUTS` wrote; `peers.py --versions` prints what is
installed. `run.py` calls both. A peer solves the same task as the kernel that is named before its colon.
"""

import ctypes
import json
import os
import statistics
import sys
import tempfile
import time
from importlib import metadata
from pathlib import Path

BATCH_S, TIME_S, BATCHES = 200e-6, 0.5, 5


def timed(call, once=False):
    """Median, least and most seconds of a call over many batches, and its last answer: as the Rust side does it."""
    clock = time.perf_counter
    start, worked = clock(), time.process_time()
    answer = call()
    first = clock() - start
    if once:
        worked = time.process_time() - worked
        return {"median_s": first, "least_s": first, "most_s": first, "calls": 1, "processor_s": worked}, answer
    size = max(1, min(100_000, int(BATCH_S / max(first, 1e-9))))
    batches = []
    begun, worked = clock(), time.process_time()
    while len(batches) < BATCHES or clock() - begun < TIME_S:
        start = clock()
        for _ in range(size):
            answer = call()
        batches.append((clock() - start) / size)
    found = {"median_s": statistics.median(batches), "least_s": min(batches), "most_s": max(batches)}
    calls = len(batches) * size
    return found | {"calls": calls, "processor_s": (time.process_time() - worked) / calls}, answer


def peak_mb():
    """Largest memory of this process so far (Linux)."""
    try:
        lines = Path("/proc/self/status").read_text().splitlines()
    except OSError:
        return None
    return next(int(line.split()[1]) * 1024 / 1e6 for line in lines if line.startswith("VmHWM:"))


def read(inputs, name):
    return json.loads((inputs / name).read_text())


def circuit(inputs, pieces):
    """The flow at a drop: Colebrook by fluids (Clamond's solution, to machine precision), the root by scipy."""
    from math import pi

    from fluids.friction import Clamond
    from scipy.optimize import brentq

    given = read(inputs, f"circuit-{pieces}.json")
    density, viscosity, drop = given["density_kg_m3"], given["viscosity_pa_s"], given["pressure_drop_pa"]

    def solve():
        channels, square = [], 0.0
        for piece in given["pieces"]:
            if "flow_factor_m3_h" in piece:
                per_flow = 3600.0 / piece["flow_factor_m3_h"]
                square += 1e5 * density / given["flow_factor_density_kg_m3"] * per_flow * per_flow
            else:
                d = piece["diameter_m"]
                area = pi / 4 * d * d
                channels.append((density * d / (area * viscosity), piece["roughness_m"] / d,
                                 piece["length_m"] / d * density / (2 * area * area)))

        def miss(flow):
            total = square * flow * flow
            for per_flow, roughness, loss in channels:
                reynolds = per_flow * flow
                factor = 64 / reynolds if reynolds <= 2000 else Clamond(reynolds, roughness)
                total += factor * loss * flow * flow
            return total - drop

        return brentq(miss, 2e-5, 2e-3, xtol=1e-18, rtol=1e-12, full_output=True)

    seconds, (flow, report) = timed(solve)
    return seconds, flow * 6e4, {"steps": report.function_calls}


def inp_text(given):
    """A network as EPANET's input; conversions as in data/reference/network/generate_networks.py."""
    gravity, viscosity = 32.2 * 0.3048, given["kinematic_viscosity_m2_s"] / (1.1e-5 * 0.3048**2)
    stretch = 9.80665 / gravity
    head_of = lambda bar: bar * 1e5 / (given["density_kg_m3"] * gravity)
    nodes, lines = given["nodes"], ["[JUNCTIONS]"]
    lines += [f"{n['id']} {n['elevation_m'] * stretch:.12g} {n['demand_l_min']:.12g}" for n in nodes
              if "demand_l_min" in n]
    lines.append("[RESERVOIRS]")
    lines += [f"{n['id']} {head_of(n['pressure_bar_g']) + n['elevation_m'] * stretch:.12g}" for n in nodes
              if "pressure_bar_g" in n]
    lines.append("[PIPES]")
    for item in given["links"]:
        piece = item["pieces"][0]
        lines.append(f"{item['id']} {item['from']} {item['to']} {piece['length_mm'] / 1e3:.12g} "
                     f"{piece['diameter_mm']:.12g} {piece['roughness_um'] / 1e3:.12g} 0 OPEN")
    lines += ["[OPTIONS]", "UNITS LPM", "HEADLOSS D-W", f"VISCOSITY {viscosity:.12g}", "TRIALS 500", "ACCURACY 0.001",
              "[TIMES]", "DURATION 0", "[REPORT]", "STATUS NO", "[END]"]
    return "\n".join(lines) + "\n"


def network(inputs, pipes, how):
    """Hydraulics by EPANET; flows are set back to their start each time."""
    given = read(inputs, f"grid-{pipes}.json") | read(inputs, "water.json")[f"grid-{pipes}.json"]
    names = [item["id"] for item in given["links"]]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "n.inp"
        path.write_text(inp_text(given))
        solve = {"toolkit": toolkit, "library": library, "opened": library, "wntr": wntr_simulator}[how]
        seconds, flows, more = solve(path, names, how)
    return seconds, max(map(abs, flows)), more | {"flows_l_min": flows}


def toolkit(path, names, _):
    """owa-epanet's calls into the library it brings."""
    from epanet import toolkit as en

    project = en.createproject()
    en.open(project, str(path), str(path.with_suffix(".rpt")), "")
    en.openH(project)

    def solve():
        en.initH(project, en.INITFLOW)
        en.runH(project)

    seconds, _ = timed(solve)
    flows = [en.getlinkvalue(project, en.getlinkindex(project, name), en.FLOW) for name in names]
    steps = en.getstatistic(project, en.ITERATIONS)
    en.closeH(project)
    en.close(project)
    en.deleteproject(project)
    return seconds, flows, {"steps": steps}


def library(path, names, how):
    """EPANET 2.2 itself, called directly. `opened` also opens and closes the solver each time (no reading of files)."""
    from wntr.epanet.toolkit import ENepanet

    engine = ENepanet(version=2.2)
    engine.ENopen(str(path), str(path.with_suffix(".rpt")), str(path.with_suffix(".bin")))
    lib, project, clock = engine.ENlib, engine._project, ctypes.c_long()
    here = ctypes.byref(clock)

    def run():
        lib.EN_initH(project, 10)
        return lib.EN_runH(project, here)

    def open_and_run():
        lib.EN_openH(project)
        code = run()
        lib.EN_closeH(project)
        return code

    if how == "library":
        engine.ENopenH()
    seconds, code = timed(run if how == "library" else open_and_run)
    if code:
        raise SystemExit(f"EPANET error or warning {code}")
    flows = [engine.ENgetlinkvalue(engine.ENgetlinkindex(name), 8) for name in names]
    steps = ctypes.c_double()
    lib.EN_getstatistic(project, 0, ctypes.byref(steps))
    if how == "library":
        engine.ENcloseH()
    engine.ENclose()
    return seconds, flows, {"steps": steps.value}


def wntr_simulator(path, names, _):
    """wntr's own way: the model is written to a file, run, and the results are read back into tables."""
    import warnings

    import wntr

    # A reminder about units of roughness, which the file gives right.
    warnings.simplefilter("ignore")
    model = wntr.network.WaterNetworkModel(str(path))
    prefix = str(path.with_suffix(""))
    seconds, results = timed(lambda: wntr.sim.EpanetSimulator(model).run_sim(file_prefix=prefix))
    row = results.link["flowrate"].iloc[0]
    return seconds, [float(row[name]) * 6e4 for name in names], {}


def leak_rows(np, given):
    """Samples from four of the slowest time constants on, and the twelve shapes of the fall with their priors."""
    t_all, bar = np.array(given["time_s"]), np.array(given["pressure_bar_g"])
    absolute = (bar + given["atmosphere_bar_abs"]) * 1e3
    start, outer = absolute[0], given["atmosphere_bar_abs"] * 1e3
    tau = 0.0114 * given["bore_mm"] ** 2
    crack = (absolute**2 - outer**2) / (start**2 - outer**2)
    hole = absolute / start
    steps = np.diff(t_all)
    leaked = [np.concatenate(([0.0], np.cumsum(steps * (r[1:] + r[:-1]) / 2))) for r in (crack, hole)]
    inside = t_all >= 4 * 0.0114 * 10.8**2
    t, seen = t_all[inside], absolute[inside] - start
    crack, hole = (part[inside] for part in leaked)
    since = t + given["hold_s"] + 1.0
    taus = [0.5 * tau, tau, 2 * tau, 5 * tau, 0.0114 * 10.8**2]
    shapes = [np.ones_like(t), -(crack + hole) / 2, -(crack - hole) / 2, *(np.exp(-t / one) for one in taus),
              since**-0.5, np.log(since - 0.5), 1 / since, t]
    priors = np.array([500.0, 20.0, 0.2, 3.0, 3.0, 3.0, 3.0, 3.0, 15.0, 2.0, 5.0, 0.006])
    return np.stack(shapes, axis=1) * priors, seen, priors


def leak(inputs, how):
    """The same twelve shapes with priors of the same kind: one least-squares solution with its covariance."""
    import numpy as np
    from scipy.optimize import least_squares

    given = read(inputs, "leak-600.json")
    rate = given["volume_ml"] / 1e3 * 293.15 / (given["wall_temperature_deg_c"] + 273.15)
    noise = 1.0

    def linear():
        design, seen, priors = leak_rows(np, given)
        whole = np.vstack([design / noise, np.eye(len(priors))])
        right = np.concatenate([seen / noise, np.zeros(len(priors))])
        sizes = np.linalg.lstsq(whole, right, rcond=None)[0]
        covariance = np.linalg.inv(whole.T @ whole)
        return sizes[1] * priors[1] * rate, covariance[1, 1] ** 0.5 * priors[1] * rate

    def general():
        design, seen, priors = leak_rows(np, given)
        whole = np.vstack([design / noise, np.eye(len(priors))])
        right = np.concatenate([seen / noise, np.zeros(len(priors))])
        found = least_squares(lambda x: whole @ x - right, np.zeros(len(priors)), jac=lambda x: whole, method="lm")
        covariance = np.linalg.inv(found.jac.T @ found.jac)
        return found.x[1] * priors[1] * rate, covariance[1, 1] ** 0.5 * priors[1] * rate

    seconds, (value, sd) = timed({"lstsq": linear, "least_squares": general}[how])
    return seconds, float(value), {"low": float(value - 1.96 * sd), "high": float(value + 1.96 * sd)}


def bore(inputs, how):
    """All kinds of state weighed; preparing the tables of the model does not count."""
    import bore_peers

    model = bore_peers.Bore(read(inputs, "bore-state.json"))
    call = {"laplace": bore_peers.laplace, "nested": bore_peers.nested}[how]
    seconds, (thickness, more) = timed(lambda: call(model), once=how == "nested")
    return seconds, thickness, more
def cross(inputs, how):
    """Rates of every path that a mould of 12 circuits can have: straight lines through the pressures against those
    through the time integrals of the measured pressures, rates not below zero. The answer is the sum of all rates above
    0.02 mbar l/s; probabilities, intervals and a next test are not asked of it."""
    import numpy as np
    from scipy.optimize import lsq_linear, nnls

    given = read(inputs, "cross-12.json")
    times, air = np.array(given["time_s"]), given["atmosphere_bar_abs"]
    litres = np.array(given["volume_ml"]) / 1e3
    tests = [np.array(test["pressure_bar_g"]) + air for test in given["tests"]]
    paths = [(a, b) for a in range(len(litres)) for b in range(a, len(litres))]
    late = times >= 8
    middle = times[late] - times[late].mean()
    weights = middle / (middle**2).sum()

    def solve():
        rows, right = [], []
        for bar in tests:
            square = bar**2 / (49 - 1.01325**2)
            outer = air**2 / (49 - 1.01325**2)
            step = (square[:, 1:] + square[:, :-1]) / 2 * np.diff(times)
            whole = np.concatenate([np.zeros((len(bar), 1)), np.cumsum(step, axis=1)], axis=1)
            line, out = whole[:, late] @ weights, outer
            slopes = bar[:, late] @ weights * 1e3
            charged = bar[:, 0] > air + 1
            effect = np.zeros((len(bar), len(paths)))
            for at, (a, b) in enumerate(paths):
                if a == b:
                    effect[a, at] = -(line[a] - out) / litres[a]
                else:
                    effect[a, at] = -(line[a] - line[b]) / litres[a]
                    effect[b, at] = (line[a] - line[b]) / litres[b]
            # Charged circuits drift four times as much as watched ones.
            weight = np.where(charged, 1 / 0.024, 1 / 0.006)
            rows.append(effect * weight[:, None])
            right.append(slopes * weight)
        design, seen = np.vstack(rows), np.concatenate(right)
        if how == "nnls":
            return nnls(design, seen)[0]
        return lsq_linear(design, seen, bounds=(0, np.inf)).x

    seconds, rates = timed(solve)
    sure = rates[rates > 0.02]
    return seconds, float(sure.sum()), {"paths": len(sure)}


def trace(inputs, megabytes, how):
    """All rows into columns of numbers."""
    path = inputs / f"trace-{megabytes}.csv"

    def by_csv():
        import csv
        from array import array

        with open(path, newline="") as file:
            rows = csv.reader(file)
            columns = [array("d") for _ in next(rows)]
            for row in rows:
                for column, cell in zip(columns, row):
                    column.append(float(cell))
        return len(columns[0]), sum(columns[1]) / len(columns[1])

    def by_pandas():
        import pandas

        table = pandas.read_csv(path)
        return len(table), float(table["pressure_bar_g"].mean())

    call = {"csv": by_csv, "pandas": by_pandas}[how]
    if how == "pandas":
        import pandas  # noqa: F401  (loading the library is not part of reading)
    seconds, (rows, mean) = timed(call, once=True)
    return seconds, mean, {"bytes": path.stat().st_size, "rows": rows}


def peers():
    found = {}
    for pieces in (3, 16):
        found[f"circuit-{pieces}:fluids"] = lambda inputs, pieces=pieces: circuit(inputs, pieces)
    for pipes in (10, 100, 1000):
        for how in ("library", "opened", "toolkit", "wntr"):
            found[f"network-{pipes}:{how}"] = lambda inputs, pipes=pipes, how=how: network(inputs, pipes, how)
    for how in ("lstsq", "least_squares"):
        found[f"leak-600:{how}"] = lambda inputs, how=how: leak(inputs, how)
    for how in ("laplace", "nested"):
        found[f"bore-state:{how}"] = lambda inputs, how=how: bore(inputs, how)
    for how in ("nnls", "lsq_linear"):
        found[f"cross-12:{how}"] = lambda inputs, how=how: cross(inputs, how)
    for megabytes in (50, 200):
        for how in ("csv", "pandas"):
            found[f"trace-{megabytes}:{how}"] = lambda inputs, mb=megabytes, how=how: trace(inputs, mb, how)
    return found


def versions():
    from epanet import toolkit as en

    names = ["dynesty", "fluids", "numpy", "owa-epanet", "pandas", "scipy", "wntr"]
    found = {name: metadata.version(name) for name in names}
    number = en.getversion()
    found["EPANET in owa-epanet"] = f"{number // 10000}.{number // 100 % 100}.{number % 100}"
    found["EPANET in wntr"] = "2.2"
    found["Python"] = ".".join(map(str, sys.version_info[:3]))
    return found


if __name__ == "__main__":
    if sys.argv[1:] == ["--versions"]:
        print(json.dumps(versions()))
    elif sys.argv[1:] == ["--list"]:
        print(json.dumps(list(peers())))
    else:
        # One core each: our side has one thread too.
        os.environ["OMP_NUM_THREADS"] = os.environ["OPENBLAS_NUM_THREADS"] = "1"
        seconds, answer, more = peers()[sys.argv[2]](Path(sys.argv[1]))
        print(json.dumps(seconds | {"peak_mb": peak_mb(), "answer": answer, "more": more}))
