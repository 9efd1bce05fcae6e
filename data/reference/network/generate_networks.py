"""Pipe networks solved by EPANET 2.2 (the library inside the Python package wntr).

Made with wntr 1.5.0 (its EPANET 2.2 toolkit), iapws 1.5.5, six 1.17.0 on Python 3.11 (requirements.txt).
Run in this folder: writes NAME.json (the calculator's input) and NAME.expected.json.

How the two programs are made to mean the same thing:
- Friction. EPANET uses Swamee-Jain above Re 4000, Hagen-Poiseuille below 2000, a cubic between. The input therefore says
  friction_law = "swamee-jain", and every pipe whose flow is expected here runs above Re 4000.
- Gravity. EPANET's head is a length and its g is 32.2 ft/s2 = 9.81456 m/s2. A head h stands for the pressure
  density * 9.81456 * h; heights are handed over as z * 9.80665 / 9.81456, so that density * 9.80665 * z results.
- Viscosity. EPANET multiplies 1.1e-5 ft2/s; the multiplier is the IAPWS-IF97 kinematic viscosity (3 bar absolute) at
  the stated temperature divided by that.
- No minor losses, no velocity heads at nodes.
- Expected: flows of pipes that carry more than 2 % of the largest flow, and the pressure of every junction.
What remains (single precision of EPANET's getters, its stopping rule) is below 1e-5; the tolerance of 0.1 % is the
bar that the project set for itself.
"""

import json
import math
import random
import tempfile
from pathlib import Path

from iapws import IAPWS97
from wntr.epanet.toolkit import ENepanet

FOOT = 0.3048
EPANET_G = 32.2 * FOOT
EPANET_VISCOSITY = 1.1e-5 * FOOT**2
GRAVITY = 9.80665
EN_ELEVATION, EN_DIAMETER = 0, 0
EN_FLOW, EN_HEAD = 8, 10


def water(temperature):
    state = IAPWS97(T=temperature + 273.15, P=0.3)
    return state.rho, state.mu / state.rho


def bore(diameter, length, roughness=10):
    return {"kind": "bore", "diameter_mm": diameter, "length_mm": length, "roughness_um": roughness}


def fixed(name, pressure, height=0.0):
    return {"id": name, "pressure_bar_g": pressure, "elevation_m": height}


def junction(name, demand=0.0, height=0.0):
    return {"id": name, "demand_l_min": demand, "elevation_m": height}


def link(name, start, end, piece):
    return {"id": name, "from": start, "to": end, "pieces": [piece]}


def solve(nodes, links, temperature):
    density, viscosity = water(temperature)
    head_of = lambda bar: bar * 1e5 / (density * EPANET_G)
    stretch = GRAVITY / EPANET_G
    lines = ["[JUNCTIONS]"]
    lines += [f"{n['id']} {n['elevation_m'] * stretch:.15g} {n['demand_l_min']:.15g}" for n in nodes
              if "demand_l_min" in n]
    lines.append("[RESERVOIRS]")
    lines += [f"{n['id']} {head_of(n['pressure_bar_g']) + n['elevation_m'] * stretch:.15g}" for n in nodes
              if "pressure_bar_g" in n]
    lines.append("[PIPES]")
    for item in links:
        piece = item["pieces"][0]
        lines.append(f"{item['id']} {item['from']} {item['to']} {piece['length_mm'] / 1e3:.15g} "
                     f"{piece['diameter_mm']:.15g} {piece['roughness_um'] / 1e3:.15g} 0 OPEN")
    lines += ["[OPTIONS]", "UNITS LPM", "HEADLOSS D-W", f"VISCOSITY {viscosity / EPANET_VISCOSITY:.15g}",
              "SPECIFIC GRAVITY 1", "TRIALS 500", "ACCURACY 0.00001", "HEADERROR 0.0000001", "FLOWCHANGE 0.00000001",
              "[TIMES]", "DURATION 0", "[END]"]
    with tempfile.TemporaryDirectory() as folder:
        base = Path(folder)
        (base / "n.inp").write_text("\n".join(lines) + "\n")
        library = ENepanet(version=2.2)
        library.ENopen(str(base / "n.inp"), str(base / "n.rpt"), str(base / "n.bin"))
        library.ENopenH()
        library.ENinitH(0)
        library.ENrunH()
        flows = [library.ENgetlinkvalue(library.ENgetlinkindex(i["id"]), EN_FLOW) for i in links]
        heads = [library.ENgetnodevalue(library.ENgetnodeindex(n["id"]), EN_HEAD) for n in nodes]
        library.ENcloseH()
        library.ENclose()
    pressures = [density * EPANET_G * (h - n["elevation_m"] * stretch) / 1e5 for h, n in zip(heads, nodes)]
    reynolds = [abs(q) / 6e4 * 4 / (math.pi * i["pieces"][0]["diameter_mm"] / 1e3 * viscosity)
                for q, i in zip(flows, links)]
    return flows, pressures, reynolds


def write(name, nodes, links, temperature):
    flows, pressures, reynolds = solve(nodes, links, temperature)
    largest = max(abs(q) for q in flows)
    expected = {}
    for index, (flow, number) in enumerate(zip(flows, reynolds)):
        if abs(flow) > 0.02 * largest:
            assert number > 4000, (name, links[index]["id"], number)
            expected[f"links.{index}.flow_l_min"] = float(f"{flow:.7g}")
    for index, (node, pressure) in enumerate(zip(nodes, pressures)):
        if "demand_l_min" in node:
            expected[f"nodes.{index}.pressure_bar_g"] = float(f"{pressure:.7g}")
    given = {"nodes": nodes, "links": links, "temperature_deg_c": temperature, "friction_law": "swamee-jain"}
    Path(f"{name}.json").write_text(json.dumps(given, separators=(",", ":")) + "\n")
    Path(f"{name}.expected.json").write_text(json.dumps(expected, indent=0) + "\n")
    print(name, len(links), "links, Re", round(min(reynolds)), "to", round(max(reynolds)), "expected", len(expected))


def series():
    nodes = [fixed("supply", 2.5), junction("a"), junction("b"), fixed("return", 0.2)]
    links = [link("p1", "supply", "a", bore(10, 1800)), link("p2", "a", "b", bore(8, 650, 25)),
             link("p3", "b", "return", bore(12, 2400, 2))]
    write("series", nodes, links, 20)


def parallel():
    sizes = [(8, 900), (8, 1400), (10, 1100), (10, 2600), (12, 1500), (12, 3000), (9, 700), (11, 2100)]
    nodes = [fixed("supply", 3.0), junction("in"), junction("out"), fixed("return", 0.0)]
    links = [link("feed", "supply", "in", bore(25, 3000, 2))]
    links += [link(f"c{i}", "in", "out", bore(d, length, 10 + 5 * i)) for i, (d, length) in enumerate(sizes)]
    links.append(link("drain", "out", "return", bore(25, 3500, 2)))
    write("parallel-8", nodes, links, 25)


def two_manifolds():
    sizes = [(8, 1200), (10, 1600), (8, 900), (10, 2400), (12, 1900), (10, 1300), (8, 1500), (12, 2800)]
    nodes = [fixed("supply", 4.0), *(junction(f"s{i}") for i in range(8)), *(junction(f"r{i}") for i in range(8)),
             fixed("return", 0.3)]
    links = [link("feed", "supply", "s0", bore(25, 2500, 2)), link("drain", "r0", "return", bore(25, 2500, 2))]
    for i in range(7):
        links.append(link(f"sm{i}", f"s{i}", f"s{i + 1}", bore(19, 60, 20)))
        links.append(link(f"rm{i}", f"r{i + 1}", f"r{i}", bore(19, 60, 20)))
    links += [link(f"c{i}", f"s{i}", f"r{i}", bore(d, length, 12)) for i, (d, length) in enumerate(sizes)]
    write("two-manifolds-8", nodes, links, 40)


def grid(name, rows, columns, temperature, seed, pressure, diagonal=False):
    """Rectangular grid fed at one corner and drained at the opposite one."""
    draw = random.Random(seed)
    names = [[f"n{r}-{c}" for c in range(columns)] for r in range(rows)]
    nodes = [fixed("supply", pressure), fixed("return", 0.0)]
    nodes += [junction(names[r][c]) for r in range(rows) for c in range(columns)]
    pairs = [((r, c), (r, c + 1)) for r in range(rows) for c in range(columns - 1)]
    pairs += [((r, c), (r + 1, c)) for r in range(rows - 1) for c in range(columns)]
    if diagonal:
        pairs.append(((0, 0), (1, 1)))
    links = [link("feed", "supply", names[0][0], bore(20, 1000, 2)),
             link("drain", names[-1][-1], "return", bore(20, 1000, 2))]
    for index, ((r1, c1), (r2, c2)) in enumerate(pairs):
        piece = bore(draw.choice([10, 12, 14, 16]), draw.randrange(200, 900, 10), draw.choice([2, 10, 30, 60]))
        links.append(link(f"p{index}", names[r1][c1], names[r2][c2], piece))
    write(name, nodes, links, temperature)


def heights():
    nodes = [fixed("pump", 3.5, 0.4), junction("floor", 0, 0.2), junction("upper", 4.0, 6.5), junction("lower", 6.0, -3.0),
             junction("top", 3.0, 9.0), fixed("tank", 0.0, 1.2)]
    links = [link("p1", "pump", "floor", bore(20, 4000, 45)), link("p2", "floor", "upper", bore(14, 7500, 45)),
             link("p3", "floor", "lower", bore(12, 5000, 45)), link("p4", "upper", "top", bore(10, 3200, 45)),
             link("p5", "upper", "tank", bore(12, 9000, 45)), link("p6", "lower", "tank", bore(10, 6000, 45))]
    write("heights", nodes, links, 50)


def demands():
    nodes = [fixed("main", 5.0), *(junction(f"t{i}", 6.0 + i) for i in range(6))]
    links = [link("p0", "main", "t0", bore(25, 8000, 20))]
    links += [link(f"p{i + 1}", f"t{i}", f"t{i + 1}", bore(20 - i, 2500, 20)) for i in range(5)]
    links.append(link("loop", "t0", "t5", bore(16, 4200, 20)))
    write("ring-main", nodes, links, 60)


series()
parallel()
two_manifolds()
grid("grid-10", 2, 4, 45, 11, 4.0)
grid("grid-100", 7, 8, 80, 7, 6.0, diagonal=True)
heights()
demands()
