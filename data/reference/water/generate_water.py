"""Water sweeps: IAPWS-IF97 by `iapws` and IAPWS-95 by `CoolProp`.

Made with iapws 1.5.5, CoolProp 8.0.0 on Python 3.11 (requirements.txt). Run in this folder.
Grid: 0.1 to 180 degC, 1 to 16 bar absolute, liquid only (at least 0.5 K below saturation).
"""

import csv

from CoolProp.CoolProp import PropsSI
from iapws import IAPWS97
from iapws.iapws97 import _PSat_T, _TSat_P

TEMPERATURES = [0.1, 2, 4, 6, 8, 10, 12.5, 15, 17.5, 20, 22.5, 25, 30, 35, 40, 45, 50, 55, 60, 65, 70, 75, 80, 85, 90,
                95, 100, 105, 110, 115, 120, 125, 130, 135, 140, 145, 150, 155, 160, 165, 170, 175, 180]
PRESSURES = [1, 1.5, 2, 3, 4, 6, 8, 10, 12, 16]


def liquid():
    for pressure in PRESSURES:
        limit = _TSat_P(pressure / 10) - 273.15 - 0.5
        for temperature in TEMPERATURES:
            if temperature < limit:
                yield temperature, pressure


def write(name, header, rows):
    with open(name, "w", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(header)
        writer.writerows(rows)


HEADER = ["temperature_deg_c", "pressure_bar_abs", "density_kg_m3", "viscosity_mpa_s", "conductivity_w_m_k",
          "heat_capacity_j_kg_k"]


def if97(temperature, pressure):
    state = IAPWS97(T=temperature + 273.15, P=pressure / 10)
    return [f"{state.rho:.8g}", f"{state.mu * 1e3:.8g}", f"{state.k:.7g}", f"{state.cp * 1e3:.8g}"]


def iapws95(temperature, pressure):
    at = ("T", temperature + 273.15, "P", pressure * 1e5, "Water")
    density, viscosity, conductivity, heat = (PropsSI(what, *at) for what in "DVLC")
    return [f"{density:.8g}", f"{viscosity * 1e3:.8g}", f"{conductivity:.7g}", f"{heat:.8g}"]


write("if97.csv", HEADER, [[t, p, *if97(t, p)] for t, p in liquid()])
write("iapws95.csv", HEADER, [[t, p, *iapws95(t, p)] for t, p in liquid() if p in (1, 3, 8, 16)])
write("saturation-if97.csv", ["temperature_deg_c", "saturation_pressure_bar_abs"],
      [[t, f"{_PSat_T(t + 273.15) * 10:.9g}"] for t in TEMPERATURES])
write("saturation-iapws95.csv", ["temperature_deg_c", "saturation_pressure_bar_abs"],
      [[t, f"{PropsSI('P', 'T', t + 273.15, 'Q', 0, 'Water') / 1e5:.9g}"] for t in TEMPERATURES])
