"""Liquid control valve sizes by fluids.

Made with fluids 1.3.1 on Python 3.11 (requirements.txt). Run in this folder.
`size_control_valve_l` without pipe diameters: the plain turbulent equation with its choking limit.
"""

import csv

from fluids.control_valve import size_control_valve_l

rows = []
for inlet in (2.0, 4.0, 7.0, 12.0):
    for share in (0.05, 0.2, 0.4, 0.6, 0.8, 0.95):
        for recovery in (0.5, 0.7, 0.9):
            outlet = round(inlet * (1 - share), 6)
            kv = size_control_valve_l(rho=971.8, Psat=0.474e5, Pc=220.64e5, mu=3.54e-4, P1=inlet * 1e5, P2=outlet * 1e5,
                                      Q=2.4 / 3600, FL=recovery, allow_laminar=False)
            rows.append([inlet, outlet, recovery, f"{kv:.9g}"])
with open("valve.csv", "w", newline="") as file:
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(["inlet_bar_abs", "outlet_bar_abs", "pressure_recovery_factor", "flow_factor_m3_h"])
    writer.writerows(rows)
