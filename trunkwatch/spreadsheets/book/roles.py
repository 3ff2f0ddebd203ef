"""What the heading of a column says that the column is, in six languages."""

import re
from functools import lru_cache

from trunkwatch.spreadsheets.book.guess import names_something, plain
from trunkwatch.spreadsheets.book.trade_words import SIDES, words_in

__all__ = ["GENERIC_SHEET", "block_named", "part_of", "role_of", "row_label", "row_named", "vine_named"]

_ROLES = {
    "row": """row rows row_no rowno row_nr row_number row# fila filas hilera hileras surco linea liño lino rang range rangee rangs rg ligne filare filari fila fil reihe
        reihen rh reihennr reihennummer reihe_nr zeile linha linhas fileira bardo nro_fila no_fila num_fila numero_de_fila numero_fila no_rang numero_rang n_fila n_rang n_rangee n_filare
        numero_filare nr_reihe no_linha n_linha numero_da_linha""",
    "position": """vine vines vine_no vineno vine_nr vine_number vine# position pos plant plants plant_no plantno plant_nr plant_number plant# no_of_vine vine_in_row place_in_row
        cepa cepas planta plantas pie vid posicion n_cepa no_cepa num_cepa numero_cepa numero_de_cepa n_planta no_planta num_planta numero_planta numero_de_planta nro_planta nro_cepa pied cep souche
        n_pied no_pied num_pied numero_pied numero_de_pied n_cep no_cep numero_cep n_souche numero_souche ceppo vite pianta n_ceppo n_vite n_pianta numero_pianta numero_vite numero_ceppo posizione posto rebe rebstock
        stock stocknr stocknummer rebennr rebe_nr rebstocknr pflanze pflanzennr stock_nr nr_rebe nr_stock videira pe posicao n_videira n_pe no_videira numero_da_videira n_planta tree""",
    "block": """block blocks parcel plot block_name bloque parcela cuadro cuartel parcelle bloc ilot blocco parcella appezzamento vigneto parzelle schlag quartier anlage weinberg bloco
        talhao field paddock""",
    "date": """date day dates survey_date date_of_survey date_seen seen_on looked_at_on fecha dia jour date_de_visite data giorno datum tag year ano anno annee jahr season temporada saison
        campagna campana safra stagione stagionalita when month""",
    "note": """note notes comment comments remark remarks nota notas observaciones observacion comentario comentarios remarque remarques commentaire commentaires osservazioni osservazione commento commenti
        bemerkung bemerkungen anmerkung anmerkungen notiz notizen observacoes observacao obs observations observation""",
    "observer": "observer scout scouted_by by who name observador observateur rilevatore operatore beobachter bonitierer kontrolleur avaliador scouter",
    "arm": "arm side cordon brazo lado bras cote braccio lato cordone seite schenkel kordon braco cordao",
    "trunk": "trunk trunk_no tronco tronc stamm trunk_number",
    "cultivar": "variety cultivar variedad cepage varieta vitigno sorte rebsorte casta variedade",
    "finding": """status condition state symptom symptoms finding findings health disease problem diagnosis result score rating estado sintoma sintomas hallazgo sanidad enfermedad etat symptome symptomes
        constat maladie etat_sanitaire stato sintomo sintomi malattia condizione zustand befund bonitur krankheit symptom_code gesundheit doenca condicao code codigo what what_seen seen looks_like vine_status
        plant_status vine_condition estado_sanitario situacao stato_sanitario class klasse note_sanitaire severity severidad severite severita gravita gravite schweregrad notation""",
    "place": "vine_id vineid plant_id plantid location row_vine row_and_vine place row_position id_planta id_cepa ubicacion emplacement standort localizacao posto_id id",
    "left out": """gps lat latitude lon long longitude lng photo picture foto spacing rootstock portainjerto porte_greffe portainnesto unterlage clone clon planted planting_year bay panel""",
}  # fmt: skip
_BY_WORD = {word: role for role, words in _ROLES.items() for word in words.split()}
_ROW_WORDS = r"row|fila|hilera|surco|rang|rangee|ligne|filare|reihe|zeile|linha|fileira|bardo"
_VINE_WORDS = r"vine|plant|cepa|planta|pied|cep|souche|ceppo|vite|pianta|rebe|stock|videira|pos|position|pe"
_ROW = re.compile(rf"(?:{_ROW_WORDS})s?\s*(?:no|nr|n|#)?[\s.:#°º_-]*([0-9]{{1,4}}\s*[a-z]?|[a-z])")
_BLOCK = re.compile(
    r"\b(?:block|bloque|parcela|cuartel|cuadro|parcelle|bloc|blocco|parcella|appezzamento|vigneto|parzelle|anlage|bloco|talhao)\b\s*[:=#-]?\s*(.+)"
)
#: Names that programs and people give to sheets that tell nothing.
GENERIC_SHEET = re.compile(
    r"(?:sheet|tabelle|hoja|feuil|feuille|foglio|planilha|folha|sheet_)\s*\d*|data|datos|donnees|dati|daten|dados|book\d*|scouting|survey|notes?|vines|list|map|export|workbook|findings"
)


#: Words for parts of a vine.
_PARTS = words_in("""arm arms cordon trunk trunks head spur brazo tronco bras tronc braccio stamm schenkel kordon braco cordone leaf leaves hojas feuilles foglie blatter
    folhas""")  # fmt: skip


@lru_cache(maxsize=4_096)
def _key(heading: str) -> str:
    text = re.sub(
        r"[\[(].*?[\])]",
        " ",
        plain(heading).replace("n°", "n ").replace("nº", "n ").replace("№", "no ").replace("°", " ").replace("º", " "),
    )
    text = re.sub(r"(?<=\w)#|#(?=\w)|#", " # ", text)
    key = re.sub(r"[^\w#]+", "_", text).strip("_")
    return key.replace("_#", "#").replace("#_", "")


@lru_cache(maxsize=4_096)
def role_of(heading: str) -> str:
    """Return what a column is by its heading, "" where the heading does not tell."""
    key = _key(heading)
    if not key:
        return ""
    if key in _BY_WORD:
        return _BY_WORD[key]
    shorter = re.sub(
        r"^(?:n|no|nr|num|nro|numero|number)(?:_(?:de|di|da|du|of))?_|_(?:n|no|nr|num|number|numero|#)$|#$", "", key
    )
    if shorter in _BY_WORD and _BY_WORD[shorter] in ("row", "position", "block", "trunk"):
        return _BY_WORD[shorter]
    if _BY_WORD.get(re.sub(r"_?\d$", "", key)) == "finding":
        return "finding"
    return "finding" if names_something(heading) else ""


def part_of(heading: str) -> bool:
    """Tell whether a heading names a part of a vine or a side, as the lower of two header lines does."""
    words = set(re.findall(r"\w+", plain(heading)))
    return bool(words) and (bool(words & _PARTS) or words <= set(SIDES))


@lru_cache(maxsize=4_096)
def row_named(text: str) -> str:
    """Return the label of the row that a text names as a whole ("Row 5", "Fila 7A", "Rang n° 3"), "" where it names none."""
    bare = plain(text).replace("n°", "no ").replace("nº", "no ")
    found = _ROW.fullmatch(bare.strip(" :"))
    return found[1].replace(" ", "").upper() if found else ""


@lru_cache(maxsize=4_096)
def row_label(text: str) -> str:
    """Return a row label without the word for row and without spaces around."""
    bare = " ".join(text.split())
    return row_named(bare) or re.sub(r"^(\d+) ([A-Za-z])$", r"\1\2", bare)


def vine_named(text: str) -> str:
    """Return the number of the vine that a text names ("Vine 3", "P12", "cepa n° 4"), "" where it names none."""
    bare = plain(text).replace("n°", "no ").replace("nº", "no ").strip()
    found = re.fullmatch(rf"(?:(?:{_VINE_WORDS})s?|[vp])\s*(?:no|nr|n|#)?[\s.:#-]*(\d{{1,6}})", bare) or re.fullmatch(
        r"(?:#|no|nr|n)[\s.]*(\d{1,6})", bare
    )
    return found[1] if found else ""


def block_named(text: str) -> str:
    """Return the block that a title or a section line names after the word for block, "" where it names none."""
    bare = " ".join(text.split())
    folded = plain(bare)
    found = _BLOCK.search(folded)
    if not found or len(folded) != len(bare):
        return ""
    label = re.split(r"\s*[,;|(]|\s+[-–]\s+|\s{2,}", bare[found.start(1) : found.end(1)])[0].strip(" .:-")
    return label if label and len(label) <= 40 else ""
