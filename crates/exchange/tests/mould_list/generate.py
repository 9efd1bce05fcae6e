"""Writes the workbooks of this folder with openpyxl 3.1.5 (another program than the one that reads them).
Run in this folder: python3 generate.py"""
import datetime
import openpyxl

book = openpyxl.Workbook()
notes = book.active
notes.title = "Read me"
notes["A1"] = "Moulds of the plant"
sheet = book.create_sheet("Moulds")
sheet["B2"] = "Cooling circuits, as of November"
header = ["Mould no.", "Description", "Cooling circuit", "Half", "Zone", "Steel", "O-ring", "Bore Ø (mm)", "Length [m]",
          "Kv", "Baseline date", "Remarks"]
for at, name in enumerate(header):
    sheet.cell(4, 2 + at, name)
rows = [
    [301, "Edging clip", "F1", "Fixed half", "row A", 1.2311, "EPDM", 10, 1.25, 0.71, datetime.date(2025, 11, 3), "ok"],
    [None, None, "F2", "Fixed half", "row B", 1.234, "EPDM", "G 1/4", 1.2, None, None, None],
    [None, None, "M1", "ejector side", None, "1.2343; CuBe", None, "10.5", 0.9, None, None, None],
    [None] * 12,
    ["302-A", "Cloche vent", "1", "slide left", None, None, "FKM", 8, 0.45, "=0.3+0.03", None, None],
]
for down, row in enumerate(rows):
    for at, value in enumerate(row):
        sheet.cell(5 + down, 2 + at, value)
sheet.merge_cells("B5:B7")
book.save("plant.xlsx")

book = openpyxl.Workbook()
sheet = book.active
for row in [["tool", "circuit", "bore", "length mm", "date", "Kv"],
            ["T1", "a", 10, "long", "03/04/2025", 0.5],
            ["T1", "a", 11, 100, datetime.date(2025, 4, 3), -1],
            ["T1", "", 12, 200, None, None],
            ["T2", "b", "1,234", -5, "yesterday", "#DIV/0!"],
            ["", "c", None, 1, None, None]]:
    sheet.append(row)
book.save("faulty.xlsx")
