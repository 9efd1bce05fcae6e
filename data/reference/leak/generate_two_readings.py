"""Two pressure readings: rate by the ideal gas law, V dp/dt at 20 degC.

Made with Python 3.11, standard library only. Run in this folder. Drops stay below 0.5 % of the absolute pressure, so that
the start pressure and the mean agree within 0.5 %.
"""

import csv

rows = []
for start in (1.5, 3.0, 6.0, 8.0):
    for drop_mbar in (2.0, 5.0, 10.0):
        for seconds in (10, 30, 60, 180):
            end = round(start - drop_mbar / 1000, 6)
            rows.append([start, end, seconds, f"{0.4 * drop_mbar / seconds:.9g}"])
with open("two-readings.csv", "w", newline="") as file:
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(["start_bar_g", "end_bar_g", "seconds", "leak_rate_mbar_l_s.value"])
    writer.writerows(rows)
