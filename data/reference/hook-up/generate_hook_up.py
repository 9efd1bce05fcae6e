"""Assignments, sums over permutations and densities by numpy 2.4.6 and scipy 1.17.1 (linear_sum_assignment, logsumexp,
stats.exponnorm, stats.norm). Run: python generate_hook_up.py > hook-up.toml; it writes exponnorm.csv beside itself."""

import itertools
import json
import math
import os

import numpy as np
from scipy.optimize import linear_sum_assignment
from scipy.special import logsumexp
from scipy.stats import exponnorm, norm

HERE = os.path.dirname(os.path.abspath(__file__))
RNG = np.random.default_rng(1955)


def toml(value):
    """A value as TOML on one line."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(k) if '.' in k else k} = {toml(v)}" for k, v in value.items()) + " }"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(toml(v) for v in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    return json.dumps(value)


def case(title, kind, source, place, calculator, given, expect, tolerance, because, memory=False):
    print(f"\n[[case]]\ntitle = {toml(title)}\nkind = {toml(kind)}\nsource = {toml(source)}\nplace = {toml(place)}")
    print(f"calculator = {toml(calculator)}\ninput = {toml(given)}\nexpect = {toml(expect)}")
    print(f"tolerance = {toml(tolerance)}\nbecause = {toml(because)}")
    if memory:
        print("memory = true")


def best(matrix):
    rows, columns = linear_sum_assignment(matrix, maximize=True)
    out = {f"best.{i}": int(j) for i, j in zip(rows, columns)}
    out["best_log"] = float(matrix[rows, columns].sum())
    return out


def all_permutations(matrix, prior):
    n = len(matrix)
    orders = list(itertools.permutations(range(n)))
    logs = np.array(
        [sum(matrix[i][j] for i, j in enumerate(o)) + math.log(prior) * sum(i != j for i, j in enumerate(o)) for o in orders]
    )
    total = logsumexp(logs)
    weights = np.exp(logs - total)
    out = {"log_total": float(total), "as_listed": float(weights[orders.index(tuple(range(n)))])}
    for i, j in [(0, 0), (0, 1), (1, 2), (n - 1, 0)]:
        out[f"shares.{i}.{j}"] = float(weights[[o[i] == j for o in orders]].sum())
    return out


def assignments():
    for n in (3, 8, 20, 40):
        matrix = np.round(RNG.normal(0.0, 6.0, (n, n)), 3)
        case(f"best assignment of {n}", "reference-library", "scipy",
             "scipy 1.17.1, optimize.linear_sum_assignment(matrix, maximize=True)", "assignment",
             {"log_likelihood": matrix.tolist()}, best(matrix), {"absolute": 1e-9}, "both exact to rounding")
    for n, prior in ((5, 1.0), (5, 0.05), (7, 0.2)):
        matrix = np.round(RNG.normal(0.0, 2.0, (n, n)), 3)
        case(f"sum over all permutations of {n}, weight {prior} a misplaced one", "reference-library", "scipy",
             "scipy 1.17.1, special.logsumexp over itertools.permutations", "assignment",
             {"log_likelihood": matrix.tolist(), "prior_misplaced": prior}, all_permutations(matrix, prior),
             {"relative": 1e-9}, "both exact to rounding")
    worked = [
        ([[9, 2, 7, 8], [6, 4, 3, 7], [5, 8, 1, 8], [7, 6, 9, 4]], [1, 0, 2, 3], 13),
        ([[82, 83, 69, 92], [77, 37, 49, 92], [11, 69, 5, 86], [8, 9, 98, 23]], [2, 1, 0, 3], 140),
    ]
    for cost, order, least in worked:
        case(f"worked example with least cost {least}", "published", "assignment-worked", "worked example of four by four",
             "assignment", {"log_likelihood": [[-c for c in row] for row in cost]},
             {**{f"best.{i}": j for i, j in enumerate(order)}, "best_log": -least}, {"absolute": 1e-9}, "whole numbers", True)
    case("nothing known: every permutation alike", "identity", "own-arithmetic", "6! permutations", "assignment",
         {"log_likelihood": [[0.0] * 6] * 6},
         {"log_total": math.log(720), "as_listed": 1 / 720, "shares.2.4": 1 / 6}, {"relative": 1e-12}, "closed form")
    rencontres = sum(math.comb(4, m) * d * 0.5**m for m, d in enumerate([1, 0, 1, 2, 9]))
    case("nothing known, half the weight a misplaced one: rencontres numbers", "published", "montmort-1713",
         "derangements 1, 0, 1, 2, 9: sum of C(4, m) D(m) / 2^m", "assignment",
         {"log_likelihood": [[0.0] * 4] * 4, "prior_misplaced": 0.5},
         {"log_total": math.log(rencontres), "as_listed": 1 / rencontres}, {"relative": 1e-12}, "closed form", True)


def fit(measured, expected, sd_m, sd_e):
    """Density of ln flow as the hook-up check weighs it, by scipy: sound, fouled, odd."""
    by, sd = math.log(measured / expected), math.sqrt(sd_m**2 + sd_e**2 + 0.02**2)
    sound = norm.pdf(by, 0, sd)
    fouled = exponnorm.pdf(-by, 0.6 / sd, loc=0, scale=sd)
    odd = 0.98 / 3 * (norm.cdf((by + 1) / sd) - norm.cdf((by - 2) / sd)) + 0.002 * math.exp(-0.2 * abs(by))
    return 0.60 * sound + 0.37 * fouled + 0.03 * odd


def checks():
    for title, read, new in (
        ("flow of two exchanged", [0.58, 1.15], [1.2, 0.6]),
        ("a fouled circuit is no exchange", [0.6, 0.4], [1.2, 0.8]),
        ("too near to tell", [0.66, 0.60], [0.60, 0.66]),
    ):
        density = [[0.95 * fit(m, e, 0.02, 0.03) for e in new] for m in read]
        listed = density[0][0] * density[1][1]
        swapped = density[0][1] * density[1][0] * 0.1
        circuits = [
            {"id": name, "measured": {"flow_factor_m3_h": m, "passes": "yes"}, "expected": {"flow_factor_m3_h": e}}
            for name, m, e in zip(("F1", "F2"), read, new)
        ]
        share = swapped / (listed + swapped)
        case(title, "reference-library", "scipy", "scipy 1.17.1, stats.norm and stats.exponnorm, Bayes' rule by hand",
             "hook-up-check", {"circuits": circuits}, {"as_listed": 1 - share, "elsewhere.0.probability": share},
             {"relative": 1e-6}, "distribution functions to ten digits")


def limits():
    case("fouling density of an exact reading is the exponential", "identity", "own-arithmetic",
         "sd to 0: exp(-x / tail) / tail", "fouling-density",
         {"loss_ln": 0.6, "standard_ln": 1e-4, "mean_loss_ln": 0.6}, {"density": math.exp(-1) / 0.6},
         {"relative": 1e-7}, "exp(sd^2 / (2 tail^2)) is 1 to 1.4e-8")


def refusals():
    print('\n[[case]]\ncalculator = "assignment"\ninput = { log_likelihood = [[0, 1], [0]] }\nrefuse = ["log_likelihood"]')
    print('title = "a matrix that is not square"\nkind = "identity"\nsource = "own-arithmetic"\nplace = "definition"\nbecause = "refused"')


print('topic = "hook-up"')
assignments()
checks()
limits()
refusals()
print("""
[[sweep]]
title = "density of the loss in a fouled circuit"
kind = "reference-library"
source = "scipy"
place = "scipy 1.17.1, stats.exponnorm.pdf(x, tail / sd, loc=0, scale=sd)"
generator = "generate_hook_up.py"
calculator = "fouling-density"
file = "exponnorm.csv"
inputs = ["loss_ln", "standard_ln", "mean_loss_ln"]
expect = ["density"]
fixed = { }
bounds = { median = 1e-8, p99 = 1e-6, max = 1e-3 }
because = "far out the density comes from four terms of Mills' ratio\"""")
with open(os.path.join(HERE, "exponnorm.csv"), "w", encoding="utf-8") as out:
    out.write("loss_ln,standard_ln,mean_loss_ln,density\n")
    for sd in (0.01, 0.03, 0.1, 0.4):
        for tail in (0.05, 0.25, 0.6, 1.2):
            for x in np.concatenate([np.linspace(-4, 6, 11) * sd, np.linspace(0.3, 3, 4) * tail]):
                out.write(f"{x:.6g},{sd},{tail},{exponnorm.pdf(float(f'{x:.6g}'), tail / sd, loc=0, scale=sd):.12e}\n")
