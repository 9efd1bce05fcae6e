"""Work of an isentropic expansion down to the atmosphere: scipy's quad over p dV.

Made with scipy 1.17.1 on Python 3.11 (requirements.txt). Run in this folder. Ideal air, ratio of heat capacities 1.4.
"""

import csv

from scipy.integrate import quad

ATMOSPHERE, KAPPA = 101325.0, 1.4

rows = []
for volume_ml in (20, 100, 500, 2000, 10000):
    for bar in (0.5, 1, 2, 4, 6, 8, 10):
        volume, pressure = volume_ml * 1e-6, bar * 1e5 + ATMOSPHERE
        end = volume * (pressure / ATMOSPHERE) ** (1 / KAPPA)
        work, _ = quad(lambda v: pressure * (volume / v) ** KAPPA, volume, end, epsabs=0, epsrel=1e-12)
        rows.append([volume_ml, bar, f"{work:.9g}"])
with open("expansion-work.csv", "w", newline="") as file:
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(["volume_ml", "pressure_bar_g", "energy_j"])
    writer.writerows(rows)
