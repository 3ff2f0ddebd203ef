"""Maps and grids as growers keep them, sheets of totals, hidden sheets, rows numbered in turn."""

from pathlib import Path

from calibration.other_books import Case, crossed, entries, grid, listed, merge, save
from openpyxl import Workbook

_LEGEND = [
    [],
    ["S = stripes on the leaves"],
    ["D = dead vine"],
    ["o = looks fine"],
    ["M = no vine"],
    ["/ = not looked at"],
]


def _map(
    title: str, rows: int, vines: int, seen: dict[tuple[int, int], str], short: dict[int, int]
) -> list[list[object]]:
    lines: list[list[object]] = [[title], [None, *(f"R{row}" for row in range(1, rows + 1))]]
    labels = range(1, rows + 1)
    for vine in range(1, vines + 1):
        signs = [None if vine > short.get(row, vines) else seen.get((row, vine), "o") for row in labels]
        lines.append([vine, *signs])
    return lines + _LEGEND


def _maps(folder: Path) -> Path:
    chestnut = {(2, 3): "S", (2, 4): "S", (5, 10): "S", (4, 7): "D", (1, 1): "M", (3, 6): "M", (5, 1): "/"}
    field = {(1, 12): "S", (3, 5): "S", (4, 1): "M", (4, 2): "M", (2, 2): "D"}

    def dress(book: Workbook) -> None:
        merge(book["Chestnut"], "A1:F1")
        merge(book["Long Field"], "A1:E1")

    return save(
        folder,
        "map.xlsx",
        {
            "Chestnut": _map("CHESTNUT - map August 2023", 5, 10, chestnut, {}),
            "Long Field": _map("LONG FIELD - map August 2023", 4, 12, field, {4: 9}),
        },
        dress,
    )


MAPS = Case(
    "a map a block, rows across the page",
    _maps,
    "the five signs, if the legend is not read; that R1 to R5 are rows",
    entries(
        "Chestnut",
        "2023",
        (2, 3, "leaf_stripe"),
        (2, 4, "leaf_stripe"),
        (5, 10, "leaf_stripe"),
        (4, 7, "dead"),
        (1, 1, "no vine"),
        (3, 6, "no vine"),
    )
    | entries(
        "Long Field",
        "2023",
        (1, 12, "leaf_stripe"),
        (3, 5, "leaf_stripe"),
        (2, 2, "dead"),
        (4, 1, "no vine"),
        (4, 2, "no vine"),
    ),
    {
        ("Chestnut", "2023"): grid(range(1, 6), range(1, 11), {("1", "1"), ("3", "6"), ("5", "1")}),
        ("Long Field", "2023"): grid(range(1, 4), range(1, 13)) | grid((4,), range(3, 10)),
    },
    never="rows and vines changed over; vines 10 to 12 of row 4 of Long Field as scouted",
)


def _totals(folder: Path) -> Path:
    lines = [
        ["Block", "Row", "Vines", "Dead", "DA", "Esca", "% sick"],
        ["Upper", 1, 40, 2, 3, 1, "15%"],
        ["Upper", 2, 38, 0, 4, 0, "11%"],
        ["Upper", 3, 41, 1, 1, 2, "10%"],
        ["Total", None, 119, 3, 8, 3, "12%"],
    ]
    return save(folder, "totals.xlsx", {"2023": lines})


TOTALS = Case(
    "counts a row, no vines",
    _totals,
    "nothing: there is no position in it, so it cannot be taken vine by vine",
    None,
    never="vines 40, 38 and 41; counts as words",
)


def _spanish(folder: Path) -> Path:
    years = {
        "2021": {(1, 3): "yesca", (2, 5): "brazo seco", (3, 1): "falta", (4, 12): "muerta"},
        "2022": {(1, 3): "yesca", (1, 4): "yesca", (2, 5): "brazo seco", (3, 1): "replantada", (4, 12): "arrancada"},
        "2023": {(1, 3): "muerta", (2, 5): "brazo seco", (2, 6): "yesca", (4, 12): "falta"},
    }
    sheets = {}
    for year, seen in years.items():
        sheets[year] = [
            ["Finca El Carrascal Alto - Parcela Solana"],
            [None, "Cepa"],
            ["Fila", *range(1, 13)],
            *crossed(range(1, 5), range(1, 13), seen, "sana"),
            [],
            ["Muertas:", 1],
            ["Leyenda: yesca = hojas atigradas"],
        ]

    def dress(book: Workbook) -> None:
        for sheet in book:
            merge(sheet, "A1:M1", "B2:M2")

    return save(folder, "solana.xlsx", sheets, dress)


SPANISH = Case(
    "Spanish, a sheet a year",
    _spanish,
    "the name of the block; the days; yesca; when replantada was planted",
    entries("Solana", "2021", (1, 3, "leaf_stripe"), (2, 5, "dead_arm"), (3, 1, "no vine"), (4, 12, "dead"))
    | entries(
        "Solana",
        "2022",
        (1, 3, "leaf_stripe"),
        (1, 4, "leaf_stripe"),
        (2, 5, "dead_arm"),
        (3, 1, "replanted 2022"),
        (4, 12, "no vine"),
    )
    | entries("Solana", "2023", (1, 3, "dead"), (2, 5, "dead_arm"), (2, 6, "leaf_stripe"), (4, 12, "no vine")),
    {
        ("Solana", "2021"): grid(range(1, 5), range(1, 13), {("3", "1")}),
        ("Solana", "2022"): grid(range(1, 5), range(1, 13), {("4", "12")}),
        ("Solana", "2023"): grid(range(1, 5), range(1, 13), {("4", "12")}),
    },
    {("Solana", "2022"): {("3", "1")}},
    never="a row 'Muertas:'",
)


def _every_second(folder: Path) -> Path:
    seen: dict[tuple[int, int], str | None] = {(1, 5): "LS", (2, 1): "dead", (2, 19): "NV", (4, 7): "LS"}
    seen |= {(3, vine): None for vine in range(11, 20, 2)}
    lines = [
        ["North block, August 2024, every second vine"],
        ["Row", *range(1, 20, 2)],
        *crossed(range(1, 5), range(1, 20, 2), seen, "ok"),
        ["rain from row 3 vine 11 on, row 4 next day"],
    ]
    return save(folder, "second.xlsx", {"North 2024": lines})


SECOND = Case(
    "every second vine",
    _every_second,
    "LS; the day; the name of the block",
    entries("North", "2024", (1, 5, "leaf_stripe"), (2, 1, "dead"), (2, 19, "no vine"), (4, 7, "leaf_stripe")),
    {("North", "2024"): (grid((1, 2, 4), range(1, 20, 2)) | grid((3,), range(1, 10, 2))) - {("2", "19")}},
    never="even vines as scouted; no vine in the even positions; vines 1 to 10 counted through",
)


def _half_empty(folder: Path) -> Path:
    seen = {(1, 4): "esca", (1, 5): "esca", (2, 28): "dead", (4, 1): "NV", (4, 17): "esca", (6, 30): "dead"}
    lines = [
        ["South block, 22 Aug 2024"],
        ["Row", *range(1, 31)],
        *crossed(range(1, 7), range(1, 31), seen),
        ["blank = fine"],
    ]
    lines[6][1] = "not walked - tractor"
    return save(folder, "south.xlsx", {"South": lines}, lambda book: merge(book["South"], "B7:AE7"))


HALF_EMPTY = Case(
    "sick vines only, in a grid",
    _half_empty,
    "whether blank is sound; that row 5 was not walked; esca",
    entries(
        "South",
        "2024-08-22",
        (1, 4, "leaf_stripe"),
        (1, 5, "leaf_stripe"),
        (2, 28, "dead"),
        (4, 1, "no vine"),
        (4, 17, "leaf_stripe"),
        (6, 30, "dead"),
    ),
    {("South", "2024-08-22"): grid((1, 2, 3, 4, 6), range(1, 31), {("4", "1")})},
    never="row 5 as scouted",
)


def _hidden(folder: Path) -> Path:
    def lines(seen: dict[tuple[int, int], tuple[str, ...]]) -> list[list[object]]:
        return [["Row", "Vine", "old", "Seen Feb 2024"], *listed((1, 2), range(1, 6), seen, ("DA", "ok"))]

    def dress(book: Workbook) -> None:
        book["draft"].sheet_state = "hidden"
        book["Creek"].column_dimensions["C"].hidden = True

    seen = {(1, 2): ("DA", "dead arm"), (2, 5): ("DA", "dead")}
    draft = {(1, 1): ("DA", "dead"), (1, 4): ("DA", "dead"), (2, 2): ("DA", "gone")}
    return save(folder, "creek.xlsx", {"Creek": lines(seen), "draft": lines(draft)}, dress)


HIDDEN = Case(
    "a hidden sheet and a hidden column",
    _hidden,
    "whether the hidden sheet 'draft' and the hidden column 'old' are meant: no",
    entries("Creek", "2024", (1, 2, "dead_arm"), (2, 5, "dead")),
    {("Creek", "2024"): grid((1, 2), range(1, 6))},
    never="a block draft; the hidden column; either of them without a word",
)


def _in_turn(folder: Path) -> Path:
    seen = {(1, 1): ("dead arm",), (2, 1): ("canker",), (3, 6): ("dead",), (4, 2): ("no vine",)}
    lines = [
        ["Creekside, 9 Feb 2024. Odd rows counted from the road, even rows from the creek."],
        ["Row", "Vine", "Seen"],
        *listed(range(1, 5), range(1, 7), seen, ("ok",)),
    ]
    return save(folder, "creekside.xlsx", {"Creekside": lines})


IN_TURN = Case(
    "rows numbered in turn",
    _in_turn,
    "which rows are counted from the far end: 2 and 4",
    entries("Creekside", "2024-02-09", (1, 1, "dead_arm"), (2, 1, "canker"), (3, 6, "dead"), (4, 2, "no vine")),
    {("Creekside", "2024-02-09"): grid(range(1, 5), range(1, 7), {("4", "2")})},
    ends={("Creekside", row): "end" if row in ("2", "4") else "start" for row in "1234"},
)


def _sums(folder: Path) -> Path:
    lines = [
        ["North August 2021"],
        ["Row", 1, 2, 3, 4],
        [1, 0, 1, 0, 0],
        [2, 0, 0, 1, 0],
        ["Dead", 0, 1, 1, 0],
    ]
    return save(folder, "ones.xlsx", {"North": lines})


SUMS = Case(
    "ones and noughts, sums below",
    _sums,
    "what 1 is: dead",
    entries("North", "2021", (1, 2, "dead"), (2, 3, "dead")),
    {("North", "2021"): grid((1, 2), range(1, 5))},
    never="the line of sums as a row, and its sums as dead vines",
)


def _hidden_column(folder: Path) -> Path:
    lines = [
        ["Row", "Vine", "Seen 1 Feb 2023", "Seen 5 Feb 2024"],
        [1, 1, "dead", "ok"],
        [1, 2, "ok", "ok"],
    ]

    def dress(book: Workbook) -> None:
        book["Creek"].column_dimensions["C"].hidden = True

    return save(folder, "hidden_column.xlsx", {"Creek": lines}, dress)


HIDDEN_COLUMN = Case(
    "a hidden column with a heading that is understood",
    _hidden_column,
    "whether the hidden column is meant: no",
    set(),
    {("Creek", "2024"): grid((1,), (1, 2))},
    never="the hidden column without a word",
)

GRIDS = [MAPS, TOTALS, SPANISH, SECOND, HALF_EMPTY, HIDDEN, IN_TURN, SUMS, HIDDEN_COLUMN]
