"""A gallery of invented workbooks as growers keep them, each with the records that it must give, written by hand.

A case says how much help it may need: "certain" (one confirmation by --yes), "confirm" (the mapping file as it was written), "answers"
(lines of the mapping file that wait for an answer, or that the grower changes) or "refused" (nothing is taken, and why).
`look` holds block, day and what the survey covers; `found` block, row.position, day and symptom, with arm, trunk, percent and note
where the case is about them; `plants` and `work` likewise; `rows` the rows that are laid out.
"""

import datetime as dt
from dataclasses import dataclass, field

import openpyxl
from openpyxl.comments import Comment
from openpyxl.styles import Font, PatternFill

DAY = dt.datetime(2024, 8, 12)


@dataclass
class Case:
    """A workbook, the help that it needs, and what it gives."""

    name: str
    sheets: dict
    how: str = "confirm"
    look: str = ""
    found: str = ""
    plants: str = ""
    work: str = ""
    rows: str = ""
    say: dict = field(default_factory=dict)
    says: str = ""
    file: str = "book.xlsx"
    merge: dict = field(default_factory=dict)
    paint: dict = field(default_factory=dict)
    strike: dict = field(default_factory=dict)
    hang: dict = field(default_factory=dict)
    text: str = ""
    encoding: str = "utf-8"
    notes: str = ""
    before: str = ""


def lines(text):
    """Return the lines of a text without indentation and empty lines."""
    return sorted(line.strip() for line in text.splitlines() if line.strip())


def build(case, folder):
    """Write the workbook of a case."""
    path = folder / case.file
    if case.text:
        path.write_bytes(case.text.encode(case.encoding))
        return path
    if path.suffix == ".ods":
        from ods_files import write_ods

        write_ods(path, case.sheets, case.merge)
        return path
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in case.sheets.items():
        page = book.create_sheet(name)
        for row in rows:
            page.append(row)
        for area in case.merge.get(name, ()):
            page.merge_cells(area)
        for cells, colour in case.paint.get(name, {}).items():
            for cell in cells.split():
                page[cell].fill = PatternFill("solid", fgColor=colour)
        for cell in case.strike.get(name, "").split():
            page[cell].font = Font(strike=True)
        for cell, text in case.hang.get(name, {}).items():
            page[cell].comment = Comment(text, "somebody")
    book.save(path)
    return path


def plants(*words, row=1, day=None, start=1):
    """Return lines of row, vine, (day,) word."""
    return [[row, number, *([day] if day else []), word] for number, word in enumerate(words, start=start)]


N = "North"
CASES = [
    # ---- long tables ----------------------------------------------------------------------------------------------
    Case("one line a plant", {N: [["Block", "Row", "Vine", "Date", "Status"],
                                  ["North", 1, 1, DAY, "ok"], ["North", 1, 2, DAY, "dead arm"], ["North", 2, 1, DAY, "missing"], ["North", 2, 2, DAY, "healthy"]]},
         look="North 2024-08-12: 1:1..2; 2:2", found="North 1.2 2024-08-12 dead_arm", plants="North 2.1 removed 2024-08-12", rows="North 1: 1..2\nNorth 2: 1..2"),
    Case("dates as text, day first", {N: [["Row", "Vine", "Date", "Status"], [1, 1, "03/08/2024", "ok"], [1, 2, "13/08/2024", "dead arm"]]},
         look="North 2024-08-03: 1:1\nNorth 2024-08-13: 1:2", found="North 1.2 2024-08-13 dead_arm"),
    Case("dates as text, month first", {N: [["Row", "Vine", "Date", "Status"], [1, 1, "08/03/2024", "ok"], [1, 2, "08/13/2024", "dead arm"]]},
         look="North 2024-08-03: 1:1\nNorth 2024-08-13: 1:2", found="North 1.2 2024-08-13 dead_arm"),
    Case("dates that may be two days", {N: [["Row", "Vine", "Date", "Status"], [1, 1, "03/08/2024", "ok"], [1, 2, "04/08/2024", "dead arm"]]}, how="answers",
         say={'day_order = "ask"': 'day_order = "day"'}, look="North 2024-08-03: 1:1\nNorth 2024-08-04: 1:2", found="North 1.2 2024-08-04 dead_arm"),
    Case("dates that are both ways", {N: [["Row", "Vine", "Date", "Status"], [1, 1, "13/08/2024", "ok"], [1, 2, "08/14/2024", "dead arm"]]}, how="refused", says="two days"),
    Case("dates as serials", {N: [["Row", "Vine", "Date", "Status"], [1, 1, 45516, "ok"], [1, 2, 45516, "canker"]]},
         look="North 2024-08-12: 1:1..2", found="North 1.2 2024-08-12 canker"),
    Case("one line a finding", {N: [["Row", "Vine", "Date", "Symptom", "Arm", "Notes", "Scout"],
                                    [3, 7, DAY, "dead arm", "start", "low", "Ana"], [3, 7, DAY, "leaf stripe", "", "", "Ana"], [5, 2, DAY, "dead vine", "", "", "Ana"]]},
         look="North 2024-08-12 Ana: 3:7; 5:2", found="""North 3.7 2024-08-12 dead_arm start
         North 3.7 2024-08-12 leaf_stripe
         North 5.2 2024-08-12 dead""", notes="dead arm; low\nleaf stripe\ndead vine", rows="North 3: 1..7 order 3\nNorth 5: 1..2 order 5"),
    Case("only sick vines, all rows named were scouted", {N: [["Row", "Vine", "Date", "Symptom"], [1, 3, DAY, "dead arm"], [2, 2, DAY, "dead arm"]]}, how="answers",
         say={'blank = "not scouted"': 'blank = "whole rows"'}, look="North 2024-08-12: 1:1..3; 2:1..2", found="North 1.3 2024-08-12 dead_arm\nNorth 2.2 2024-08-12 dead_arm"),
    Case("a title and an empty line above", {"Sheet1": [["Scouting of block North, 12 August 2024"], [], ["Row", "Vine", "Condition"], [1, 1, "ok"], [1, 2, "dead spurs"]]},
         look="North 2024-08-12: 1:1..2", found="North 1.2 2024-08-12 dead_spurs"),
    Case("block and date in cells above", {"Sheet1": [["Block:", "Hill"], ["Date:", DAY], ["Row", "Vine", "Status"], [1, 1, "ok"], [1, 2, "collapsed"]]},
         look="Hill 2024-08-12: 1:1..2", found="Hill 1.2 2024-08-12 collapse"),
    Case("sums below", {N: [["Row", "Vine", "Date", "Status"], *plants("ok", "dead", day=DAY), ["Total", "", "", 2], ["% sick", "", "", 50]]},
         look="North 2024-08-12: 1:1..2", found="North 1.2 2024-08-12 dead", says="sums"),
    Case("row label in a merged cell", {N: [["Row", "Vine", "Date", "Status"], [1, 1, DAY, "ok"], [None, 2, DAY, "dead arm"], [2, 1, DAY, "ok"], [None, 2, DAY, "ok"]]},
         merge={N: ["A2:A3", "A4:A5"]}, look="North 2024-08-12: 1:1..2; 2:1..2", found="North 1.2 2024-08-12 dead_arm"),
    Case("row label in the first line only", {N: [["Row", "Vine", "Date", "Status"], [1, 1, DAY, "ok"], [None, 2, DAY, "dead arm"], [2, 1, DAY, "ok"], [None, 2, DAY, "ok"]]},
         look="North 2024-08-12: 1:1..2; 2:1..2", found="North 1.2 2024-08-12 dead_arm", says="fill down"),
    Case("headings that come again", {N: [["Row", "Vine", "Date", "Status"], [1, 1, DAY, "ok"], ["Row", "Vine", "Date", "Status"], [1, 2, DAY, "dead arm"]]},
         look="North 2024-08-12: 1:1..2", found="North 1.2 2024-08-12 dead_arm"),
    Case("rows as lines between", {N: [["Vine", "Date", "Status"], ["Row 4"], [1, DAY, "ok"], [2, DAY, "dead arm"], ["Row 5"], [1, DAY, "ok"]]},
         look="North 2024-08-12: 4:1..2; 5:1", found="North 4.2 2024-08-12 dead_arm"),
    Case("ranges and lists of vines", {N: [["Row", "Vine", "Date", "Status"], [1, "1..4", DAY, "ok"], [1, "5, 7", DAY, "dead arm"], [1, 6, DAY, "missing vine"], [2, "1..5/2", DAY, "ok"]]},
         look="North 2024-08-12: 1:1..5; 1:7; 2:1; 2:3; 2:5", found="North 1.5 2024-08-12 dead_arm\nNorth 1.7 2024-08-12 dead_arm", plants="North 1.6 removed 2024-08-12"),
    Case("ranges with a hyphen", {N: [["Row", "Vine", "Date", "Status"], [1, "1-4", DAY, "ok"], [1, "5", DAY, "dead arm"]]}, says="hyphens",
         look="North 2024-08-12: 1:1..5", found="North 1.5 2024-08-12 dead_arm"),
    Case("a range that became a date", {N: [["Row", "Vine", "Date", "Status"], [1, dt.datetime(2024, 1, 4), DAY, "ok"], [1, 5, DAY, "dead arm"]]}, how="refused", says="turned this position into a date"),
    Case("row and vine in one cell", {N: [["Vine ID", "Date", "Status"], ["R1V1", DAY, "ok"], ["R1V2", DAY, "dead arm"], ["R12V3", DAY, "ok"]]},
         look="North 2024-08-12: 1:1..2; 12:3", found="North 1.2 2024-08-12 dead_arm", say={}),
    Case("labels with words", {N: [["Row", "Plant", "Date", "Status"], ["Row 1", "V1", DAY, "ok"], ["Row 1", "V2", DAY, "dead arm"], ["Row 2", "#1", DAY, "ok"]]},
         look="North 2024-08-12: 1:1..2; 2:1", found="North 1.2 2024-08-12 dead_arm"),
    Case("rows 7A and 7B", {N: [["Row", "Vine", "Date", "Status"], ["7A", 1, DAY, "ok"], ["7A", 2, DAY, "ok"], ["7B", 1, DAY, "dead arm"], [8, 1, DAY, "ok"]]},
         look="North 2024-08-12: 7A:1..2; 7B:1; 8:1", found="North 7B.1 2024-08-12 dead_arm", rows="North 7A: 1..2 order 1\nNorth 7B: 1..1 order 1\nNorth 8: 1..1 order 2", says="parts of one row"),
    Case("rows 7A and 7B counted on", {N: [["Row", "Vine", "Date", "Status"], [6, 1, DAY, "ok"], [6, 4, DAY, "ok"], ["7A", 1, DAY, "ok"], ["7A", 2, DAY, "ok"], ["7B", 3, DAY, "dead arm"], ["7B", 4, DAY, "ok"]]},
         look="North 2024-08-12: 6:1; 6:4; 7A:1..2; 7B:3..4", found="North 7B.3 2024-08-12 dead_arm", rows="North 6: 1..4 order 1\nNorth 7A: 1..2 order 2\nNorth 7B: 3..4 order 2", says="goes on counting"),
    Case("rows 7A and 7B side by side", {N: [["Row", "Vine", "Date", "Status"], [5, 1, DAY, "ok"], ["7A", 1, DAY, "ok"], ["7B", 1, DAY, "dead arm"], [8, 1, DAY, "ok"]]}, how="answers",
         say={'divided_rows = "one line"': 'divided_rows = "side by side"'},
         look="North 2024-08-12: 5:1; 7A:1; 7B:1; 8:1", found="North 7B.1 2024-08-12 dead_arm", rows="North 5: 1..1 order 5\nNorth 7A: 1..1 order 7\nNorth 7B: 1..1 order 8\nNorth 8: 1..1 order 9", says="rows between"),
    Case("every second row", {N: [["Row", "Vine", "Date", "Status"], *[[row, 1, DAY, "ok"] for row in (1, 3, 5)], [5, 2, DAY, "dead arm"]]},
         look="North 2024-08-12: 1:1; 3:1; 5:1..2", found="North 5.2 2024-08-12 dead_arm", rows="North 1: 1..1 order 1\nNorth 3: 1..1 order 3\nNorth 5: 1..2 order 5", says="rows between"),
    Case("a row numbered from the other end", {N: [["Row", "Vine", "Date", "Status"], [1, 1, DAY, "dead arm N"], [2, 1, DAY, "dead arm N"]]}, how="answers",
         say={"rows_from_far_end = []": 'rows_from_far_end = ["2"]', '"N" = "no arm"': '"N" = "start"'},
         look="North 2024-08-12: 1:1; 2:1", found="North 1.1 2024-08-12 dead_arm start\nNorth 2.1 2024-08-12 dead_arm end", rows="North 1: 1..1\nNorth 2: 1..1 end"),
    Case("free text", {N: [["Row", "Vine", "Date", "Status"], *plants("dead arm N side", "replanted 2023", "gone?", "ok", "-", "half dead", "dead arm 50%", "trunk 2 dead", day=DAY)]},
         look="North 2024-08-12: 1:1..2; 1:4; 1:6..8", found="""North 1.1 2024-08-12 dead_arm
         North 1.6 2024-08-12 dead_arm 50%
         North 1.7 2024-08-12 dead_arm 50%
         North 1.8 2024-08-12 dead_trunk trunk 2""", plants="North 1.2 planted 2023\nNorth 1.3 removed 2024-08-12", notes="dead arm N side\nhalf dead\ndead arm 50%\ntrunk 2 dead"),
    Case("words that nobody knows", {N: [["Row", "Vine", "Date", "Status"], *plants("ok", "zzz", "E", day=DAY)]}, how="answers",
         say={'"zzz" = "ask"': '"zzz" = "not scouted"', '"E" = "ask"': '"E" = "leaf_stripe"'}, look="North 2024-08-12: 1:1; 1:3", found="North 1.2 2024-08-12 not_seen\nNorth 1.3 2024-08-12 leaf_stripe", notes="zzz\nE"),
    Case("words that deny", {N: [["Row", "Vine", "Date", "Status"], *plants("not dead", "no dead arm", "ok", day=DAY)]}, how="answers",
         say={'"not dead" = "ask"': '"not dead" = "sound"', '"no dead arm" = "ask"': '"no dead arm" = "sound"'}, look="North 2024-08-12: 1:1..3",
         found="North 1.1 2024-08-12 none\nNorth 1.2 2024-08-12 none", notes="not dead\nno dead arm"),
    Case("several words in a cell", {N: [["Row", "Vine", "Date", "Status"], *plants("dead arm, leaf stripe", "dead spurs + canker", "ok", day=DAY)]},
         look="North 2024-08-12: 1:1..3", found="""North 1.1 2024-08-12 dead_arm
         North 1.1 2024-08-12 leaf_stripe
         North 1.2 2024-08-12 dead_spurs
         North 1.2 2024-08-12 canker"""),
    Case("a legend in the sheet", {N: [["E = esca, M = missing, OK = healthy"], ["Row", "Vine", "Date", "Status"], *plants("OK", "E", "M", day=DAY)]},
         look="North 2024-08-12: 1:1..2", found="North 1.2 2024-08-12 leaf_stripe", plants="North 1.3 removed 2024-08-12"),
    Case("a legend on a sheet of its own", {N: [["Row", "Vine", "Date", "Status"], *plants("H", "DA", "M", day=DAY)], "Key": [["Code", "Meaning"], ["H", "healthy"], ["DA", "dead arm"], ["M", "missing vine"]]},
         look="North 2024-08-12: 1:1..2", found="North 1.2 2024-08-12 dead_arm", plants="North 1.3 removed 2024-08-12"),
    Case("a column for each symptom", {N: [["Row", "Vine", "Date", "Dead arm", "Leaf stripe", "Missing"], [1, 1, DAY, "x", None, None], [1, 2, DAY, None, "x", None], [1, 3, DAY, None, None, "x"], [1, 4, DAY, 0, 0, 0]]},
         look="North 2024-08-12: 1:1..2; 1:4", found="North 1.1 2024-08-12 dead_arm\nNorth 1.2 2024-08-12 leaf_stripe", plants="North 1.3 removed 2024-08-12", notes="Dead arm: x\nLeaf stripe: x"),
    Case("yes and no under a symptom", {N: [["Row", "Vine", "Date", "Esca"], *plants("yes", "no", "no", day=DAY)]}, look="North 2024-08-12: 1:1..3", found="North 1.1 2024-08-12 leaf_stripe"),
    Case("a scale of numbers", {N: [["Row", "Vine", "Date", "Esca %"], *plants(*range(0, 75, 5), day=DAY)]}, look="North 2024-08-12: 1:1..15",
         found="\n".join(f"North 1.{number} 2024-08-12 leaf_stripe" for number in range(2, 16))),
    Case("the same vine sound and sick", {N: [["Row", "Vine", "Date", "Status"], [1, 1, DAY, "ok"], [1, 1, DAY, "dead arm"]]}, how="refused", says="stands twice"),
    Case("a word without a vine", {N: [["Row", "Vine", "Date", "Status"], [1, 1, DAY, "ok"], [None, None, DAY, "dead arm"]]}, how="refused", says="names no vine"),
    Case("a vine without a row", {N: [["Date", "Row", "Vine", "Status"], [DAY, None, 1, "ok"], [DAY, 2, 2, "dead arm"]]}, how="refused", says="no row is written"),
    Case("colors on blank cells", {N: [["Row", "Vine", "Date", "Status"], [1, 1, DAY, "ok"], [1, 2, DAY, None]]}, paint={N: {"D3": "FFFF0000"}}, how="refused", says="are not read"),
    Case("colors that part one word", {N: [["Row", "Vine", "Date", "Status"], [1, 1, DAY, "ok"], [1, 2, DAY, "ok"], [1, 3, DAY, "dead arm"]]}, paint={N: {"D3": "FFFFFF00"}}, how="answers",
         say={'colors = "ask"': 'colors = "not read"'}, look="North 2024-08-12: 1:1..3", found="North 1.3 2024-08-12 dead_arm"),
    Case("words struck through", {N: [["Row", "Vine", "Date", "Status"], [1, 1, DAY, "dead arm"], [1, 2, DAY, "dead arm"]]}, strike={N: "D3"}, how="refused", says="struck through"),
    Case("striped lines are no meaning", {N: [["Row", "Vine", "Date", "Status"], [1, 1, DAY, "ok"], [1, 2, DAY, "dead arm"], [1, 3, DAY, "ok"]]}, paint={N: {"A3 B3 C3 D3": "FFDDDDDD", "A1 B1 C1 D1": "FF88AACC"}},
         look="North 2024-08-12: 1:1..3", found="North 1.2 2024-08-12 dead_arm"),
    Case("comments on cells", {N: [["Row", "Vine", "Date", "Status"], [1, 1, DAY, "ok"], [1, 2, DAY, "dead arm"]]}, hang={N: {"D2": "look again"}}, says="comment",
         look="North 2024-08-12: 1:1..2", found="North 1.2 2024-08-12 dead_arm"),
    Case("a formula without its result", {N: [["Row", "Vine", "Date", "Status"], [1, 1, DAY, "ok"], [1, 2, DAY, '=IF(1=1,"dead","ok")']]}, how="refused", says="was not saved"),
    Case("columns that are not understood", {N: [["Row", "Vine", "Date", "Status", "Brix", "Yield kg"], [1, 1, DAY, "ok", 21.5, 3], [1, 2, DAY, "dead arm", 22.1, 2]]},
         look="North 2024-08-12: 1:1..2", found="North 1.2 2024-08-12 dead_arm", says="Brix: left out"),
    Case("no day anywhere", {N: [["Row", "Vine", "Status"], *plants("ok", "dead arm")]}, how="answers", say={'day = "ask"': 'day = "2024-08-12"'},
         look="North 2024-08-12: 1:1..2", found="North 1.2 2024-08-12 dead_arm"),
    Case("vines counted in bays", {N: [["Row", "Bay", "Vine", "Date", "Status"], [1, 1, 1, DAY, "ok"], [1, 1, 2, DAY, "ok"], [1, 2, 1, DAY, "ok"]]}, how="refused", says="counted in bays"),
    Case("a line that stands twice", {N: [["Row", "Vine", "Date", "Status"], [1, 1, DAY, "ok"], [1, 1, DAY, "ok"], [1, 2, DAY, "dead arm"]]}, says="several lines on one day", look="North 2024-08-12: 1:1..2",
         found="North 1.2 2024-08-12 dead_arm"),
    Case("two columns that say the vine", {N: [["Row", "Vine", "Plant", "Date", "Status"], [1, 1, 4, DAY, "ok"]]}, how="refused", says="both seem to be the position"),
    Case("tables side by side", {N: [["Row", "Vine", "Status", None, "Row", "Vine", "Status"], [1, 1, "ok", None, 2, 1, "dead arm"], [1, 2, "ok", None, 2, 2, "ok"]]}, how="answers", say={'day = "ask"': 'day = "2024-08-12"'},
         look="North 2024-08-12: 1:1..2; 2:1..2", found="North 2.1 2024-08-12 dead_arm"),
    Case("two blocks on one sheet", {"2024": [["Block North"], ["Row", "Vine", "Status"], [1, 1, "ok"], [1, 2, "dead arm"], [], ["Block South"], ["Row", "Vine", "Status"], [1, 1, "ok"]]},
         look="North 2024-08-15: 1:1..2\nSouth 2024-08-15: 1:1", found="North 1.2 2024-08-15 dead_arm"),
    Case("dates of which a program turned some", {N: [["Row", "Vine", "Date", "Status"], [1, 1, dt.datetime(2024, 8, 3), "ok"], [1, 2, "13/08/2024", "dead arm"]]}, how="refused", says="taken the month for the day"),
    Case("both arms in a column", {N: [["Row", "Vine", "Date", "Symptom", "Arm"], [1, 1, DAY, "dead arm", "both"], [1, 2, DAY, "dead arm", "N"]]}, look="North 2024-08-12: 1:1..2",
         found="North 1.1 2024-08-12 dead_arm\nNorth 1.2 2024-08-12 dead_arm", notes="dead arm; both\ndead arm; N"),
    # ---- wide tables ------------------------------------------------------------------------------------------------
    Case("a column a year", {N: [["Row", "Vine", 2022, 2023, 2024], [1, 1, "ok", "ok", "dead arm"], [1, 2, "ok", "missing", "replanted 2024"], [1, 3, "", "ok", "ok"]]},
         look="North 2022-08-15: 1:1..2\nNorth 2023-08-15: 1:1; 1:3\nNorth 2024-08-15: 1:1..3", found="North 1.1 2024-08-15 dead_arm", plants="North 1.2 removed 2023-08-15\nNorth 1.2 planted 2024"),
    Case("a column a date", {N: [["Row", "Vine", DAY, dt.datetime(2025, 8, 14)], [1, 1, "ok", "leaf stripe"], [1, 2, "ok", "ok"]]},
         look="North 2024-08-12: 1:1..2\nNorth 2025-08-14: 1:1..2", found="North 1.1 2025-08-14 leaf_stripe"),
    Case("dates as text in headings", {N: [["Row", "Vine", "12.08.2024", "14.08.2025"], [1, 1, "ok", "leaf stripe"]]}, look="North 2024-08-12: 1:1\nNorth 2025-08-14: 1:1", found="North 1.1 2025-08-14 leaf_stripe"),
    Case("a symptom and a year in the heading", {N: [["Row", "Vine", "Esca 2023", "Esca 2024"], [1, 1, "x", 0], [1, 2, 0, 1]]}, look="North 2023-08-15: 1:1..2\nNorth 2024-08-15: 1:1..2",
         found="North 1.1 2023-08-15 leaf_stripe\nNorth 1.2 2024-08-15 leaf_stripe"),
    Case("two lines of headings, merged", {N: [["Row", "Vine", 2023, None, 2024, None], [None, None, "arm N", "arm S", "arm N", "arm S"], [1, 1, "ok", "ok", "dead", "ok"], [1, 2, "ok", "dead", "ok", "dead"]]},
         merge={N: ["A1:A2", "B1:B2", "C1:D1", "E1:F1"]}, how="answers", say={'"N" = "no arm"': '"N" = "start"', '"S" = "no arm"': '"S" = "end"'},
         look="North 2023-08-15: 1:1..2\nNorth 2024-08-15: 1:1..2", found="North 1.1 2024-08-15 dead_arm start\nNorth 1.2 2023-08-15 dead_arm end\nNorth 1.2 2024-08-15 dead_arm end"),
    Case("two lines of headings, years above", {N: [[None, None, 2023, None, 2024, None], ["Row", "Vine", "arm left", "trunk", "arm left", "trunk"], [1, 1, "dead", "ok", "dead", "dead"]]},
         look="North 2023-08-15: 1:1\nNorth 2024-08-15: 1:1", found="North 1.1 2023-08-15 dead_arm\nNorth 1.1 2024-08-15 dead_arm\nNorth 1.1 2024-08-15 dead_trunk"),
    Case("blank means scouted", {N: [["Row", "Vine", 2024], [1, 1, None], [1, 2, "dead arm"], [1, 3, None]]}, how="answers", say={'blank = "not scouted"': 'blank = "sound"'},
         look="North 2024-08-15: 1:1..3", found="North 1.2 2024-08-15 dead_arm"),
    Case("blank stays not scouted", {N: [["Row", "Vine", 2024], [1, 1, None], [1, 2, "dead arm"], [1, 3, None]]}, says="blank cells", look="North 2024-08-15: 1:2", found="North 1.2 2024-08-15 dead_arm",
         rows="North 1: 1..3"),
    Case("seasons as winters", {N: [["Row", "Vine", "Winter 2023/24"], [1, 1, "dead spurs"], [1, 2, "ok"]]}, look="North 2024-01-15: 1:1..2", found="North 1.1 2024-01-15 dead_spurs"),
    Case("a total at the right", {N: [["Row", "Vine", 2024, "Total"], [1, 1, "ok", 0], [1, 2, "canker", 1]]}, look="North 2024-01-15: 1:1..2", found="North 1.2 2024-01-15 canker"),
    Case("a sheet a block, a column a year", {"North": [["Row", "Vine", 2024], [1, 1, "ok"]], "South": [["Row", "Vine", 2024], [1, 1, "dead arm"], [1, 2, "ok"]]},
         look="North 2024-08-15: 1:1\nSouth 2024-08-15: 1:1..2", found="South 1.1 2024-08-15 dead_arm"),
    Case("headings with a word before the year", {N: [["Row #", "Vine #", "Year 2023", "Obs 2024"], [1, 1, "ok", "small"], [1, 2, "dead arm", None]]}, look="North 2023-08-15: 1:1..2",
         found="North 1.2 2023-08-15 dead_arm", how="confirm", says="Obs 2024: note"),
    Case("a sheet a year", {"2023": [["Block", "Row", "Vine", "Status"], ["North", 1, 1, "ok"]], "2024": [["Block", "Row", "Vine", "Status"], ["North", 1, 1, "dead arm"]]},
         look="North 2023-08-15: 1:1\nNorth 2024-08-15: 1:1", found="North 1.1 2024-08-15 dead_arm"),
    Case("the southern summer", {N: [["Row", "Vine", "Date", "Status"], [1, 1, dt.datetime(2024, 2, 3), "leaf stripe"], [1, 2, dt.datetime(2024, 2, 3), "ok"]]},
         look="North 2024-02-03: 1:1..2", found="North 1.1 2024-02-03 leaf_stripe", says="south"),
    # ---- matrices ----------------------------------------------------------------------------------------------------
    Case("a matrix with headings", {"North 2024": [["Row", 1, 2, 3], [1, "ok", "dead arm", "ok"], [2, "ok", "ok", None]]}, look="North 2024-08-15: 1:1..3; 2:1..2", found="North 1.2 2024-08-15 dead_arm", rows="North 1: 1..3\nNorth 2: 1..3"),
    Case("a matrix, rows across", {"North 2024": [["Vine", "Row 1", "Row 2"], [1, "ok", "dead arm"], [2, "ok", "missing"]]}, look="North 2024-08-15: 1:1..2; 2:1", found="North 2.1 2024-08-15 dead_arm", plants="North 2.2 removed 2024-08-15"),
    Case("a matrix without headings, a sheet a year", {"2023": [["ok", "ok", "ok"], ["ok", "dead", "ok"]], "2024": [["ok", "dead arm", "ok"], ["ok", "missing", "ok"]]}, file="north.xlsx",
         look="north 2023-08-15: 1:1..3; 2:1..3\nnorth 2024-08-15: 1:1..3; 2:1; 2:3", found="north 2.2 2023-08-15 dead\nnorth 1.2 2024-08-15 dead_arm", plants="north 2.2 removed 2024-08-15"),
    Case("a matrix of marks", {"North 2024": [["Row", 1, 2, 3, 4], [1, 0, 1, 0, None], [2, 0, 0, 1, 0]]}, how="answers", say={'"1" = "ask"': '"1" = "leaf_stripe"'},
         look="North 2024-08-15: 1:1..3; 2:1..4", found="North 1.2 2024-08-15 leaf_stripe\nNorth 2.3 2024-08-15 leaf_stripe"),
    Case("a matrix, lines are vines, said once", {"North 2024": [["ok", "ok"], ["ok", "dead"], ["ok", "ok"]]}, how="answers", say={'lines_are = "rows"': 'lines_are = "vines"'},
         look="North 2024-08-15: 1:1..3; 2:1..3", found="North 2.2 2024-08-15 dead", rows="North 1: 1..3\nNorth 2: 1..3"),
    Case("a matrix of rows R1 and R2", {"North 2024": [["Vine", "R1", "R2"], [1, "ok", "dead arm"], [2, "ok", "ok"]]}, look="North 2024-08-15: R1:1..2; R2:1..2", found="North R2.1 2024-08-15 dead_arm"),
    Case("a matrix with notes at the right", {"North 2024": [["Row", 1, 2, "Notes"], [1, "ok", "dead", "low spot"], [2, "ok", "ok", None]]}, says="Notes: left out", look="North 2024-08-15: 1:1..2; 2:1..2", found="North 1.2 2024-08-15 dead"),
    Case("a matrix with a blank corner, rows across", {"Block A 2024": [[None, "Row 1", "Row 2", "Row 3"], ["V1", "ok", "ok", "dead"], ["V2", "missing", "ok", None]]},
         look="A 2024-08-15: 1:1; 2:1..2; 3:1", found="A 3.1 2024-08-15 dead", plants="A 1.2 removed 2024-08-15"),
    Case("a matrix with a blank corner, R and V", {"Block A 2024": [[None, "R1", "R2", "R3"], ["V1", "ok", "ok", "dead"], ["V2", "missing", "ok", None]]},
         look="A 2024-08-15: R1:1; R2:1..2; R3:1", found="A R3.1 2024-08-15 dead", plants="A R1.2 removed 2024-08-15"),
    Case("a sheet a row, said by its name", {"Row 1": [["Block North", None, None], ["Vine", 2023, 2024], [1, "ok", "ok"], [2, "dead", "missing"]]}, look="North 2023-08-15: 1:1..2\nNorth 2024-08-15: 1:1",
         found="North 1.2 2023-08-15 dead", plants="North 1.2 removed 2024-08-15"),
    Case("no row anywhere", {"North": [["Vine", 2024], [1, "ok"], [2, "dead"]]}, how="answers", say={'row = "ask"': 'row = "4"'}, look="North 2024-08-15: 4:1..2", found="North 4.2 2024-08-15 dead"),
    Case("lists of positions a year", {"North": [["Row", "2023", "2024"], [1, "3,5", "3,5,8"]]}, how="answers", say={'"listed" = "ask"': '"listed" = "leaf_stripe"'},
         look="North 2023-08-15: 1:3; 1:5\nNorth 2024-08-15: 1:3; 1:5; 1:8", found="""North 1.3 2023-08-15 leaf_stripe
         North 1.5 2023-08-15 leaf_stripe
         North 1.3 2024-08-15 leaf_stripe
         North 1.5 2024-08-15 leaf_stripe
         North 1.8 2024-08-15 leaf_stripe"""),
    Case("sums after each row", {"North": [["Row", "Vine", "Status 2024"], [1, 1, "ok"], [1, 2, "dead"], ["Row total", None, 1], [2, 1, "ok"]]}, look="North 2024-08-15: 1:1..2; 2:1", found="North 1.2 2024-08-15 dead"),
    Case("two sheets that contradict each other", {"Sheet1": [["Row", "Vine", "Date", "Status"], [1, 1, DAY, "ok"]], "Sheet2": [["Row", "Vine", "Date", "Status"], [1, 1, DAY, "dead"]]}, how="refused", says="sick on another"),
    Case("notes and no other words", {"North": [["Date", "Row", "Vine", "Notes"], [DAY, 1, 4, "dead arm, north side"], [DAY, 2, 6, "replanted in 2023"], [DAY, 2, 9, "gone?"]]},
         look="North 2024-08-12: 1:4; 2:6", found="North 1.4 2024-08-12 dead_arm", plants="North 2.6 planted 2023\nNorth 2.9 removed 2024-08-12", notes="dead arm, north side"),
    Case("a matrix with sums", {"North 2024": [["Row", 1, 2, "Total"], [1, "ok", "dead", 1], [2, "ok", "ok", 0], ["Total", 0, 1, 1]]}, look="North 2024-08-15: 1:1..2; 2:1..2", found="North 1.2 2024-08-15 dead"),
    Case("a matrix with a title and named rows", {"Sheet1": [["Block Hill, 12 August 2024"], [None, 1, 2, 3], ["Row 1", "ok", "ok", "dead arm"], ["Row 2", "ok", "-", "ok"]]},
         look="Hill 2024-08-12: 1:1..3; 2:1; 2:3", found="Hill 1.3 2024-08-12 dead_arm"),
    Case("a matrix numbered from the right", {"North 2024": [["Row", 3, 2, 1], [1, "dead arm", "ok", "ok"]]}, look="North 2024-08-15: 1:1..3", found="North 1.3 2024-08-15 dead_arm"),
    Case("two matrices on one sheet", {"2024": [["Block North"], ["Row", 1, 2, 3], [1, "ok", "dead", "ok"], [], ["Block South"], ["Row", 1, 2, 3], [1, "ok", "ok", "canker"]]},
         look="North 2024-01-15: 1:1..3\nSouth 2024-01-15: 1:1..3", found="North 1.2 2024-01-15 dead\nSouth 1.3 2024-01-15 canker"),
    Case("a matrix in a wide merged gap", {"North 2024": [["Row", 1, 2, 3, 4], [1, "ok", "missing", None, "ok"]]}, merge={"North 2024": ["C2:D2"]}, look="North 2024-08-15: 1:1; 1:4",
         plants="North 1.2 removed 2024-08-15\nNorth 1.3 removed 2024-08-15"),
    # ---- lists --------------------------------------------------------------------------------------------------------
    Case("lists of positions", {"North 2024": [["Row", "Dead arm", "Missing"], [1, "3, 7", 9], [2, "1..3", None]]}, look="North 2024-08-15: 1:3; 1:7; 2:1..3",
         found="North 1.3 2024-08-15 dead_arm\nNorth 1.7 2024-08-15 dead_arm\nNorth 2.1 2024-08-15 dead_arm\nNorth 2.2 2024-08-15 dead_arm\nNorth 2.3 2024-08-15 dead_arm", plants="North 1.9 removed 2024-08-15"),
    # ---- languages ----------------------------------------------------------------------------------------------------
    Case("Spanish", {"Parcela Alta": [["Fila", "Cepa", "Fecha", "Estado", "Observaciones"], [1, 1, "15/07/2024", "sana", None], [1, 2, "15/07/2024", "brazo muerto", "lado norte"], [1, 3, "15/07/2024", "falta", None], [1, 4, "15/07/2024", "replantada 2022", None], [1, 5, "15/07/2024", "yesca", None]]},
         look="Alta 2024-07-15: 1:1..2; 1:4..5", found="Alta 1.2 2024-07-15 dead_arm\nAlta 1.5 2024-07-15 leaf_stripe", plants="Alta 1.3 removed 2024-07-15\nAlta 1.4 planted 2022", notes="brazo muerto; lado norte\nyesca"),
    Case("French", {"Parcelle Haute": [["Rang", "Pied", "Date", "État"], [1, 1, "15 août 2024", "sain"], [1, 2, "15 août 2024", "bras mort"], [1, 3, "15 août 2024", "manquant"], [1, 4, "15 août 2024", "complanté 2021"], [1, 5, "15 août 2024", "apoplexie"]]},
         look="Haute 2024-08-15: 1:1..2; 1:4..5", found="Haute 1.2 2024-08-15 dead_arm\nHaute 1.5 2024-08-15 collapse", plants="Haute 1.3 removed 2024-08-15\nHaute 1.4 planted 2021"),
    Case("Italian", {"Vigneto Alto": [["Filare", "Vite", "2023", "2024"], [1, 1, "sana", "foglie tigrate"], [1, 2, "braccio morto", "mancante"], [1, 3, "sana", "sana"]]},
         look="Alto 2023-08-15: 1:1..3\nAlto 2024-08-15: 1:1; 1:3", found="Alto 1.2 2023-08-15 dead_arm\nAlto 1.1 2024-08-15 leaf_stripe", plants="Alto 1.2 removed 2024-08-15"),
    Case("German", {"Oberfeld": [["Reihe", "Stock", "Datum", "Befund", "Bemerkung"], [1, 1, "15.08.2024", "gesund", None], [1, 2, "15.08.2024", "toter Arm", "links"], [1, 3, "15.08.2024", "fehlt", None], [1, 4, "15.08.2024", "nachgepflanzt 2020", None], [1, 5, "15.08.2024", "nicht kontrolliert", None]]},
         look="Oberfeld 2024-08-15: 1:1..2; 1:4", found="Oberfeld 1.2 2024-08-15 dead_arm", plants="Oberfeld 1.3 removed 2024-08-15\nOberfeld 1.4 planted 2020"),
    Case("Portuguese", {"Talhão Alto": [["Linha", "Videira", "Data", "Estado"], [1, 1, "15-08-2024", "saudável"], [1, 2, "15-08-2024", "braço morto"], [1, 3, "15-08-2024", "falha"], [1, 4, "15-08-2024", "sem sintomas"]]},
         look="Alto 2024-08-15: 1:1..2; 1:4", found="Alto 1.2 2024-08-15 dead_arm", plants="Alto 1.3 removed 2024-08-15"),
    # ---- other files -----------------------------------------------------------------------------------------------------
    Case("CSV with semicolons", {}, file="north.csv", text="Row;Vine;Date;Status\n1;1;2024-08-12;ok\n1;2;2024-08-12;dead arm\n", look="north 2024-08-12: 1:1..2", found="north 1.2 2024-08-12 dead_arm"),
    Case("CSV in an old encoding", {}, file="haute.csv", text="Rang;Pied;Date;État\n1;1;2024-08-12;sain\n1;2;2024-08-12;bras mort\n", encoding="cp1252", look="haute 2024-08-12: 1:1..2", found="haute 1.2 2024-08-12 dead_arm"),
    Case("CSV without headings", {}, file="north 2024-08-12.csv", text="1,1,ok\n1,2,dead arm\n1,3,ok\n2,1,ok\n2,2,missing\n", look="north 2024-08-12: 1:1..3; 2:1", found="north 1.2 2024-08-12 dead_arm", plants="north 2.2 removed 2024-08-12"),
    Case("OpenDocument", {N: [["Row", "Vine", 2023, 2024], [1, 1, "ok", "dead arm"], [None, 2, "ok", "ok"]]}, file="book.ods", merge={N: ["A2:A3"]},
         look="North 2023-08-15: 1:1..2\nNorth 2024-08-15: 1:1..2", found="North 1.1 2024-08-15 dead_arm"),
    Case("a sheet that says nothing of vines", {"North": [["Row", "Vine", "Date", "Status"], *plants("ok", "dead", day=DAY)], "Spray diary": [["Date", "Product", "Rate"], [DAY, "water", 2], [DAY, "water", 3]]},
         look="North 2024-08-12: 1:1..2", found="North 1.2 2024-08-12 dead", says="Spray diary: left out"),
    # ---- a vineyard that is there -----------------------------------------------------------------------------------
    Case("a block that is there", {"2024": [["Row", "Vine", "Status"], [1, 1, "ok"], [2, 3, "dead arm"]]}, before="Mill", look="Mill 2024-08-15: 1:1; 2:3", found="Mill 2.3 2024-08-15 dead_arm", rows="Mill 1: 1..5\nMill 2: 1..5"),
    Case("a row that the block has not got", {"Mill 2024": [["Row", "Vine", "Status"], [1, 1, "ok"], [9, 3, "dead arm"]]}, before="Mill", how="refused", says="no such row"),
    Case("a position past the end", {"Mill 2024": [["Row", "Vine", "Status"], [1, 1, "ok"], [2, 30, "dead arm"]]}, before="Mill", how="refused", says="no such position"),
    Case("the whole block was scouted", {"Mill 2024": [["Row", "Vine", "Symptom"], [1, 2, "dead arm"]]}, before="Mill", how="answers", say={'blank = "not scouted"': 'blank = "whole block"'}, look="Mill 2024-08-15: 1:1..5; 2:1..5", found="Mill 1.2 2024-08-15 dead_arm"),
    Case("labels as the block has them", {"mill": [["Row", "Vine", "Date", "Status"], ["01", "1", DAY, "ok"], ["02", "2", DAY, "dead"]]}, before="Mill", look="Mill 2024-08-12: 1:1; 2:2", found="Mill 2.2 2024-08-12 dead", how="certain"),
    Case("all certain", {"Mill": [["Row", "Vine", "Date", "Status"], *plants("ok", "dead arm", "missing", "replanted 2023", day=DAY)]}, before="Mill", how="certain", look="Mill 2024-08-12: 1:1..2; 1:4", found="Mill 1.2 2024-08-12 dead_arm",
         plants="Mill 1.3 removed 2024-08-12\nMill 1.4 planted 2023"),
]  # fmt: skip
