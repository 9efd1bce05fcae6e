"""Joined pressure of two volumes of air by the real gas of CoolProp; the calculator works backwards with the ideal gas.

Made with CoolProp 8.0.0 and scipy 1.17.1 on Python 3.11 (requirements.txt). Run in this folder.
Both at 20 degC before and long after, atmosphere 1.013 bar, vessel 200 ml.
"""

import csv

from CoolProp.CoolProp import PropsSI
from scipy.optimize import brentq

ATMOSPHERE, REFERENCE, TEMPERATURE = 1.013, 200.0, 293.15


def density(bar_g):
    return PropsSI("D", "T", TEMPERATURE, "P", (bar_g + ATMOSPHERE) * 1e5, "Air")


rows = []
for volume in (20, 50, 100, 200, 400, 1000, 2000):
    for charged in (2.0, 4.0, 6.0):
        for circuit in (0.0, 1.0):
            mass = REFERENCE * density(charged) + volume * density(circuit)
            joined = brentq(lambda p: density(p) * (REFERENCE + volume) - mass, circuit, charged, xtol=1e-12)
            rows.append([charged, circuit, f"{joined:.9g}", volume])
with open("expansion.csv", "w", newline="") as file:
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(["reference_bar_g", "circuit_bar_g", "joined_bar_g", "volume_ml.value"])
    writer.writerows(rows)
