"""Long lists as growers keep them: a line a vine, or a line a finding."""

import datetime as dt
from pathlib import Path

from calibration.other_books import Case, entries, grid, listed, merge, save, with_values
from calibration.other_languages import LANGUAGES
from openpyxl import Workbook


def _pruner(folder: Path) -> Path:
    lines = [
        ["Kestrel Flat Vineyard"],
        ["14 Quarry Lane, Little Harrow"],
        ["Block: Upper Terrace"],
        ["Pruning tally, 12 Feb 2024, T.M."],
        [],
        ["Row", "Vine", "What", "Comment"],
        [1, 4, "DA N", "left a sucker"],
        [1, 11, "DA S", None],
        [1, 17, "NV", "stump pulled"],
        [2, 3, "X", None],
        [2, 4, "X", "cut off at ground"],
        [2, 9, "canker", "trunk, head height"],
        [3, None, None, "nothing in this row"],
        [4, 12, "DA N + canker", None],
        [4, 20, "NV", "never came"],
        [5, 8, "R", "new trunk from 2022 sucker"],
        [6, 1, "?", "tractor in the way"],
        ["Total", None, 9, None],
        [],
        ["Rows 1-6 pruned and looked at, 24 vines each. Only what was not right is written down."],
    ]
    return save(folder, "tally.xlsx", {"Sheet1": lines})


PRUNER = Case(
    "pruner's tally, sick vines only",
    _pruner,
    "what DA, NV, X, R and ? mean; which arm is N; were the vines that are not listed looked at; how long are the rows",
    entries(
        "Upper Terrace",
        "2024-02-12",
        (1, 4, "dead_arm@start"),
        (1, 11, "dead_arm@end"),
        (1, 17, "no vine"),
        (2, 3, "dead"),
        (2, 4, "dead"),
        (2, 9, "canker"),
        (4, 12, "dead_arm@start"),
        (4, 12, "canker"),
        (4, 20, "no vine"),
        (5, 8, "work renew_trunk"),
    ),
    {("Upper Terrace", "2024-02-12"): grid(range(1, 7), range(1, 25), {("1", "17"), ("4", "20"), ("6", "1")})},
    {("Upper Terrace", "2024-02-12"): {("5", "8")}},
    never="vine 9 or row Total out of the total line; work out of the comments",
    made_first=("--block", "Upper Terrace", "--rows", "6", "--vines", "24", "--hemisphere", "north"),
)


def _two_winters(folder: Path) -> Path:
    cells = {
        (1, 2): ("dead arm", "N", "dead arm", "N", None),
        (1, 5): ("ok", None, "dead spurs", None, "end spur too"),
        (2, 1): ("dead", None, "gone", None, None),
        (2, 6): (None, None, "ok", None, "hidden by weeds"),
        (3, 3): ("ok", None, "canker", "trunk", None),
        (3, 8): ("missing", None, "missing", None, None),
    }
    head = [
        ["Row", "Vine", "Winter 2022/23", None, "Winter 2023/24", None, "Remarks"],
        [None, None, "Seen", "Side", "Seen", "Side", None],
    ]
    lines = listed(range(1, 4), range(1, 9), cells, ("ok", None, "ok", None, None))

    def dress(book: Workbook) -> None:
        sheet = book["Mill Corner"]
        merge(sheet, "A1:A2", "B1:B2", "C1:D1", "E1:F1", "G1:G2", "A3:A10", "A11:A18", "A19:A26")

    return save(folder, "two_winters.xlsx", {"Mill Corner": head + lines}, dress)


WINTERS = Case(
    "two winters side by side, merged",
    _two_winters,
    "which arm is N; the days; that 'trunk' in a column of sides is no arm",
    entries("Mill Corner", "2023", (1, 2, "dead_arm@start"), (2, 1, "dead"), (3, 8, "no vine"))
    | entries(
        "Mill Corner",
        "2024",
        (1, 2, "dead_arm@start"),
        (1, 5, "dead_spurs"),
        (2, 1, "no vine"),
        (3, 3, "canker"),
        (3, 8, "no vine"),
    ),
    {
        ("Mill Corner", "2023"): grid(range(1, 4), range(1, 9), {("2", "6"), ("3", "8")}),
        ("Mill Corner", "2024"): grid(range(1, 4), range(1, 9), {("2", "1"), ("3", "8")}),
    },
)


def _road(folder: Path) -> Path:
    seen = {
        ("12A", 3): ("DA road", None),
        ("12A", 9): ("DA hill", "wire broken"),
        ("12B", 1): ("dead", None),
        ("12B", 10): ("NV", "end post"),
        (13, 5): ("DA road", None),
    }
    head = ["Row", "Vine (counted from the road)", "What I saw 5 Mar 2024", "Notes"]
    lines = [
        head,
        *listed(("12A", "12B"), range(1, 11), seen, ("ok", None)),
        head,
        *listed((13,), range(1, 11), seen, ("ok", None)),
    ]
    return save(folder, "hill.xlsx", {"Hill Block": lines})


ROAD = Case(
    "rows 12A and 12B, from the road",
    _road,
    "which end is the road; which arm is road, which hill",
    entries(
        "Hill Block",
        "2024-03-05",
        ("12A", 3, "dead_arm@start"),
        ("12A", 9, "dead_arm@end"),
        ("12B", 1, "dead"),
        ("12B", 10, "no vine"),
        (13, 5, "dead_arm@start"),
    ),
    {("Hill Block", "2024-03-05"): grid(("12A", "12B", 13), range(1, 11), {("12B", "10")})},
    never="the headings in the middle of the sheet as a vine",
)


def _orders(folder: Path) -> Path:
    lines = [
        ["Block", "Row", "Vine", "Date", "Finding"],
        ["Flat", 1, 1, "13/02/2024", "dead arm"],
        ["Flat", 1, 2, "02/14/2024", "ok"],
        ["Flat", 1, 3, "2024-02-15", "ok"],
        ["Flat", 2, 1, "03/02/2024", "canker"],
        ["Flat", 2, 2, "Feb 16 2024", "ok"],
    ]
    return save(folder, "orders.xlsx", {"log": lines})


ORDERS = Case(
    "dates in several orders",
    _orders,
    "the orders contradict each other: 13/02 and 02/14; 03/02/2024 stays doubtful until the sheet is put right",
    None,
    never="03/02/2024 as either day",
)


def _serial(folder: Path) -> Path:
    lines = [["Blk", "Row", "Plant", "Insp.", "Code"]]
    for block, day, seen in (
        ("E", 45323, {(1, 2): "DA", (1, 4): "NV", (2, 1): "X", (2, 5): "RP"}),
        ("W", 45330, {(1, 6): "DA", (2, 2): "CK", (2, 3): "CK", (2, 6): "n.l."}),
    ):
        codes = {place: (code,) for place, code in seen.items()}
        lines += [[block, row, vine, day, code] for row, vine, code in listed((1, 2), range(1, 7), codes, ("-",))]
    legend = [
        ["Code", "Meaning"],
        ["DA", "dead arm"],
        ["CK", "canker"],
        ["NV", "no vine"],
        ["RP", "replanted"],
        ["X", "dead vine"],
        ["-", "looked at, nothing seen"],
        ["n.l.", "not looked at"],
    ]
    return save(folder, "export.xlsx", {"data": lines, "legend": legend})


SERIAL = Case(
    "dates as serials, a sheet of codes",
    _serial,
    "that 45323 is a day; the codes, if the legend is not read; when RP was planted",
    entries("E", "2024-02-01", (1, 2, "dead_arm"), (1, 4, "no vine"), (2, 1, "dead"), (2, 5, "replanted"))
    | entries("W", "2024-02-08", (1, 6, "dead_arm"), (2, 2, "canker"), (2, 3, "canker")),
    {
        ("E", "2024-02-01"): grid((1, 2), range(1, 7), {("1", "4")}),
        ("W", "2024-02-08"): grid((1, 2), range(1, 7), {("2", "6")}),
    },
    {("E", "2024-02-01"): {("2", "5")}},
    never="vines out of the legend",
)


def _percent(folder: Path) -> Path:
    seen = [0.5, 0.5, "half", 0, 0, 1, 25, "25 %", None, 0]
    lines = [["Row", "Vine", "% of cordon dead, Feb 2024"], *([1, vine, cell] for vine, cell in enumerate(seen, 1))]

    def dress(book: Workbook) -> None:
        for cell in ("C2", "C6", "C7"):
            book["Gravel Pit"][cell].number_format = "0%"

    return save(folder, "percent.xlsx", {"Gravel Pit": lines}, dress)


PERCENT = Case(
    "percent dead in several ways",
    _percent,
    "what the percent is of; whether 0.5 without a percent sign is a half; 'half'",
    entries(
        "Gravel Pit",
        "2024",
        *((1, vine, f"dead_arm {share}%") for vine, share in ((1, 50), (2, 50), (3, 50), (6, 100), (7, 25), (8, 25))),
    ),
    {("Gravel Pit", "2024"): grid((1,), range(1, 11), {("1", "9")})},
    never="half a percent",
)


def _ranges(folder: Path) -> Path:
    lines = [
        ["East Bench, 20 Feb 2024"],
        ["Row", "Vines", "Finding"],
        [1, "12-15", "no vine"],
        [1, "3, 7, 9", "dead arm"],
        [1, "rest", "ok"],
        [2, "20–22", "dead"],
        [2, 4, "canker"],
        [2, "5 + 6", "dead spurs"],
        [2, "rest", "ok"],
        ["30 vines in each row"],
    ]
    return save(folder, "ranges.xlsx", {"East Bench": lines})


RANGES = Case(
    "ranges of vines",
    _ranges,
    "what 'rest' is: all other vines of the row, of which there are 30",
    entries(
        "East Bench",
        "2024-02-20",
        *((1, vine, "no vine") for vine in range(12, 16)),
        *((1, vine, "dead_arm") for vine in (3, 7, 9)),
        *((2, vine, "dead") for vine in (20, 21, 22)),
        (2, 4, "canker"),
        (2, 5, "dead_spurs"),
        (2, 6, "dead_spurs"),
    ),
    {("East Bench", "2024-02-20"): grid((1, 2), range(1, 31), grid((1,), range(12, 16)))},
    made_first=("--block", "East Bench", "--rows", "2", "--vines", "30", "--hemisphere", "north"),
)


def _turned(folder: Path) -> Path:
    lines = [
        ["Row", "Vine", "Seen 2 Feb 2024"],
        [1, 1, "ok"],
        [1, dt.datetime(2024, 12, 15), "no vine"],
        [1, 16, "ok"],
        [2, dt.datetime(2024, 3, 7), "dead"],
        [2, 8, "ok"],
    ]
    return save(folder, "turned.xlsx", {"West": lines})


TURNED = Case(
    "vines that turned into dates",
    _turned,
    "the cells B3 and B5 were ranges of vines before the program made days of them",
    None,
    never="a vine 45641, or a list without these lines and no word of it",
)


def _formulas(folder: Path, *, valued: bool) -> Path:
    spurs = [0, 3, 0, 8, 0, 0, 2, 0]
    lines = [["Row", "Vine", "Dead spurs", "Status Feb 2024"]]
    values: dict[str, float | str] = {}
    for number, count in enumerate(spurs, 2):
        lines.append(
            [
                1,
                1 if number == 2 else f"=B{number - 1}+1",
                count,
                f'=IF(C{number}=0,"ok",IF(C{number}>7,"dead arm","dead spurs"))',
            ]
        )
        values[f"D{number}"] = "ok" if count == 0 else "dead arm" if count > 7 else "dead spurs"
        if number > 2:
            values[f"B{number}"] = number - 1
    lines.append(["Average", None, "=AVERAGE(C2:C9)", None])
    values["C10"] = 1.625
    path = save(folder, "formulas.xlsx", {"Lower Flat": lines})
    if valued:
        with_values(path, values)
    return path


FORMULAS = Case(
    "formulas with values, a line of averages",
    lambda folder: _formulas(folder, valued=True),
    "the number of dead spurs beside the status: kept as a number or left out",
    entries("Lower Flat", "2024", (1, 2, "dead_spurs"), (1, 4, "dead_arm"), (1, 7, "dead_spurs")),
    {("Lower Flat", "2024"): grid((1,), range(1, 9))},
    never="a row Average",
)
NO_VALUES = Case(
    "formulas without values",
    lambda folder: _formulas(folder, valued=False),
    "the file has to be saved by a program that computes the formulas",
    None,
    never="empty cells as not scouted without a word",
)


def _remarks(folder: Path) -> Path:
    lines = [
        ["Block", "Row", "Vine", "2023", "2024", "Remarks"],
        ["Orchard End", 1, 1, "ok", "ok", None],
        [None, 1, 2, "DA", "DA", "same arm"],
        [None, 1, 3, "X", "NV", "pulled in May"],
        [None, 1, 4, "NV", "rep. 2024", None],
        [None, 1, 5, "-", "ok", "dead vine next to it is not ours"],
        [None, 1, 6, "ok", "?", "esca?"],
        [None, 2, 1, "esca", "R", "new trunk, see row 5"],
        [None, 2, 2, "ok", "esca", None],
        [None, 2, 3, "rep. 2021", "ok", None],
        ["Pond", 1, 1, "ok", "ok", None],
        [None, 1, 2, "esca", "X", "was marked wrong in 2022"],
        [None, 1, 3, "ok", "DA", None],
        ["sick, %", None, None, 0.25, 0.33, None],
        [],
        ["X = dead, R = trunk retrained, - and ? = not looked at, NV = no vine, DA = dead arm"],
        ["esca = leaves in summer. All seen in August."],
    ]
    return save(folder, "register.xlsx", {"Register": lines})


REMARKS = Case(
    "abbreviations, remarks, notes below",
    _remarks,
    "DA, X, NV, R, esca, - and ?; the day of the years",
    entries(
        "Orchard End",
        "2023",
        (1, 2, "dead_arm"),
        (1, 3, "dead"),
        (1, 4, "no vine"),
        (2, 1, "leaf_stripe"),
        (2, 3, "replanted 2021"),
    )
    | entries(
        "Orchard End",
        "2024",
        (1, 2, "dead_arm"),
        (1, 3, "no vine"),
        (1, 4, "replanted 2024"),
        (2, 1, "work renew_trunk"),
        (2, 2, "leaf_stripe"),
    )
    | entries("Pond", "2023", (1, 2, "leaf_stripe"))
    | entries("Pond", "2024", (1, 2, "dead"), (1, 3, "dead_arm")),
    {
        ("Orchard End", "2023"): grid((1,), (1, 2, 3, 6)) | grid((2,), (1, 2, 3)),
        ("Orchard End", "2024"): grid((1,), (1, 2, 4, 5)) | grid((2,), (1, 2, 3)),
        ("Pond", "2023"): grid((1,), (1, 2, 3)),
        ("Pond", "2024"): grid((1,), (1, 2, 3)),
    },
    {("Orchard End", "2023"): {("2", "3")}, ("Orchard End", "2024"): {("1", "4"), ("2", "1")}},
    never="a block 'sick, %'; anything out of the remarks but notes",
)


def _named_once(folder: Path) -> Path:
    lines = [
        ["Block", "Row", "Vine", "Seen 5 Feb 2024"],
        ["Pond", 1, 1, "ok"],
        [None, 1, 2, "dead arm"],
        [None, 1, 3, "ok"],
    ]
    return save(folder, "pond.xlsx", {"Sheet1": lines})


NAMED_ONCE = Case(
    "the block named on its first line",
    _named_once,
    "whether Pond holds for the lines below",
    entries("Pond", "2024-02-05", (1, 2, "dead_arm")),
    {("Pond", "2024-02-05"): grid((1,), (1, 2, 3))},
    never="a block without a name",
)

LISTS = [
    PRUNER,
    WINTERS,
    *LANGUAGES,
    ROAD,
    ORDERS,
    SERIAL,
    PERCENT,
    RANGES,
    TURNED,
    FORMULAS,
    NO_VALUES,
    REMARKS,
    NAMED_ONCE,
]
