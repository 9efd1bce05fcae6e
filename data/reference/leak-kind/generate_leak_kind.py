"""Kinds of leaks weighed by scipy, and ratios of flow from real-gas and pipe-flow libraries.

Made with Python 3, versions in requirements.txt. Prints the numbers that stand in leak-kind.toml; run in this folder.
Nothing here is taken from the program: laws, priors (crack 0.45, orifice 0.30, seat 0.12, opening crack 0.13), ranges of
the powers (seat 0.3 to 4, opening crack 0.3 to 3), the stray of 2 % and the range of rates (1e-3 to 1e3 mbar l/s at 6 bar)
are those stated in docs/methods/leak-kind.md. Weights: scipy.integrate.quad over ln rate, Gauss-Legendre of 60 nodes over
the power. Ratio: scipy.optimize.brentq on |a - R b| = z sqrt(ua^2 + R^2 ub^2), which is Fieller's definition.
"""

import json

import CoolProp.CoolProp as cp
import fluids
import numpy as np
from scipy import integrate, optimize, stats

PRIOR = {"laminar-crack": 0.45, "orifice": 0.30, "sealing-seat": 0.12, "opening-crack": 0.13}
POWER = {"laminar-crack": None, "orifice": None, "sealing-seat": (0.3, 4.0), "opening-crack": (0.3, 3.0)}


def nozzle(p, air):
    r = max(air / p, (2 / 2.4) ** 3.5)
    return p * np.sqrt(r ** (2 / 1.4) - r ** (2.4 / 1.4))


def share(kind, power, bar_g, air):
    def raw(g):
        p = g + air
        base = p * p - air * air if kind in ("laminar-crack", "opening-crack") else nozzle(p, air)
        sign = {"sealing-seat": -1, "opening-crack": 1}.get(kind, 0)
        return base * g ** (sign * (power or 0))

    return raw(bar_g) / raw(6.0)


def evidence(points, kind, power, air):
    g = np.array([share(kind, power, p, air) for p, _, _ in points])
    q = np.array([q for _, q, _ in points])
    u = np.array([np.hypot(u, 0.02 * q) for _, q, u in points])
    top = stats.norm.logpdf(q, q, u).sum()

    def density(x):
        return np.exp(stats.norm.logpdf(q, np.exp(x) * g, u).sum() - top)

    weight = g / u**2
    best = float(np.clip((weight * q).sum() / (weight * g).sum(), 1e-3, 1e3))
    sd = float((weight * g).sum() ** -0.5)
    edges = [np.log(np.clip(best + k * sd, 1e-3, 1e3)) for k in (-10, -3, 0, 3, 10)]
    return sum(integrate.quad(density, a, b, limit=400)[0] for a, b in zip(edges, edges[1:]) if b > a)


def probabilities(points, air):
    found = {}
    for kind, prior in PRIOR.items():
        if POWER[kind] is None:
            found[kind] = prior * evidence(points, kind, None, air)
        else:
            low, high = POWER[kind]
            x, w = np.polynomial.legendre.leggauss(60)
            powers = (high + low) / 2 + (high - low) / 2 * x
            found[kind] = prior * sum(wi / 2 * evidence(points, kind, pi, air) for wi, pi in zip(w, powers))
    total = sum(found.values())
    return {kind: value / total for kind, value in found.items()}


def fieller(a, ua, b, ub):
    z = stats.norm.ppf(0.975)
    off = lambda r: abs(a - r * b) - z * np.hypot(ua, r * ub)
    return (
        a / b,
        optimize.brentq(off, -1e3 if off(-1e3) > 0 else 0, a / b, xtol=1e-14),
        optimize.brentq(off, a / b, 1e6, xtol=1e-12),
    )


def choked(p_pa, t_k=293.15):
    """Largest mass flux of real air on its isentrope, kg/(m2 s)."""
    h0 = cp.PropsSI("H", "T", t_k, "P", p_pa, "Air")
    s0 = cp.PropsSI("S", "T", t_k, "P", p_pa, "Air")

    def flux(r):
        h = cp.PropsSI("H", "P", r * p_pa, "S", s0, "Air")
        return -cp.PropsSI("D", "P", r * p_pa, "S", s0, "Air") * np.sqrt(2 * (h0 - h))

    return -optimize.minimize_scalar(flux, bounds=(0.3, 0.8), method="bounded", options={"xatol": 1e-10}).fun


def subsonic(p_pa, back_pa, t_k=293.15):
    h0 = cp.PropsSI("H", "T", t_k, "P", p_pa, "Air")
    s0 = cp.PropsSI("S", "T", t_k, "P", p_pa, "Air")
    h = cp.PropsSI("H", "P", back_pa, "S", s0, "Air")
    return cp.PropsSI("D", "P", back_pa, "S", s0, "Air") * np.sqrt(2 * (h0 - h))


def capillary(p1, p2, d=20e-6, length=0.05, t_k=293.15):
    """Isothermal laminar pipe flow, fluids.isothermal_gas with the friction factor 64/Re repeated until it stands."""
    rho = p1 / (287.05287 * t_k)  # at the inlet, as the formula of the library wants it
    m, mu = 1e-9, 1.813e-5
    for _ in range(200):
        reynolds = 4 * m / (np.pi * d * mu)
        m = fluids.isothermal_gas(rho=rho, fd=64 / reynolds, P1=p1, P2=p2, L=length, D=d)
    return m, reynolds


CASES = {
    "crack, sure": (1.0, [(6.0, 1.0, 0.02), (3.0, 0.3125, 0.01)]),
    "between crack and opening": (1.0, [(6.0, 0.5, 0.02), (3.0, 0.13, 0.015)]),
    "hole against crack": (1.013, [(5.0, 0.4, 0.03), (2.5, 0.2, 0.03)]),
    "seat or hole": (0.97, [(6.0, 0.3, 0.02), (2.0, 0.25, 0.02)]),
    "opening crack, coarse": (1.013, [(6.2, 0.8, 0.05), (4.0, 0.2, 0.04)]),
    "close pressures": (1.0, [(6.0, 0.2, 0.03), (5.0, 0.15, 0.03)]),
    "three pressures": (1.0, [(6.0, 2.0, 0.08), (4.0, 1.1, 0.08), (2.0, 0.5, 0.08)]),
    "lower rate near zero": (1.013, [(6.0, 0.1, 0.01), (3.0, -0.002, 0.01)]),
}

if __name__ == "__main__":
    for name, (air, points) in CASES.items():
        print(name, json.dumps({k: float(f"{v:.6g}") for k, v in probabilities(points, air).items()}))
    print("fieller 0.4/0.2", fieller(0.4, 0.03, 0.2, 0.03))
    print("fieller 1/0.3125", fieller(1.0, 0.02, 0.3125, 0.01))
    print("choked 7/4 bar", choked(7e5) / choked(4e5))
    print("choked 3 bar to subsonic 1.5 bar, air 1", choked(3e5) / subsonic(1.5e5, 1e5))
    (a, ra), (b, rb) = capillary(7e5, 1e5), capillary(4e5, 1e5)
    print("capillary 7/4 to 1", a / b, ra, rb)
    (a, ra), (b, rb) = capillary(6e5, 1e5), capillary(2.5e5, 1e5)
    print("capillary 6/2.5 to 1", a / b, ra, rb)
