"""One circuit over temperature and pressure: fluids' Colebrook, solved for the flow by scipy.

Made with fluids 1.3.1, iapws 1.5.5, scipy 1.17.1, numpy 2.4.6 on Python 3.11 (requirements.txt). Run in this folder.
Circuit: 8 mm x 1500 mm bore, roughness 10 um, local losses K = 8 in all. Only rows above Re 4000.
"""

import csv
import math

import numpy as np
from fluids.friction import Colebrook
from iapws import IAPWS97
from scipy.optimize import brentq

DIAMETER, LENGTH, ROUGHNESS, LOSSES = 8e-3, 1.5, 10e-6, 8.0
AREA = math.pi * DIAMETER**2 / 4


def drop(flow, density, viscosity):
    velocity = flow / AREA
    reynolds = density * velocity * DIAMETER / viscosity
    factor = 64 / reynolds if reynolds < 2000 else Colebrook(reynolds, ROUGHNESS / DIAMETER, tol=-1)
    return (factor * LENGTH / DIAMETER + LOSSES) * density * velocity**2 / 2


rows = []
for temperature in (5, 10, 15, 20, 25, 30, 40, 50, 60, 80, 95):
    state = IAPWS97(T=temperature + 273.15, P=0.3)
    for bar in np.round(np.geomspace(0.2, 6.0, 12), 4):
        flow = brentq(lambda q: drop(q, state.rho, state.mu) - bar * 1e5, 1e-6, 2e-3, xtol=1e-16)
        reynolds = state.rho * flow / AREA * DIAMETER / state.mu
        if reynolds > 4000:
            rows.append([temperature, float(bar), f"{flow * 6e4:.8g}", f"{reynolds:.7g}"])
with open("circuit.csv", "w", newline="") as file:
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(["temperature_deg_c", "pressure_drop_bar", "flow_l_min", "reynolds_min"])
    writer.writerows(rows)
