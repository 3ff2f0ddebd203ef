"""Long lists in other languages, as growers keep them."""

from pathlib import Path

from calibration.other_books import Case, entries, grid, listed, save


def _french(folder: Path) -> Path:
    block = "Les Terrasses"
    seen = {
        (1, 2): ("esca", "RAS", None),
        (1, 3): ("esca", "mort", None),
        (1, 4): ("manquant", "manquant", None),
        (1, 5): ("RAS", "BDA", "côté chemin"),
        (1, 6): ("bras mort", "bras mort", None),
        (1, 7): ("rep. 2021", "RAS", None),
        (1, 8): ("RAS", "apoplexie", "en août"),
        (2, 1): ("RAS", "esca", None),
        (2, 2): ("-", "-", "- = pas vu"),
        (2, 3): ("mort", "arraché", None),
        (2, 4): ("RAS", "recépé", None),
        (2, 5): ("arraché", "complanté", None),
        (2, 6): ("?", "RAS", None),
        (2, 8): ("esca?", "esca", None),
    }
    lines = [
        ["Domaine de la Combe Grise"],
        ["3 chemin des Ajoncs, 00000 Vallongue"],
        [],
        ["Parcelle", "Rang", "Cep", 2022, 2023, "Remarques"],
        *([block, *line] for line in listed((1, 2), range(1, 9), seen, ("RAS", "RAS", None))),
    ]
    return save(folder, "registre.xlsx", {"Feuil1": lines})


FRENCH = Case(
    "French, a column a year",
    _french,
    "esca, BDA, RAS, recépé, -, ? and 'esca?'; the days of the years",
    entries(
        "Les Terrasses",
        "2022",
        (1, 2, "leaf_stripe"),
        (1, 3, "leaf_stripe"),
        (1, 4, "no vine"),
        (1, 6, "dead_arm"),
        (1, 7, "replanted 2021"),
        (2, 3, "dead"),
        (2, 5, "no vine"),
        (2, 8, "leaf_stripe"),
    )
    | entries(
        "Les Terrasses",
        "2023",
        (1, 3, "dead"),
        (1, 4, "no vine"),
        (1, 5, "leaf_stripe"),
        (1, 6, "dead_arm"),
        (1, 8, "collapse"),
        (2, 1, "leaf_stripe"),
        (2, 3, "no vine"),
        (2, 4, "work renew_trunk"),
        (2, 5, "replanted 2023"),
        (2, 8, "leaf_stripe"),
    ),
    {
        ("Les Terrasses", "2022"): grid((1, 2), range(1, 9), {("1", "4"), ("2", "2"), ("2", "5"), ("2", "6")}),
        ("Les Terrasses", "2023"): grid((1, 2), range(1, 9), {("1", "4"), ("2", "2"), ("2", "3")}),
    },
    {("Les Terrasses", "2022"): {("1", "7")}, ("Les Terrasses", "2023"): {("2", "4"), ("2", "5")}},
)


def _italian(folder: Path) -> Path:
    first, second = ("03.06.2023", "3/6/23", "03.06.2023", "3/6/23", "03.06.2023", "3/6/2023"), "12 giugno 2023"
    seen = {
        (1, 2): ("tigratura", None),
        (1, 4): ("apoplessia", "secca in tre giorni"),
        (1, 6): ("mancante", None),
        (2, 1): ("morta", None),
        (2, 3): ("cordone secco sx", None),
        (2, 4): ("cordone secco dx", None),
    }
    lines = [["Vigneto", "Filare", "Vite", "Data", "Stato", "Note"]]
    for row, vine, state, note in listed((1, 2), range(1, 7), seen, ("sana", None)):
        lines.append(["Costa Alta", row, vine, first[vine - 1] if row == 1 else second, state, note])
    return save(folder, "rilievo.xlsx", {"Foglio1": lines})


ITALIAN = Case(
    "Italian, dates as text",
    _italian,
    "is 3/6/23 in June or in March; which arm is sx",
    entries("Costa Alta", "2023-06-03", (1, 2, "leaf_stripe"), (1, 4, "collapse"), (1, 6, "no vine"))
    | entries("Costa Alta", "2023-06-12", (2, 1, "dead"), (2, 3, "dead_arm@start"), (2, 4, "dead_arm@end")),
    {
        ("Costa Alta", "2023-06-03"): grid((1,), range(1, 6)),
        ("Costa Alta", "2023-06-12"): grid((2,), range(1, 7)),
    },
)


def _german(folder: Path) -> Path:
    seen = {
        (1, 2): ("Esca", "ok", None),
        (1, 3): ("Esca", "Arm tot", None),
        (1, 4): ("fehlt", "fehlt", "- = nicht angeschaut"),
        (1, 5): ("neu 2022", "ok", None),
        (1, 7): ("ok", "-", None),
        (1, 8): ("tot", "tot", None),
        (2, 3): ("ok", "Arm tot", "oben am Draht"),
        (2, 6): ("Esca", "Arm tot links", None),
        (3, 1): ("tot", "gerodet", None),
        (3, 5): ("k.A.", "ok", None),
    }
    lines = [
        ["Zeile", "Stock", "Juli 2023", "Jan 2024", "Bemerkung"],
        *listed(range(1, 4), range(1, 9), seen, ("ok", "ok", None)),
        ["Summe", None, "5 krank", "4 krank", None],
        ["Anteil", None, 0.21, 0.17, None],
    ]
    return save(folder, "Liste.xlsx", {"Steinacker": lines})


GERMAN = Case(
    "German, sums under the list",
    _german,
    "-, k.A.; which arm is links",
    entries(
        "Steinacker",
        "2023",
        (1, 2, "leaf_stripe"),
        (1, 3, "leaf_stripe"),
        (1, 4, "no vine"),
        (1, 5, "replanted 2022"),
        (1, 8, "dead"),
        (2, 6, "leaf_stripe"),
        (3, 1, "dead"),
    )
    | entries(
        "Steinacker",
        "2024",
        (1, 3, "dead_arm"),
        (1, 4, "no vine"),
        (1, 8, "dead"),
        (2, 3, "dead_arm"),
        (2, 6, "dead_arm@start"),
        (3, 1, "no vine"),
    ),
    {
        ("Steinacker", "2023"): grid(range(1, 4), range(1, 9), {("1", "4"), ("3", "5")}),
        ("Steinacker", "2024"): grid(range(1, 4), range(1, 9), {("1", "4"), ("1", "7"), ("3", "1")}),
    },
    {("Steinacker", "2023"): {("1", "5")}},
    never="a row Summe or Anteil, 5 krank as a word of a vine",
)


def _portuguese(folder: Path) -> Path:
    seen = {
        (1, 1): ("esca", "esca"),
        (1, 3): ("morta", "falha"),
        (1, 5): ("falha", "falha"),
        (1, 8): ("retancha 2021", "sã"),
        (2, 2): ("sã", "braço seco esq"),
        (2, 4): ("tronco seco", "tronco seco"),
        (2, 7): ("sã", "esca"),
    }
    lines = listed((1, 2), range(1, 9), seen, ("sã", "sã"))
    for line in lines:
        line[0] = line[0] if line[1] == 1 else None
    return save(folder, "vinha.xlsx", {"Encosta do Moinho": [["Fila", "Videira", "Verão 2022", "Verão 2023"], *lines]})


PORTUGUESE = Case(
    "Portuguese, the row named once",
    _portuguese,
    "esca; which arm is esq",
    entries(
        "Encosta do Moinho",
        "2022",
        (1, 1, "leaf_stripe"),
        (1, 3, "dead"),
        (1, 5, "no vine"),
        (1, 8, "replanted 2021"),
        (2, 4, "dead_trunk"),
    )
    | entries(
        "Encosta do Moinho",
        "2023",
        (1, 1, "leaf_stripe"),
        (1, 3, "no vine"),
        (1, 5, "no vine"),
        (2, 2, "dead_arm@start"),
        (2, 4, "dead_trunk"),
        (2, 7, "leaf_stripe"),
    ),
    {
        ("Encosta do Moinho", "2022"): grid((1, 2), range(1, 9), {("1", "5")}),
        ("Encosta do Moinho", "2023"): grid((1, 2), range(1, 9), {("1", "3"), ("1", "5")}),
    },
    {("Encosta do Moinho", "2022"): {("1", "8")}},
)

LANGUAGES = [FRENCH, ITALIAN, GERMAN, PORTUGUESE]
