"""Water with ethylene or propylene glycol: the incompressible mixtures MEG and MPG of CoolProp.

Made with CoolProp 8.0.0 on Python 3.11 (requirements.txt). Run in this folder.
Grid: 5 to 60 % glycol by mass, from 2 K above the mixture's freezing point (not below -20 degC) to 100 degC, 3 bar.
At 0 % these mixtures are not quite water (density off by 1e-3); pure water is checked in ../water.
"""

import csv

from CoolProp.CoolProp import PropsSI

HEADER = ["glycol_mass_percent", "temperature_deg_c", "density_kg_m3", "viscosity_mpa_s", "conductivity_w_m_k",
          "heat_capacity_j_kg_k"]

for name, fluid in (("ethylene", "MEG"), ("propylene", "MPG")):
    rows = []
    for percent in range(5, 61, 5):
        mixture = f"INCOMP::{fluid}[{percent / 100}]"
        freezing = PropsSI("T_freeze", "T", 300, "P", 3e5, mixture) - 273.15
        for temperature in range(-20, 101, 5):
            if temperature < freezing + 2:
                continue
            density, viscosity, conductivity, heat = (
                PropsSI(what, "T", temperature + 273.15, "P", 3e5, mixture) for what in "DVLC")
            rows.append([percent, temperature, f"{density:.7g}", f"{viscosity * 1e3:.6g}", f"{conductivity:.6g}",
                         f"{heat:.7g}"])
    with open(f"{name}.csv", "w", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(HEADER)
        writer.writerows(rows)
