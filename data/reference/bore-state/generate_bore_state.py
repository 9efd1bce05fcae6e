"""Readings of a straight bore by the library `fluids` 1.3.1 (Colebrook by its own solver, Kell density apart): clean, under
an even layer, with a hole in a wall, rough. Run: python generate_bore_state.py > bore-state.toml"""
from math import pi, sqrt

import fluids

RHO, MU = 998.2, 1.0016e-3  # water of 20 degC
L, D, EPS = 6.0, 0.010, 10e-6


def drop_bar(flow_l_min, d=D, eps=EPS, hole_mm=None):
    q = flow_l_min / 60000
    v = q / (pi / 4 * d * d)
    re = RHO * v * d / MU
    f = fluids.friction_factor(Re=re, eD=eps / d, Method="Colebrook")
    dp = f * L / d * RHO * v * v / 2
    if hole_mm:
        jet = 0.7 * pi / 4 * (hole_mm / 1000) ** 2
        dp += RHO / 2 * (q / jet) ** 2
    return dp / 1e5


def volume_ml(d=D):
    return pi / 4 * d * d * L * 1e6


def flow_at(target_bar, **kw):
    low, high = 0.1, 100.0
    for _ in range(200):
        mid = sqrt(low * high)
        low, high = (mid, high) if drop_bar(mid, **kw) < target_bar else (low, mid)
    return low


KV = flow_at(1.0) * 0.06
PIECES = '[{kind = "bore", diameter_mm = 10, length_mm = 6000}]'


def case(title, expect, tolerance, because, volume=None, gauges_bar=0.002, **kw):
    points = ", ".join(
        f"{{flow_l_min = {q}, pressure_drop_bar = {drop_bar(q, **kw):.5f}, temperature_deg_c = 20}}" for q in (6.0, 9.0, 12.0)
    )
    volume = f"filled_volume_ml = {volume:.3f}, volume_uncertainty_percent = 1, " if volume else ""
    print(f'''
[[case]]
title = "{title}"
kind = "reference-library"
source = "fluids"
place = "fluids 1.3.1, friction_factor(Re, eD, Method='Colebrook'); hole: dp = rho/2 (Q/(0.7 A))^2"
calculator = "bore-state"
input = {{ pieces = {PIECES}, points = [{points}], flow_uncertainty_percent = 0.5, pressure_uncertainty_bar = {gauges_bar}, temperature_uncertainty_k = 0.1, {volume}baseline_flow_factor_m3_h = {KV:.4f}, baseline_uncertainty_percent = 1 }}
expect = {{ {expect} }}
tolerance = {{ {tolerance} }}
because = "{because}"''')


print('topic = "bore-state"')
TELLS = "flow of three points and the volume tell: within five percent of certainty"
case("clean bore", '"probabilities.as-new" = 1.0, fit = "good"', '"probabilities.as-new" = { absolute = 0.08 }', TELLS, volume_ml())
for t in (0.3, 0.5, 1.0):
    d = D - 2 * t / 1000
    case(
        f"layer of {t} mm, volume measured",
        f'"deposit_thickness_mm.value" = {t}, "deposit_mass_g.value" = {2.3 * (volume_ml() - volume_ml(d)):.2f}, "layer_share.value" = 1.0, "probabilities.local-plug" = 0.0',
        '"deposit_thickness_mm.value" = { relative = 0.12 }, "deposit_mass_g.value" = { relative = 0.12 }, "layer_share.value" = { absolute = 0.12 }, "probabilities.local-plug" = { absolute = 0.02 }',
        "the layer's roughness is not told to the calculator; mass at 2.3 g/ml", volume_ml(d), d=d, eps=60e-6)
for hole in (3.0, 4.0, 5.0):
    case(
        f"hole of {hole} mm in a wall, volume measured",
        f'"plug_bore_mm.value" = {hole}, "probabilities.local-plug" = 1.0, "layer_share.value" = 0.0',
        '"plug_bore_mm.value" = { relative = 0.05 }, "probabilities.local-plug" = { absolute = 0.15 }, "layer_share.value" = { absolute = 0.05 }',
        "a little of a thin layer beside the plug stays possible", volume_ml(), hole_mm=hole)
case("layer of 0.5 mm, flow alone: not told apart from a plug", '"best_next_reading.reading" = "filled-volume"', "absolute = 0.0",
     "with ordinary gauges the filled volume tells most (simulated in preparation)", None, gauges_bar=0.05, d=0.009, eps=60e-6)
