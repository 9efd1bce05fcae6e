"""The walk through a circuit's past, written a second time: numpy 2.4.6 and scipy 1.17.1 (linalg.expm, stats.norm).

Rates, successes and shares are those of crates/calc/src/infer/history: own choices, repeated here so that the arithmetic is
checked, not the choices. Run: python generate_history.py > history.toml"""

import numpy as np
from scipy.linalg import expm
from scipy.stats import norm

NAMES = ["as-new", "even-deposit", "local-plug", "mixed", "rough", "unknown"]
DOUBTED, FORGOTTEN, REPEATED, LEAST, SLIPPED, YEAR = 0.15, 3.0, 0.5, 0.005, 0.2, 365.25
RATES = np.zeros((6, 6))
for a, b, rate in [(0, 1, 0.30), (0, 2, 0.14), (0, 4, 0.10), (0, 5, 0.026), (1, 3, 0.14), (2, 3, 0.30), (4, 1, 0.30)]:
    RATES[a, b] += rate / YEAR
    RATES[a, a] -= rate / YEAR
# Transition matrices of what was done: rows lead to columns.
DONE = {
    "descaled": [(0, [0, 0.8, 0.3, 0.25, 0, 0]), (2, [0, 0, 0, 0.6, 0, 0])],
    "rodded": [(0, [0, 0.3, 0.85, 0.2, 0, 0]), (1, [0, 0, 0, 0.75, 0, 0])],
    "opened-and-repaired": [(0, [0, 0.4, 0.9, 0.4, 0.2, 0.8]), (1, [0, 0, 0, 0.7, 0, 0])],
    "treated": [(0, [0, 0.15, 0.1, 0.05, 0, 0])],
}
ANY = np.array([0.57, 0.205, 0.09, 0.04, 0.065, 0.02])
ANY /= ANY.sum()


def work(p, done):
    for to, success in DONE.get(done, []):
        matrix = np.diag(1 - np.array(success, float))
        matrix[:, to] += success
        p = p @ matrix
    return p


def weighed(p, likelihood, any_circuit):
    p = p * likelihood / (p * likelihood).sum()
    slip = SLIPPED * p[5]
    p[5] -= slip
    return (1 - slip) * p / p.sum() + slip * any_circuit


def walk(days, any_circuit, done_today):
    """days: (days ago, found, before, thickness, its uncertainty, done), the oldest first."""
    p, believed, fresh, joint = any_circuit.copy(), any_circuit.copy(), 1.0, None
    for at, (ago, found, before, mm, mm_sd, done) in enumerate(days):
        if found is not None:
            ratio = np.maximum(found, LEAST) / np.maximum(any_circuit if before is None else before, LEAST)
            p, believed = weighed(p, ratio**REPEATED, any_circuit), weighed(believed, ratio, any_circuit)
            fresh = 0.0
            if mm is not None and joint is None:  # level and slope: mean, covariance
                joint = [np.array([mm, 0.15 / YEAR]), np.diag([mm_sd, 0.15 / YEAR]) ** 2]
            elif mm is not None:
                mean, cov = joint
                gain = cov[:, 0] / (cov[0, 0] + mm_sd**2)
                joint = [mean + gain * (mm - mean[0]), cov - np.outer(gain, cov[0])]
        for one in done:
            p, believed = work(p, one), work(believed, one)
            joint = joint if one in ("nothing", "treated") else None
        wait = ago - (days[at + 1][0] if at + 1 < len(days) else 0)
        believed = believed @ expm(RATES * wait)
        back = 1 - (1 - (DOUBTED if found is not None else 0)) * np.exp(-wait / (FORGOTTEN * YEAR))
        p = (1 - back) * (p @ expm(RATES * wait)) + back * any_circuit
        fresh += (1 - fresh) * back
        if joint is not None:
            step = np.array([[1, wait], [0, 1]])
            joint = [step @ joint[0], step @ joint[1] @ step.T + np.diag([wait * 0.05**2 / YEAR, 0])]
    for one in done_today:
        p, believed = work(p, one), work(believed, one)
        joint = joint if one in ("nothing", "treated") else None
    return p, believed, fresh, joint


def toml(value):
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, dict):
        return "{ " + ", ".join(f'"{k}" = {toml(v)}' for k, v in value.items()) + " }"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(map(toml, value)) + "]"
    return repr(float(value))


def named(p):
    return dict(zip(NAMES, p))


def case(title, days, any_circuit=None, done_today=()):
    start = ANY if any_circuit is None else np.array(any_circuit)
    plain = [(ago, None if f is None else np.array(f), None if b is None else np.array(b), mm, sd, done)
             for ago, f, b, mm, sd, done in days]
    p, believed, fresh, joint = walk(plain, start, done_today)
    listed = []
    for ago, found, before, mm, sd, done in days[::-1]:
        day = {"days_ago": ago}
        if found is not None:
            day["state"] = named(found)
        if before is not None:
            day["state_before"] = named(before)
        if mm is not None:
            day |= {"deposit_thickness_mm": mm, "deposit_thickness_uncertainty_mm": sd}
        if done:
            day["done"] = list(done)
        listed.append(day)
    data = {"earlier": listed}
    if any_circuit is not None:
        data["any_circuit"] = named(any_circuit)
    if done_today:
        data["done_today"] = list(done_today)
    expect = {f"probabilities.{n}": v for n, v in zip(NAMES, p)}
    expect |= {f"believed.{n}": v for n, v in zip(NAMES, believed)} | {"fresh_share": fresh}
    if joint is not None:
        middle = joint[0][0]
        sd = np.hypot(np.sqrt(joint[1][0, 0]) / middle, 0.4)
        expect |= {"layer_mm.value": middle, "layer_mm.high": middle * np.exp(norm.ppf(0.975) * sd)}
    print(f'\n[[case]]\ntitle = "{title}"\nkind = "reference-library"\nsource = "scipy"')
    print('place = "scipy 1.17.1, linalg.expm, and numpy 2.4.6, the same walk written as matrices"')
    print(f'calculator = "bore-history"\ninput = {toml(data)}\nexpect = {toml(expect)}')
    print('tolerance = { absolute = 1e-9 }\nbecause = "the same arithmetic with the same choices"')


DEPOSIT = [0.06, 0.80, 0.03, 0.08, 0.02, 0.01]
PLUG = [0.04, 0.05, 0.82, 0.06, 0.01, 0.02]
NEW = [0.96, 0.01, 0.01, 0.0, 0.02, 0.0]
BEFORE = [0.30, 0.45, 0.08, 0.10, 0.05, 0.02]
print('topic = "bore-history"')
case("A deposit in March, nothing done since", [(250, DEPOSIT, None, 0.5, 0.08, ["nothing"])])
case("A deposit, descaled afterwards", [(250, DEPOSIT, None, 0.5, 0.08, ["descaled"])])
case("A narrow place, rodded, then treated", [(400, PLUG, None, None, None, ["rodded", "treated"])])
case("As new, nine years ago", [(3287, NEW, None, None, None, [])])
case("Three visits, the later ones with what was expected before them",
     [(1100, NEW, None, None, None, []), (700, DEPOSIT, BEFORE, 0.3, 0.1, []), (60, DEPOSIT, BEFORE, 0.55, 0.1, [])])
case("Descaled today before the readings", [(30, DEPOSIT, None, 0.6, 0.1, [])], done_today=["descaled"])
case("Only work on record", [(90, None, None, None, None, ["opened-and-repaired"])])
case("A plant with other habits", [(200, PLUG, BEFORE, None, None, [])], any_circuit=[0.3, 0.4, 0.1, 0.1, 0.05, 0.05])
p = work(ANY, "descaled")
print(f'''
[[case]]
title = "Descaled just now, nothing read"
kind = "identity"
source = "own-arithmetic"
place = "as new: (0.57 + 0.8 x 0.205 + 0.3 x 0.09 + 0.25 x 0.04) / 0.99"
calculator = "bore-history"
input = {{ earlier = [{{ days_ago = 0, done = ["descaled"] }}] }}
expect = {{ "probabilities.as-new" = {(0.57 + 0.8 * 0.205 + 0.3 * 0.09 + 0.25 * 0.04) / 0.99!r}, "probabilities.mixed" = {0.04 * 0.75 * 0.4 / 0.99!r} }}
tolerance = {{ absolute = 1e-12 }}
because = "closed form"

[[case]]
title = "A past that adds up to too much, and a treatment beside nothing"
kind = "identity"
source = "own-arithmetic"
place = "no probabilities; contradiction"
calculator = "bore-history"
input = {{ earlier = [{{ days_ago = 10, state = {{ even-deposit = 0.8, rough = 0.7 }} }}, {{ days_ago = 5, done = ["nothing", "descaled"] }}] }}
refuse = ["earlier.0.state", "earlier.1.done"]''')
