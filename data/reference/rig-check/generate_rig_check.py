"""Bucket budgets by metrolopy, robust factors by statsmodels, drift by scipy, an orifice by fluids.

Made with metrolopy 1.1.1, statsmodels 0.15.0, numpy 2.4.6, scipy 1.17.1 and fluids 1.3.1 on Python 3.11
(requirements.txt). Run in this folder: writes bucket.csv, budget.toml, common-factor.toml, drift.toml and orifice.toml.
"""

import csv
import itertools
import json
import math

import numpy as np
import statsmodels.api as sm
from fluids.flow_meter import differential_pressure_meter_solver
from metrolopy import UniformDist, gummy
from scipy import optimize, stats

RNG = np.random.default_rng(4185)


def toml(value):
    """A value as TOML, on one line."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {toml(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(toml(item) for item in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (float, np.floating)):
        return f"{float(value):.10g}"
    return json.dumps(value)


def case(title, kind, source, place, calculator, given, expect, tolerance, because):
    lines = [
        "[[case]]",
        f"title = {json.dumps(title)}",
        f'kind = "{kind}"',
        f'source = "{source}"',
        f"place = {json.dumps(place)}",
        f'calculator = "{calculator}"',
        f"input = {toml(given)}",
        "expect = { " + ", ".join(f'"{key}" = {toml(item)}' for key, item in expect.items()) + " }",
        f"tolerance = {toml(tolerance)}",
        f"because = {json.dumps(because)}",
    ]
    return "\n".join(lines) + "\n"


def write(name, about, cases):
    with open(name, "w") as file:
        file.write(f"# {about}\n\ntopic = \"rig-check\"\n\n" + "\n".join(cases))


# --- a single filling: first-order budget of metrolopy

def flow(mass, lost, step_full, step_empty, time, watch_start, watch_stop):
    return (mass + lost + step_full - step_empty) / (time + watch_stop - watch_start)


def rectangle(width):
    return gummy(UniformDist(lower_limit=-width / 2, upper_limit=width / 2)) if width else 0.0


rows = []
for _ in range(60):
    mass, seconds = round(RNG.uniform(2, 40), 2), round(RNG.uniform(12, 240), 1)
    u_mass, u_time = round(RNG.uniform(0.002, 0.05), 4), round(RNG.uniform(0.05, 0.5), 3)
    step, lost = round(RNG.choice([0.0, 0.005, 0.02, 0.1]), 3), round(RNG.choice([0.0, 0.02, 0.1]), 3)
    tick = round(RNG.choice([0.0, 0.1, 1.0]), 1)
    found = flow(
        gummy(mass, u=u_mass), lost / 2 + rectangle(lost), rectangle(step), rectangle(step),
        gummy(seconds, u=u_time), rectangle(tick), rectangle(tick),
    )
    rows.append([mass, seconds, u_mass, u_time, step, lost, tick, 100 * found.u / found.x])
with open("bucket.csv", "w", newline="") as file:
    out = csv.writer(file, lineterminator="\n")
    out.writerow(["mass_kg", "time_s", "mass_uncertainty_kg", "time_uncertainty_s", "step_kg", "lost_kg", "time_step_s",
                  "standard_percent"])
    out.writerows([*row[:-1], f"{row[-1]:.9g}"] for row in rows)

# --- repeated fillings: type A with its degrees of freedom beside the mark's own uncertainty

cases = ["""[[sweep]]
title = "Budget of one filling"
kind = "reference-library"
source = "metrolopy"
place = "metrolopy 1.1.1, gummy of (m + lost + steps)/(t + ticks), first order"
generator = "generate_rig_check.py"
calculator = "bucket-check"
file = "bucket.csv"
inputs = ["mass_kg", "time_s", "mass_uncertainty_kg", "time_uncertainty_s", "step_kg", "lost_kg", "time_step_s"]
expect = ["standard_percent"]
fixed = { }
bounds = { median = 1e-06, p99 = 1e-05, max = 1e-05 }
because = "the same first-order budget; density at a known temperature adds nothing"
"""]
U_TIME = 0.3
for title, fillings, u_mark in [
    ("Three fillings by mark that scatter", [(20.3, 60.2), (19.6, 60.1), (20.1, 59.8)], 0.05),
    ("Five fillings by mark that scatter", [(14.9, 45.0), (15.3, 45.1), (15.2, 45.3), (14.8, 44.9), (15.1, 45.0)], 0.10),
    ("Two fillings by mark that scatter", [(30.0, 90.0), (30.9, 90.0)], 0.20),
]:
    flows = np.array([60 * volume / seconds for volume, seconds in fillings])
    # The hand's 0.3 s count like four earlier fillings (three degrees of freedom), pooled with the scatter seen.
    count, clock = len(flows), U_TIME / min(seconds for _, seconds in fillings)
    freedom = 3 + count - 1
    scatter = math.sqrt((3 * clock**2 + (count - 1) * (flows.std(ddof=1) / flows.mean()) ** 2) / freedom / count)
    mark = u_mark / min(volume for volume, _ in fillings)
    total = gummy(1.0, u=scatter, dof=freedom) * gummy(1.0, u=mark)
    dof = float(total.dof)
    k = float(stats.t.ppf(0.975, math.floor(dof)))
    runs = [{"volume_l": volume, "time_s": seconds} for volume, seconds in fillings]
    cases.append(case(
        title, "reference-library", "metrolopy",
        f"metrolopy 1.1.1, product of two gummies, dof = {dof:.3f}; scipy 1.17.1 stats.t.ppf(0.975, floor(dof))",
        "bucket-check",
        {"runs": runs, "volume_uncertainty_l": u_mark, "time_uncertainty_s": U_TIME},
        {"standard_percent": 100 * total.u, "coverage_factor": k, "flow_l_min.value": flows.mean(),
         "flow_l_min.high": flows.mean() * (1 + k * total.u)},
        {"relative": 1e-4}, "second-order term of the product of two gummies",
    ))
write("budget.toml", "Flow by bucket: budgets by metrolopy.", cases)

# --- one factor for many: Huber's estimate of statsmodels

cases = []
sets = [
    ("Nine alike and three fouled", [1.08, 1.09, 1.07, 1.085, 1.10, 1.06, 1.075, 1.08, 1.09, 0.62, 0.81, 0.93],
     [1.5] * 12, [1.0] * 12),
    ("Unequal uncertainties", [0.97, 0.99, 0.95, 1.01, 0.88, 0.5, 0.98], [1.0, 2.0, 3.0, 1.5, 5.0, 2.0, 0.8], [1.0] * 7),
    ("Hoses taken out, so that some follow more", [1.05, 1.11, 1.06, 1.16, 1.04, 1.9], [1.2, 2.5, 1.0, 3.0, 1.4, 2.0],
     [1.0, 2.1, 1.2, 3.0, 1.0, 1.5]),
    ("Nothing but scatter", [float(f"{math.exp(x):.5f}") for x in RNG.normal(0.0, 0.02, 20)], [2.0] * 20, [1.0] * 20),
]
for title, ratios, percents, follows in sets:
    u = np.array(percents) / 100
    model = sm.RLM(np.log(ratios) / u, np.array(follows) / u, M=sm.robust.norms.HuberT(t=1.345))
    found = model.fit(scale_est="mad", maxiter=2000, tol=1e-13)
    moved = [{"ratio": r, "uncertainty_percent": p, "follows": f} for r, p, f in zip(ratios, percents, follows)]
    cases.append(case(
        title, "reference-library", "statsmodels",
        "statsmodels 0.15.0, RLM(ln(ratio)/u, follows/u, HuberT(1.345)).fit(scale_est='mad')",
        "common-factor", {"moved": moved},
        {"ln_factor": float(found.params[0]), "scatter": float(found.scale)},
        {"relative": 1e-6}, "both iterate to rest",
    ))
write("common-factor.toml", "Robust common factor of many ratios: statsmodels.", cases)

# --- drift: all combinations of sound and drifted, in one matrix each, by scipy

NAMES = ["flow-meter", "inlet-gauge-zero", "inlet-gauge-gain", "outlet-gauge-zero", "outlet-gauge-gain"]
Z98 = float(stats.norm.ppf(0.99))


def drift(flow_u, bar_u, rows):
    """Posterior mean, 95 % interval and probability beyond 98 % of each error; rows are (weights, deviation, noise)."""
    part = bar_u / math.sqrt(2)
    sound = np.array([flow_u, part, part / 6, part, part / 6])
    slab = np.array([max(5 * flow_u, 0.05), max(5 * bar_u, 0.1), max(5 * bar_u / 6, 0.02), max(5 * bar_u, 0.1),
                     max(5 * bar_u / 6, 0.02)])
    prior = np.array([0.05, 0.03, 0.03, 0.03, 0.03])
    limit = Z98 * np.array([flow_u, bar_u, bar_u / 6, bar_u, bar_u / 6])
    a = np.array([row[0] for row in rows])
    y = np.array([row[1] for row in rows])
    r = np.diag([row[2] ** 2 for row in rows])
    parts = []
    for flags in itertools.product([0, 1], repeat=5):
        flags = np.array(flags)
        p = np.diag(sound**2 + flags * slab**2)
        s = a @ p @ a.T + r
        weight = np.prod(np.where(flags, prior, 1 - prior)) * stats.multivariate_normal(np.zeros(len(y)), s).pdf(y)
        gain = p @ a.T @ np.linalg.inv(s)
        parts.append((weight, gain @ y, np.sqrt(np.diag(p - gain @ a @ p))))
    weights = np.array([part[0] for part in parts]) / sum(part[0] for part in parts)
    means, sds = np.array([part[1] for part in parts]), np.array([part[2] for part in parts])
    out = {}
    for i, name in enumerate(NAMES):
        def below(x, i=i):
            return float(weights @ stats.norm.cdf((x - means[:, i]) / sds[:, i]))
        quantile = [optimize.brentq(lambda x: below(x) - q, -3, 3, xtol=1e-13) for q in (0.025, 0.975)]
        out[name] = (float(weights @ means[:, i]), *quantile, below(-limit[i]) + 1 - below(limit[i]))
    return out


GAUGE = 0.002
REPEATS = 0.004


def bucket_row(meter, caught, u):
    return ([1, 0, 0, 0, 0], math.log(meter / caught), u / caught)


def rest_rows(inlet, outlet):
    return [([0, 1, 0, 0, 0], inlet, GAUGE), ([0, 0, 0, 1, 0], outlet, GAUGE)]


def shut_row(inlet, outlet):
    return ([0, 1, inlet, -1, -outlet], inlet - outlet, math.sqrt(2) * GAUGE)


def orifice_row(l_min, inlet, outlet, factor, relative):
    drop = inlet - outlet
    half = 0.5 / drop
    deviation = math.log(l_min * 0.06 / math.sqrt(drop) / factor)
    noise = math.sqrt(REPEATS**2 + relative**2 + 2 * (half * GAUGE) ** 2)
    return ([1, -half, -half * inlet, half, half * outlet], deviation, noise)


def expectation(found, names):
    expect = {}
    for name in names:
        mean, low, high, beyond = found[name]
        shown = {"flow-meter": lambda x: 100 * math.expm1(x)}.get(name, (lambda x: 100 * x) if "gain" in name else (lambda x: x))
        expect[f"instruments.{name}.error.value"] = shown(mean)
        expect[f"instruments.{name}.error.low"] = shown(low)
        expect[f"instruments.{name}.error.high"] = shown(high)
        expect[f"instruments.{name}.drifted"] = beyond
    return expect


cases = []
bucket = {"on": "bucket", "flow_l_min": 12.9, "bucket_flow_l_min": 12.0, "bucket_uncertainty_l_min": 0.08}
rest = {"on": "at-rest", "pressure_in_bar_g": 0.07, "pressure_out_bar_g": -0.01}
shut = {"on": "shut-off", "pressure_in_bar_g": 5.35, "pressure_out_bar_g": 5.0}
orifice = {"on": "orifice", "flow_l_min": 14.6, "pressure_in_bar_g": 2.3, "pressure_out_bar_g": 0.2,
           "water_temperature_deg_c": 20.0, "reference_flow_factor_m3_h": 0.6, "reference_uncertainty_percent": 1.0}
SETS = [
    ("A meter beside a bucket", 0.02, 0.05, [bucket], [bucket_row(12.9, 12.0, 0.08)], NAMES[:1]),
    ("Gauges at rest and at shut-off", 0.02, 0.05, [rest, shut], [*rest_rows(0.07, -0.01), shut_row(5.35, 5.0)], NAMES[1:]),
    ("An orifice alone", 0.02, 0.05, [orifice], [orifice_row(14.6, 2.3, 0.2, 0.6, 0.01)], NAMES[:4]),
    ("Everything together on a good rig", 0.01, 0.02, [bucket, rest, shut, orifice],
     [bucket_row(12.9, 12.0, 0.08), *rest_rows(0.07, -0.01), shut_row(5.35, 5.0), orifice_row(14.6, 2.3, 0.2, 0.6, 0.01)],
     NAMES),
]
for title, flow_u, bar_u, readings, matrix, names in SETS:
    cases.append(case(
        title, "reference-library", "scipy",
        "scipy 1.17.1, multivariate_normal over all combinations, numpy conditioning; priors of the method page",
        "rig-check",
        {"flow_uncertainty_percent": 100 * flow_u, "pressure_uncertainty_bar": bar_u, "readings": readings},
        expectation(drift(flow_u, bar_u, matrix), names),
        {"absolute": 1e-4},
        "the same model in another arithmetic; percent, bar or probability; density of the water to 1e-6",
    ))
write("drift.toml", "What has drifted: all combinations in one matrix each, by scipy.", cases)

# --- an orifice plate of ISO 5167-2 as the known thing

BORE, PIPE = 0.010, 0.020
RHO, MU = 998.2, 1.0016e-3


def iso_flow(drop_bar):
    mass = differential_pressure_meter_solver(
        D=PIPE, rho=RHO, mu=MU, k=1e9, D2=BORE, P1=5e5 + 1e5 * drop_bar, P2=5e5, meter_type="ISO 5167 orifice",
        taps="corner",
    )
    return mass / RHO * 60_000


factor = iso_flow(1.0) * 0.06
cases = []
for title, drop_bar, meter in [
    ("Orifice of ISO 5167, meter true", 2.5, 1.0),
    ("Orifice of ISO 5167, meter 12 % too much", 2.5, 1.12),
    ("Orifice of ISO 5167, meter 12 % too little", 0.6, 0.88),
]:
    reading = {"on": "orifice", "flow_l_min": meter * iso_flow(drop_bar), "pressure_in_bar_g": drop_bar,
               "pressure_out_bar_g": 0.0, "water_temperature_deg_c": 20.0, "reference_flow_factor_m3_h": factor,
               "reference_uncertainty_percent": 0.3}
    still = {"on": "at-rest", "pressure_in_bar_g": 0.0, "pressure_out_bar_g": 0.0}
    cases.append(case(
        title, "reference-library", "iso-5167-2",
        "fluids 1.3.1, differential_pressure_meter_solver(meter_type='ISO 5167 orifice', taps='corner'), d 10, D 20 mm",
        "rig-check",
        {"flow_uncertainty_percent": 2.0, "pressure_uncertainty_bar": 0.005, "readings": [reading, still]},
        {"instruments.flow-meter.error.value": 100 * (meter - 1)},
        {"absolute": 0.35}, "C of ISO 5167 falls by 0.24 % from 1 to 2.5 bar; the prior pulls by up to 0.1",
    ))
write("orifice.toml", "An orifice plate of ISO 5167-2 as the known thing, by fluids.", cases)
