"""Friction factor sweeps.

Made with fluids 1.3.1 and numpy 2.4.6 on Python 3.11 (requirements.txt). Run in this folder.
`fluids.friction.Colebrook` is called by its own name: the dispatcher `friction_factor` replaces every law by 64/Re
below Re 2040. tol=-1 asks for the analytical solution to full precision.
"""

import csv

import numpy as np
from fluids.friction import Colebrook, friction_laminar

ROUGHNESS = [0, 1e-6, 1e-5, 5e-5, 1e-4, 2e-4, 5e-4, 1e-3, 2e-3, 5e-3, 1e-2, 2e-2, 3e-2, 5e-2]


def write(name, rows):
    with open(name, "w", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["reynolds", "relative_roughness", "darcy_factor"])
        writer.writerows(rows)


turbulent = [float(f"{re:.6g}") for re in np.logspace(np.log10(4e3), 7, 45)]
write("colebrook.csv", [[re, r, f"{Colebrook(re, r, tol=-1):.9g}"] for re in turbulent for r in ROUGHNESS])

laminar = [1, 3, 10, 30, 64, 100, 200, 400, 640, 800, 1000, 1200, 1400, 1600, 1800, 1900, 1990]
write("laminar.csv", [[re, r, f"{friction_laminar(re):.12g}"] for re in laminar for r in (0, 1e-3, 0.02)])
