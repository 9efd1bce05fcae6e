"""Discharge of a reservoir through a circuit: pressure traces from scipy's solve_ivp.

Made with scipy 1.17.1, numpy 2.4.6 on Python 3.11 (requirements.txt). Run in this folder.
Flow law: ISO 6358-1, m = C rho0 p1 sqrt(T0/T1) psi(p2/p1), psi the ellipse with exponent 0.5, rho0 1.185 kg/m3, T0 293.15 K
(ISO 8778), outlet at the atmosphere. Gas: ideal air, R 287.05 J/(kg K), ratio of heat capacities 1.4.
Heat balance ("warm" traces): m cv dT/dt = -m_out R T + h A (T_wall - T) with h 35 W/(m2 K) and the surface of a closed
cylinder twice as long as wide that holds the volume. "Isothermal" traces keep T = T_wall (vessel filled with wire, ISO 6358-2).
All traces: reservoir of 2000 ml, wall and air 20 degC unless named, atmosphere 1.013 bar, pressures rounded to 0.01 mbar.
"""

import json
import math

import numpy as np
from scipy.integrate import solve_ivp

R, KAPPA, RHO0, T0 = 287.05, 1.4, 1.185, 293.15
ATMOSPHERE = 1.013
VOLUME_ML = 2000.0


def psi(ratio, critical):
    if ratio <= critical:
        return 1.0
    return math.sqrt(max(0.0, 1.0 - ((ratio - critical) / (1.0 - critical)) ** 2))


def surface(volume):
    diameter = (2.0 * volume / math.pi) ** (1 / 3)
    return math.pi * diameter * 2 * diameter + math.pi * diameter**2 / 2


def trace(conductance, critical, start_bar_g, times, *, wall=20.0, film=35.0, isothermal=False, opens=0.0):
    volume, wall_k = VOLUME_ML * 1e-6, wall + 273.15
    c_si, area, cv = conductance * 1e-8, surface(VOLUME_ML * 1e-6), R / (KAPPA - 1)
    start = (start_bar_g + ATMOSPHERE) * 1e5

    def out(pressure, temperature):
        if pressure <= ATMOSPHERE * 1e5:
            return 0.0
        return c_si * RHO0 * pressure * math.sqrt(T0 / temperature) * psi(ATMOSPHERE * 1e5 / pressure, critical)

    def change(_, state):
        mass, temperature = state
        if isothermal:
            return [-out(mass * R * wall_k / volume, wall_k), 0.0]
        flow = out(mass * R * temperature / volume, temperature)
        return [-flow, (-flow * R * temperature + film * area * (wall_k - temperature)) / (mass * cv)]

    wanted = np.array([max(0.0, t - opens) for t in times])
    solution = solve_ivp(change, (0.0, wanted[-1] + 1e-9), [start * volume / (R * wall_k), wall_k], method="LSODA",
                         rtol=1e-10, atol=1e-12, dense_output=True)
    mass, temperature = solution.sol(wanted)
    return mass * R * temperature / volume / 1e5 - ATMOSPHERE


def write(name, conductance, critical, start, step, count, noise=0.0, seed=0, wall=20.0, floor=0.05, **how):
    times = [round(step * i, 6) for i in range(count)]
    pressure = trace(conductance, critical, start, times, wall=wall, **how)
    keep = [i for i, p in enumerate(pressure) if p >= floor]
    times, pressure = [times[i] for i in keep], pressure[keep]
    if noise:
        pressure = pressure + np.random.default_rng(seed).normal(0.0, noise, len(pressure))
    given = {"charged": "reservoir", "volume_ml": VOLUME_ML,
             "trace": {"time_s": times, "pressure_bar_g": [round(float(p), 5) for p in pressure]},
             "air_temperature_deg_c": wall}
    with open(f"{name}.json", "w") as file:
        file.write(json.dumps(given, separators=(",", ":")) + "\n")
    print(name, len(times), "samples,", pressure[0], "to", pressure[-1])


write("warm-c1-b03", 1.0, 0.30, 5.0, 0.01, 300)
write("warm-c2-b02", 2.0, 0.20, 6.0, 0.01, 300)
write("warm-c4-b04", 4.0, 0.40, 6.0, 0.01, 300)
write("warm-c05-b05", 0.5, 0.50, 5.0, 0.02, 300)
write("warm-c3-b025-late", 3.0, 0.25, 6.0, 0.01, 220, opens=0.25)
write("warm-c2-b03-noise", 2.0, 0.30, 6.0, 0.01, 300, noise=0.002, seed=20261)
write("warm-c1-b03-35deg", 1.0, 0.30, 5.0, 0.01, 300, wall=35.0)
write("isothermal-c01-b03", 0.1, 0.30, 5.0, 0.1, 300, isothermal=True)
write("isothermal-c005-b02", 0.05, 0.20, 6.0, 0.2, 300, isothermal=True)
write("blocked", 0.0, 0.3, 6.0, 0.05, 60)
