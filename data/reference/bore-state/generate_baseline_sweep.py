"""A baseline of several points: the same bore by the library `fluids` 1.3.1, clean then, under a layer or with a hole today.
Run: python generate_baseline_sweep.py > baseline-sweep.toml"""
from contextlib import redirect_stdout
from io import StringIO

with redirect_stdout(StringIO()):  # the other generator prints its own cases
    from generate_bore_state import PIECES, drop_bar, volume_ml


def points(**kw):
    rows = (f"{{flow_l_min = {q}, pressure_drop_bar = {drop_bar(q, **kw):.5f}, temperature_deg_c = 20}}" for q in (4.0, 6.0, 9.0, 12.0))
    return "[" + ", ".join(rows) + "]"


def case(title, expect, tolerance, because, volume, **kw):
    print(f'''
[[case]]
title = "{title}"
kind = "reference-library"
source = "fluids"
place = "fluids 1.3.1, friction_factor(Re, eD, Method='Colebrook'); hole: dp = rho/2 (Q/(0.7 A))^2"
calculator = "bore-state"
input = {{ pieces = {PIECES}, points = {points(**kw)}, flow_uncertainty_percent = 0.5, pressure_uncertainty_bar = 0.002, temperature_uncertainty_k = 0.1, filled_volume_ml = {volume:.3f}, volume_uncertainty_percent = 1, baseline_points = {points()} }}
expect = {{ {expect} }}
tolerance = {{ {tolerance} }}
because = "{because}"''')


print('topic = "bore-state"')
case("clean bore, baseline of four points", '"probabilities.as-new" = 1.0, fit = "good"',
     '"probabilities.as-new" = { absolute = 0.08 }', "as with a baseline flow factor", volume_ml())
case("layer of 0.5 mm, baseline of four points", '"deposit_thickness_mm.value" = 0.5, "probabilities.local-plug" = 0.0',
     '"deposit_thickness_mm.value" = { relative = 0.12 }, "probabilities.local-plug" = { absolute = 0.02 }',
     "the layer's roughness is not told to the calculator", volume_ml(0.009), d=0.009, eps=60e-6)
case("hole of 4.0 mm, baseline of four points", '"plug_bore_mm.value" = 4.0, "probabilities.local-plug" = 1.0',
     '"plug_bore_mm.value" = { relative = 0.05 }, "probabilities.local-plug" = { absolute = 0.15 }',
     "a little of a thin layer beside the plug stays possible", volume_ml(), hole_mm=4.0)
