"""Makes the fixtures of this folder with general libraries: openpyxl 3.1.5, odfpy 1.4.1, scipy 1.17.1."""
import csv, datetime, math, re, shutil, sys, zipfile
import numpy as np
from openpyxl import Workbook
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table, TableRow, TableCell, CoveredTableCell
from odf.text import P
from odf.style import Style, TableProperties
from scipy.io import netcdf_file

# t = i/120, y = sin(i)/3, both to 12 decimals: openpyxl writes 16 digits, so that longer values would lose a bit.
ROWS = [(round(i / 120, 12), round(math.sin(i) / 3, 12)) for i in range(60)]

def xlsx():
    book = Workbook()
    old = book.active
    old.title, old.sheet_state = "Old", "hidden"
    for i in range(30):
        old.append([i, -i])
    about = book.create_sheet("About")
    about.append(["made", datetime.datetime(2026, 1, 31, 14, 5, 0)])
    about.append(["operator", "somebody"])
    data = book.create_sheet("Data")
    data["A1"] = "run 7, \"second\" half"
    data["A2"] = datetime.datetime(2026, 1, 31, 14, 5, 0)
    data["A3"] = "Chromatogram"
    data.merge_cells("A3:B3")
    data["A4"], data["B4"] = "Time (min)", "Signal (mV)"
    for r, (t, y) in enumerate(ROWS):
        data.cell(5 + r, 1, t), data.cell(5 + r, 2, y)
    book.save("trace.xlsx")
    # A formula with its stored value, as a spreadsheet program leaves it; openpyxl itself stores none.
    patch("trace.xlsx", "xl/worksheets/sheet3.xml", r'(<c r="B9"[^>]*>)(?:<v */>)?<v>', r"\1<f>SIN(4)/3*1000</f><v>")
    # The same without a stored value.
    book["Data"]["B10"] = "=SIN(5)/3"
    book.save("formula_without_value.xlsx")
    lone = Workbook()
    for t, y in ROWS[:20]:
        lone.active.append([t, y])
    lone.active["XFD1048576"] = 1
    lone.save("far_corner.xlsx")
    for k in range(2, 401):
        lone.active.cell(k * 50, 16384, 1)
    lone.save("far_cells.xlsx")

def patch(file, member, pattern, to):
    shutil.move(file, file + ".old")
    with zipfile.ZipFile(file + ".old") as a, zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as b:
        for name in a.namelist():
            text = a.read(name)
            if name == member:
                new, n = re.subn(pattern, to, text.decode())
                assert n == 1, (member, n)
                text = new.encode()
            b.writestr(name, text)
    import os; os.remove(file + ".old")

def ods():
    doc = OpenDocumentSpreadsheet()
    hide = Style(name="hide", family="table")
    hide.addElement(TableProperties(display="false"))
    doc.automaticstyles.addElement(hide)
    def cell(value, **more):
        if isinstance(value, float):
            c = TableCell(valuetype="float", value=repr(value), **more); c.addElement(P(text=f"{value:.3f}"))
        elif isinstance(value, datetime.date):
            c = TableCell(valuetype="date", datevalue=value.isoformat(), **more); c.addElement(P(text="31.01.26"))
        else:
            c = TableCell(valuetype="string", **more); c.addElement(P(text=value))
        return c
    def row(table, cells):
        r = TableRow()
        for c in cells: r.addElement(c)
        table.addElement(r)
    old = Table(name="Old", stylename="hide")
    for i in range(30): row(old, [cell(float(i)), cell(float(-i))])
    doc.spreadsheet.addElement(old)
    data = Table(name="Data")
    row(data, [cell("run 7, \"second\" half")])
    row(data, [cell(datetime.date(2026, 1, 31))])
    row(data, [cell("Chromatogram", numbercolumnsspanned=2), CoveredTableCell()])
    row(data, [cell("Time (min)"), cell("Signal (mV)")])
    for i, (t, y) in enumerate(ROWS):
        more = {"formula": "of:=SIN(4)/3*1000"} if i == 4 else {}
        row(data, [cell(t), cell(y, **more), TableCell(numbercolumnsrepeated=16000)])
    tail = TableRow(numberrowsrepeated=1000000); tail.addElement(TableCell(numbercolumnsrepeated=16384))
    data.addElement(tail)
    doc.spreadsheet.addElement(data)
    doc.save("trace.ods")
    bomb = OpenDocumentSpreadsheet()
    t = Table(name="Data")
    r = TableRow(numberrowsrepeated=1000000)
    r.addElement(TableCell(valuetype="float", value="1", numbercolumnsrepeated=16384)); t.addElement(r)
    bomb.spreadsheet.addElement(t)
    bomb.save("repeated.ods")
    log = list(csv.reader(open("../lc_ri_study/injections.csv", encoding="utf-8")))
    book = Workbook()
    for line in log:
        book.active.append([number(c) for c in line])
    book.save("injections.xlsx")
    doc = OpenDocumentSpreadsheet()
    t = Table(name="log")
    for line in log:
        row(t, [cell(number(c)) if c else TableCell() for c in line])
    doc.spreadsheet.addElement(t)
    doc.save("injections.ods")

def number(text):
    try: return float(text)
    except ValueError: return text or None

def netcdf():
    # 64-bit offset, points along the record dimension, two variables per record (short ones are padded), times listed.
    with netcdf_file("records_64bit.cdf", "w", version=2) as f:
        f.createDimension("point_number", None)
        f.retention_unit = b"minutes"
        f.detector_unit = b"uV"
        f.detector_name = b"B"
        y = f.createVariable("ordinate_values", "i2", ("point_number",))
        t = f.createVariable("raw_data_retention", "f8", ("point_number",))
        y[:] = np.arange(50, dtype="i2") ** 2 - 600
        t[:] = np.arange(50) ** 1.5 / 60

def dates():
    # Twelve points every 0.5 s: a date with a time of day that passes midnight, a time of day, a length of time.
    start = datetime.datetime(2026, 1, 31, 23, 59, 58)
    steps = [datetime.timedelta(seconds=0.5 * i) for i in range(12)]
    sheets = {
        "stamp": [start + s for s in steps],
        "clock": [(datetime.datetime(2026, 1, 31) + s).time() for s in steps],
        "elapsed": steps,
    }
    book = Workbook()
    book.remove(book.active)
    doc = OpenDocumentSpreadsheet()
    for name, times in sheets.items():
        sheet, table = book.create_sheet(name), Table(name=name)
        sheet.append([name, "signal (mV)"])
        head = TableRow()
        for text in (name, "signal (mV)"):
            c = TableCell(valuetype="string"); c.addElement(P(text=text)); head.addElement(c)
        table.addElement(head)
        for i, t in enumerate(times):
            sheet.append([t, ROWS[i][1]])
            if name == "elapsed":
                sheet.cell(i + 2, 1).number_format = "[h]:mm:ss.000"
            if isinstance(t, datetime.datetime):
                c = TableCell(valuetype="date", datevalue=t.isoformat())
            else:
                s = t.total_seconds() if isinstance(t, datetime.timedelta) else t.second + t.microsecond / 1e6
                c = TableCell(valuetype="time", timevalue=f"PT00H00M{s:06.3f}S")
            v = TableCell(valuetype="float", value=repr(ROWS[i][1]))
            r = TableRow(); r.addElement(c); r.addElement(v); table.addElement(r)
        doc.spreadsheet.addElement(table)
    book.save("dates.xlsx")
    doc.save("dates.ods")

if __name__ == "__main__":
    for make in [globals()[name] for name in sys.argv[1:]] or [xlsx, ods, netcdf, dates]:
        make()
