"""Fits the glycol correlations; writes ethylene-glycol.toml and propylene-glycol.toml beside this file and the
same numbers as crates/calc/src/water/glycol/tables.rs.

Reference: CoolProp 8.0.0 (requirements.txt), incompressible mixtures MEG and MPG, by mass.
Run: python -m venv VENV && VENV/bin/pip install -r requirements.txt && VENV/bin/python fit_glycol.py

Form, for each property P:  ln(P / unit) = sum over i, j of c[i][j] u^i v^j
    u = mass per cent / 60        v = (temperature in degC - 30) / 70
Freezing point in degC:  t = sum over i >= 1 of c[i] u^i   (zero for plain water by construction)

The grid runs from 0 to 60 % by mass in steps of 1 %, and at each strength from the freezing point to
100 degC in 41 steps. The largest errors are taken on a second grid that shares no inner point with the first.
"""

import pathlib

import CoolProp
import numpy
from CoolProp.CoolProp import PropsSI

HERE = pathlib.Path(__file__).resolve().parent
RUST = HERE.parent.parent / "crates/calc/src/water/glycol/tables.rs"
MEDIA = [("ethylene-glycol", "MEG", "ethylene glycol"), ("propylene-glycol", "MPG", "propylene glycol")]
PROPERTIES = [  # name, CoolProp key, powers of u, powers of v
    ("density_kg_m3", "D", 5, 4),
    ("viscosity_pa_s", "V", 6, 4),
    ("conductivity_w_m_k", "L", 5, 4),
    ("heat_capacity_j_kg_k", "C", 5, 4),
]
FREEZING_POWERS = 5
PRESSURE_PA = 5e5  # without effect: the reference is incompressible


def reference(key, fluid, percent, deg_c):
    return PropsSI(key, "T", deg_c + 273.15, "P", PRESSURE_PA, f"INCOMP::{fluid}[{percent / 100:.6f}]")


def freezing(fluid, percent):
    return reference("T_freeze", fluid, percent, 30.0) - 273.15


def grid(fluid, percents, steps):
    points = []
    for percent in percents:
        start = freezing(fluid, percent) + 0.05
        points += [(percent, start + (99.999 - start) * step / (steps - 1)) for step in range(steps)]
    return points


def scaled(points):
    percent, deg_c = numpy.array(points).T
    return percent / 60.0, (deg_c - 30.0) / 70.0


def basis(points, powers_u, powers_v):
    u, v = scaled(points)
    return numpy.stack([u**i * v**j for i in range(powers_u) for j in range(powers_v)], axis=1)


def fit(fluid, key, powers_u, powers_v):
    points = grid(fluid, numpy.arange(0.0, 60.5, 1.0), 41)
    values = numpy.log([reference(key, fluid, *point) for point in points])
    coefficients = numpy.linalg.lstsq(basis(points, powers_u, powers_v), values, rcond=None)[0]
    coefficients = numpy.array([float(f"{c:.10e}") for c in coefficients])
    check = grid(fluid, numpy.arange(0.5, 60.0, 1.0), 37)
    errors = numpy.exp(basis(check, powers_u, powers_v) @ coefficients) / numpy.array(
        [reference(key, fluid, *point) for point in check]
    )
    worst = int(numpy.argmax(abs(errors - 1.0)))
    return coefficients.reshape(powers_u, powers_v), abs(errors[worst] - 1.0) * 100.0, check[worst]


def fit_freezing(fluid):
    percents = numpy.arange(0.5, 60.5, 0.5)
    u = percents / 60.0
    matrix = numpy.stack([u**i for i in range(1, FREEZING_POWERS + 1)], axis=1)
    values = numpy.array([freezing(fluid, percent) for percent in percents])
    coefficients = numpy.linalg.lstsq(matrix, values, rcond=None)[0]
    coefficients = numpy.array([float(f"{c:.10e}") for c in coefficients])
    return coefficients, max(abs(matrix @ coefficients - values))


def row(numbers):
    return "[" + ", ".join(f"{number:.10e}" for number in numbers) + "]"


def rust_row(numbers):
    return "[" + ", ".join(f"{number:.10e}".replace("e+00", "").replace("e+0", "e").replace("e-0", "e-") for number in numbers) + "]"


def main():
    rust = [
        "//! Coefficients of the glycol correlations, written by `data/media/fit_glycol.py`; do not edit by hand.",
        "",
        "use super::Table;",
    ]
    for name, fluid, words in MEDIA:
        rust += ["", f"/// Water with {words}.", "#[rustfmt::skip]", f"pub(super) static {name.split('-')[0].upper()}: Table = Table {{"]
        lines = [
            f"# Water with {words}, 0 to 60 % by mass, freezing point to 100 degC. Written by fit_glycol.py.",
            'format = "borewise-medium/1"',
            f'name = "{name}"',
            f'reference = "CoolProp {CoolProp.__version__}, INCOMP::{fluid} (mass fraction)"',
            'sources = ["coolprop-2014", "melinder-2010"]',
            "",
            "[freezing_point_deg_c]  # sum of c[i] u^(i+1)",
        ]
        coefficients, error = fit_freezing(fluid)
        lines += [f"largest_error_k = {error:.3f}", f"coefficients = {row(coefficients)}"]
        rust += [f"    freezing_point_deg_c: {rust_row(coefficients)},"]
        for prop, key, powers_u, powers_v in PROPERTIES:
            table, error, (percent, deg_c) = fit(fluid, key, powers_u, powers_v)
            print(f"{name} {prop}: largest error {error:.3f} % at {percent} %, {deg_c:.1f} degC")
            lines += ["", f"[{prop}]  # ln P = sum of c[i][j] u^i v^j"]
            lines += [f"largest_error_percent = {error:.3f}", "coefficients = ["]
            lines += [f"    {row(numbers)}," for numbers in table] + ["]"]
            rust += [f"    {prop}: &["] + [f"        {rust_row(numbers)}," for numbers in table] + ["    ],"]
        rust += ["};"]
        (HERE / f"{name}.toml").write_text("\n".join(lines) + "\n")
    RUST.write_text("\n".join(rust) + "\n")


main()
