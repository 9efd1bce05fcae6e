"""Leak-down traces with exact physics, some with noise.

Made with numpy 2.4.6 on Python 3.11 (requirements.txt). Run in this folder.
One gas volume at wall temperature (isothermal), atmosphere 1.013 bar. Start leak rate q0 in mbar l/s AT THE START PRESSURE,
as pressure times volume per time referred to 20 degC: q0 = -V dp/dt * 293.15 / T.
- "orifice" (choked): dp/dt = -k p, so p = p0 exp(-k t).
- "capillary" (laminar): dp/dt = -k (p^2 - pa^2); closed form below.
- "linear": dp/dt constant, the textbook case.
Pressures are rounded to 0.001 mbar (exact traces) or 0.01 mbar (noisy ones).
"""

import json
import math

import numpy as np

ATMOSPHERE = 1.013


def pressures(law, start_bar_g, slope_mbar_s, times):
    start = start_bar_g + ATMOSPHERE
    slope = slope_mbar_s / 1e3
    if law == "linear":
        return [start - slope * t - ATMOSPHERE for t in times]
    if law == "orifice":
        return [start * math.exp(-slope / start * t) - ATMOSPHERE for t in times]
    k = slope / (start**2 - ATMOSPHERE**2)
    c = (start - ATMOSPHERE) / (start + ATMOSPHERE)
    out = []
    for t in times:
        e = c * math.exp(-2 * ATMOSPHERE * k * t)
        out.append(ATMOSPHERE * (1 + e) / (1 - e) - ATMOSPHERE)
    return out


def write(name, volume, law, start, rate, times, *, wall=20.0, limit=0.1, noise_mbar=0.0, seed=0, settle=None,
          temperatures=None):
    slope = rate / (volume / 1e3) * (wall + 273.15) / 293.15
    values = np.array(pressures(law, start, slope, times))
    if settle:
        amplitude_mbar, tau = settle
        values = values + amplitude_mbar / 1e3 * np.exp(-np.array(times) / tau)
    if temperatures:
        kelvin = np.array(temperatures) + 273.15
        values = (values + ATMOSPHERE) * kelvin / kelvin[0] - ATMOSPHERE
    digits = 6
    if noise_mbar:
        values = values + np.random.default_rng(seed).normal(0.0, noise_mbar / 1e3, len(values))
        digits = 5
    trace = {"time_s": times, "pressure_bar_g": [round(float(v), digits) for v in values]}
    if temperatures:
        trace["temperature_deg_c"] = temperatures
    given = {"volume_ml": volume, "volume_uncertainty_percent": 2.0, "atmosphere_bar_abs": ATMOSPHERE,
             "wall_temperature_deg_c": wall, "trace": trace, "limit_mbar_l_s": limit}
    with open(f"{name}.json", "w") as file:
        file.write(json.dumps(given, separators=(",", ":")) + "\n")


def every(step, count):
    return [round(step * i, 6) for i in range(count)]


MINUTE = every(2.0, 31)
write("linear-1", 1000, "linear", 6.0, 1.0, MINUTE, limit=0.1)
write("linear-small", 200, "linear", 6.0, 0.20, MINUTE, limit=0.1)
write("orifice-05", 250, "orifice", 6.0, 0.50, MINUTE, limit=0.1)
write("capillary-05", 250, "capillary", 6.0, 0.50, MINUTE, limit=0.1)
write("orifice-low-pressure", 500, "orifice", 2.0, 0.40, MINUTE, limit=0.1)
write("orifice-hot-mould", 250, "orifice", 6.0, 0.50, MINUTE, wall=60.0, limit=0.1)
write("tight", 150, "linear", 6.0, 0.0, MINUTE, limit=0.1)
write("below-limit", 150, "orifice", 6.0, 0.03, MINUTE, limit=0.1)
write("big-volume", 3000, "orifice", 6.0, 5.0, MINUTE, limit=0.5)
write("cooling-gas-tight", 500, "linear", 6.0, 0.0, MINUTE, temperatures=[round(20 - 0.5 * t / 60, 6) for t in MINUTE])
write("still-settling", 500, "linear", 6.0, 0.0, every(0.5, 41), settle=(120.0, 12.0))
LONG = every(0.25, 241)
write("noise-02", 200, "orifice", 6.0, 0.20, LONG, noise_mbar=1.0, seed=41, limit=0.1)
write("noise-1", 400, "capillary", 6.0, 1.0, LONG, noise_mbar=1.0, seed=42, limit=0.1)
write("noise-tight", 100, "linear", 6.0, 0.0, LONG, noise_mbar=1.0, seed=43, limit=0.1)
write("noise-hot", 300, "orifice", 6.0, 0.60, LONG, wall=45.0, noise_mbar=1.0, seed=44, limit=0.1)
write("noise-short", 3000, "linear", 6.0, 0.1, every(0.5, 9), noise_mbar=5.0, seed=45, limit=0.1)
