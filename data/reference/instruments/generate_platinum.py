"""Callendar-Van Dusen inverted by scipy's brentq.

Made with scipy 1.17.1 on Python 3.11 (requirements.txt). Run in this folder. Constants of IEC 60751.
"""

import csv

from scipy.optimize import brentq

A, B, C = 3.9083e-3, -5.775e-7, -4.183e-12


def ratio(t):
    return 1 + A * t + B * t * t + (C * (t - 100) * t**3 if t < 0 else 0.0)


rows = []
for ohm in range(60, 191, 2):
    t = brentq(lambda t: 100 * ratio(t) - ohm, -200, 850, xtol=1e-12)
    if abs(t) > 0.5:
        rows.append([ohm, f"{t:.10g}"])
with open("platinum.csv", "w", newline="") as file:
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(["resistance_ohm", "temperature_deg_c"])
    writer.writerows(rows)
