"""Writes nist.toml: certified sets of NIST's Statistical Reference Datasets. Needs only Python 3.11. Run in this folder.

The numbers of Lew, Lottery, Mavro and Michelso were seen as quoted in public test code; NumAcc1 to NumAcc4 are built as
their description says; NoInt1 is from memory. Each certified mean and deviation is confirmed below in exact fractions.
"""

import json
from fractions import Fraction

LEW = """-213 -564 -35 -15 141 115 -420 -360 203 -338 -431 194 -220 -513 154 -125 -559 92 -21 -579 -52 99 -543 -175 162 -457
-346 204 -300 -474 164 -107 -572 -8 83 -541 -224 180 -420 -374 201 -236 -531 83 27 -564 -112 131 -507 -254 199 -311 -495
143 -46 -579 -90 136 -472 -338 202 -287 -477 169 -124 -568 17 48 -568 -135 162 -430 -422 172 -74 -577 -13 92 -534 -243 194
-355 -465 156 -81 -578 -64 139 -449 -384 193 -198 -538 110 -44 -577 -6 66 -552 -164 161 -460 -344 205 -281 -504 134 -28
-576 -118 156 -437 -381 200 -220 -540 83 11 -568 -160 172 -414 -408 188 -125 -572 -32 139 -492 -321 205 -262 -504 142 -83
-574 0 48 -571 -106 137 -501 -266 190 -391 -406 194 -186 -553 83 -13 -577 -49 103 -515 -280 201 300 -506 131 -45 -578 -80
138 -462 -361 201 -211 -554 32 74 -533 -235 187 -372 -442 182 -147 -566 25 68 -535 -244 194 -351 -463 174 -125 -570 15 72
-550 -190 172 -424 -385 198 -218 -536 96"""
LOTTERY = """162 671 933 414 788 730 817 33 536 875 670 236 473 167 877 980 316 950 456 92 517 557 956 954 104 178 794 278 147
773 437 435 502 610 582 780 689 562 964 791 28 97 848 281 858 538 660 972 671 613 867 448 738 966 139 636 847 659 754 243
122 455 195 968 793 59 730 361 574 522 97 762 431 158 429 414 22 629 788 999 187 215 810 782 47 34 108 986 25 644 829 630
315 567 919 331 207 412 242 607 668 944 749 168 864 442 533 805 372 63 458 777 416 340 436 140 919 350 510 572 905 900 85
389 473 758 444 169 625 692 140 897 672 288 312 860 724 226 884 508 976 741 476 417 831 15 318 432 241 114 799 955 833 358
935 146 630 830 440 642 356 373 271 715 367 393 190 669 8 861 108 795 269 590 326 866 64 523 862 840 219 382 998 4 628 305
747 247 34 747 729 645 856 974 24 568 24 694 608 480 410 729 947 293 53 930 223 203 677 227 62 455 387 318 562 242 428 968"""
MAVRO = """2.0018 2.0017 2.0018 2.0019 2.0018 2.0017 2.0015 2.0014 2.0015 2.0015 2.0017 2.0018 2.0018 2.0019 2.0019 2.0021 2.0020
2.0016 2.0014 2.0013 2.0013 2.0015 2.0015 2.0016 2.0015 2.0014 2.0013 2.0014 2.0015 2.0014 2.0015 2.0016 2.0015 2.0016 2.0019
2.0020 2.0020 2.0021 2.0022 2.0023 2.0024 2.0025 2.0027 2.0026 2.0026 2.0026 2.0027 2.0026 2.0025 2.0024"""
MICHELSO = """299.85 299.74 299.90 300.07 299.93 299.85 299.95 299.98 299.98 299.88 300.00 299.98 299.93 299.65 299.76 299.81
300.00 300.00 299.96 299.96 299.96 299.94 299.96 299.94 299.88 299.80 299.85 299.88 299.90 299.84 299.83 299.79 299.81 299.88
299.88 299.83 299.80 299.79 299.76 299.80 299.88 299.88 299.88 299.86 299.72 299.72 299.62 299.86 299.97 299.95 299.88 299.91
299.85 299.87 299.84 299.84 299.85 299.84 299.84 299.84 299.89 299.81 299.81 299.82 299.80 299.77 299.76 299.74 299.75 299.76
299.91 299.92 299.89 299.86 299.88 299.72 299.84 299.85 299.85 299.78 299.89 299.84 299.78 299.81 299.76 299.81 299.79 299.81
299.82 299.85 299.87 299.87 299.81 299.74 299.81 299.94 299.95 299.80 299.81 299.87"""


def pairs(first, second, third):
    return [first] + [second, third] * 500


# Set, numbers as text, certified mean and deviation, wanted: relative deviation of mean and of standard deviation.
SETS = [
    ("Lew", LEW.split(), "-177.435000000000", "277.332168044316", 1e-13, 1e-13),
    ("Lottery", LOTTERY.split(), "518.958715596330", "291.699727470969", 1e-13, 1e-13),
    ("Mavro", MAVRO.split(), "2.00185600000000", "0.000429123454003053", 1e-13, 1e-9),
    ("Michelso", MICHELSO.split(), "299.852400000000", "0.0790105478190518", 1e-13, 1e-11),
    ("NumAcc1", ["10000001", "10000003", "10000002"], "10000002", "1", 1e-15, 1e-15),
    ("NumAcc2", pairs("1.2", "1.1", "1.3"), "1.2", "0.1", 1e-13, 1e-12),
    ("NumAcc3", pairs("1000000.2", "1000000.1", "1000000.3"), "1000000.2", "0.1", 1e-13, 1e-9),
    ("NumAcc4", pairs("10000000.2", "10000000.1", "10000000.3"), "10000000.2", "0.1", 1e-13, 1e-7),
]
OUT = ["# Written by generate_nist.py: certified means and deviations through the two-sample calculator (the other sample is",
       "# 1, 2: its mean 1.5 is exact).", "", 'topic = "statistics"', ""]
for name, texts, mean, sd, near_mean, near_sd in SETS:
    exact = [Fraction(text) for text in texts]
    middle = sum(exact) / len(exact)
    variance = sum((x - middle) ** 2 for x in exact) / (len(exact) - 1)
    assert abs(middle / Fraction(mean) - 1) < Fraction(1, 10**13), (name, float(middle))
    assert abs(variance / Fraction(sd) ** 2 - 1) < Fraction(1, 10**12), (name, float(variance) ** 0.5)
    OUT += ["[[case]]", f'title = "{name}"', 'kind = "published"', 'source = "nist-strd"',
            f'place = "univariate summary statistics, data set {name} ({len(texts)} numbers), certified values"',
            'calculator = "mean-difference"',
            f"input = {{ first = [{', '.join(str(float(text)) for text in texts)}], second = [1.0, 2.0] }}",
            f"expect = {{ mean_first = {float(mean)!r}, sd_first = {float(sd)!r} }}",
            f"tolerance = {{ mean_first = {{ relative = {near_mean} }}, sd_first = {{ relative = {near_sd} }} }}",
            f"because = {json.dumps('certified to 15 digits; the binary form of the data takes the rest')}", ""]
OUT += ["[[case]]", 'title = "NoInt1 as a line through the origin"', 'kind = "published"', 'source = "nist-strd"',
        'place = "linear regression without intercept, data set NoInt1: slope 2.07438016528926, residual deviation '
        '3.56753034006338; an intercept held to 1e-9 and a slope as free as 1e6"',
        'calculator = "line-evidence"',
        "input = { x = [60, 61, 62, 63, 64, 65, 66, 67, 68, 69, 70], y = [130, 131, 132, 133, 134, 135, 136, 137, 138, 139, 140],"
        " noise_sd = 3.56753034006338, intercept_sd = 1e-9, slope_sd = 1e6 }",
        'expect = { "slope.value" = 2.07438016528926, "slope.high" = %r }'
        % (2.07438016528926 + 1.959963984540054 * 0.0165289256198347),
        'tolerance = { "slope.value" = { relative = 1e-9 }, "slope.high" = { relative = 1e-9 } }',
        'because = "certified to 15 digits (standard error 0.0165289256198347); 1e-9 is asked"', "memory = true", ""]
with open("nist.toml", "w", newline="") as file:
    file.write("\n".join(OUT))
