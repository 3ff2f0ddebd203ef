"""The words of the field page, in one table that a translator can extend.

Add a language: a code in `LANGUAGES` and a word in every line. A translation that nobody of the trade has read is
marked unchecked, and the page says so.
"""

import re
from collections.abc import Mapping
from types import MappingProxyType

from trunkwatch.history.condition import Condition
from trunkwatch.maps.symbols import SYMBOLS
from trunkwatch.vineyard import codes

__all__ = ["LANGUAGES", "arm_on_a_key", "arm_words", "words_of"]

#: Language -> its own name, and whether someone of the trade has read it.
LANGUAGES: Mapping[str, tuple[str, bool]] = MappingProxyType({"en": ("English", True), "es": ("Español", False)})

_WORDS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "unchecked": ("", "Traducción sin revisar por gente del oficio."),
        "your_name": ("Your name", "Su nombre"),
        "road": ("How do you walk?", "¿Cómo camina?"),
        "findings_only": ("Write only what I see", "Anotar solo lo que veo"),
        "every_vine": ("Tap for every vine", "Tocar en cada cepa"),
        "start_row": ("Start this row", "Empezar esta fila"),
        "row": ("Row", "Fila"),
        "look.dormant": ("dormant inspection", "reposo invernal"),
        "look.spring": ("spring inspection", "primavera"),
        "look.summer": ("summer inspection", "verano"),
        "from_first": ("I stand at position {first}", "Estoy en la posición {first}"),
        "from_last": ("I stand at position {last}", "Estoy en la posición {last}"),
        "as_labelled": ("Numbers as labeled", "Números según la fila"),
        "from_me": ("I count from where I stand", "Cuento desde donde estoy"),
        "position": ("position", "posición"),
        "bay": ("bay", "vano"),
        "vine_in_bay": ("vine in the bay", "cepa en el vano"),
        "by_bay": ("by bay", "por vano"),
        "by_position": ("by position", "por posición"),
        "no_such": ("There is no position {n} in this row: {first} to {last}.", "No hay posición {n} en esta fila: {first} a {last}."),
        "type_position": ("Type the position, then what you see.", "Teclee la posición y luego lo que ve."),
        "saved": ("Saved", "Guardado"),
        "not_saved": ("NOT saved: {why}", "NO guardado: {why}"),
        "undo": ("Undo", "Deshacer"),
        "again": ("Again", "Otra vez"),
        "more": ("More…", "Más…"),
        "details": ("Details", "Detalles"),
        "back": ("Back", "Atrás"),
        "skip": ("Skip", "Saltar"),
        "nothing": ("Nothing seen", "Nada visto"),
        "stop_here": ("Not scouted from here on", "No mirado desde aquí"),
        "row_done": ("Row done", "Fila hecha"),
        "last_position": ("At which position do you stand now?", "¿En qué posición está ahora?"),
        "count_off": ("The row ends at {last}, you count {n}. Where did the count slip?", "La fila termina en {last}, usted cuenta {n}. ¿Dónde se perdió la cuenta?"),
        "slipped_before": ("Before {what}", "Antes de {what}"),
        "no_slip": ("After the last finding, or nowhere", "Después del último hallazgo, o en ninguna parte"),
        "only_so_far": ("I only scouted to {n}", "Solo caminé hasta {n}"),
        "count_again": ("Type it again", "Teclearlo otra vez"),
        "rows_walked": ("Rows scouted", "Filas caminadas"),
        "photo_take": ("Photo", "Foto"),
        "photo_saved": ("Photo kept on this phone", "Foto guardada en este teléfono"),
        "photo_no_room": (
            "No room on this phone for photos. The record is kept. Send the records, or make room.",
            "No queda sitio para fotos en este teléfono. El registro está guardado. Entregue los registros o haga sitio.",
        ),
        "photo_not_saved": ("The photo was NOT kept: {why}. The record is kept.", "La foto NO se guardó: {why}. El registro está guardado."),
        "photos_again": ("Send all photos again in a file", "Entregar otra vez todas las fotos en un archivo"),
        "photos_left": ("{n} more photos wait: send once more.", "Quedan {n} fotos: entregue otra vez."),
        "photos_refused": ("{n} photos were not taken by the office. The records were.", "La oficina no tomó {n} fotos. Los registros sí."),
        "hand_over": ("Send records", "Entregar los registros"),
        "handed_over": ("Sent: {n} records. They stay here too.", "Entregado: {n} registros. También quedan aquí."),
        "nothing_yet": ("Nothing saved yet.", "Nada anotado todavía."),
        "records": ("Records", "Registros"),
        "synced": ("The office has {n} records.", "La oficina tiene {n} registros."),
        "stands_otherwise": (
            "In the office {what} stands otherwise: {now}.", "En la oficina {what} consta de otro modo: {now}.",
        ),
        "taken_back_there": (
            "In the office {what} was taken back.", "En la oficina {what} fue anulado.",
        ),
        "sync": ("Send to the office", "Enviar a la oficina"),
        "code_needed": (
            "The office asks for its access code. Your records stay on this phone.",
            "La oficina pide su código de acceso. Sus registros quedan en este teléfono.",
        ),
        "newer_page": ("A newer page is ready: reload", "Hay una página más nueva: recargar"),
        "code": ("Access code", "Código de acceso"),
        "code_send": ("Enter and send", "Entrar y enviar"),
        "arm": ("Which arm?", "¿Qué brazo?"),
        "trunk": ("Trunk (from the row's start)", "Tronco (desde el inicio)"),
        "percent": ("Share dead, %", "Parte muerta, %"),
        "dead": ("Dead spur positions", "Pulgares muertos"),
        "total": ("of all spur positions", "de todos los pulgares"),
        "cut_height_cm": ("Cut above ground, cm", "Corte sobre el suelo, cm"),
        "stain_cm": ("Stain, cm", "Mancha, cm"),
        "cause": ("Suspected cause", "Causa sospechada"),
        "renewal_shoot": ("Shoot to retrain", "Brote para renovar"),
        "shoot_quality": ("Quality of the shoot", "Calidad del brote"),
        "photo": ("Photo number", "Número de foto"),
        "note": ("Note", "Nota"),
        "save": ("Save", "Guardar"),
        "leave": ("Leave open", "Dejar sin decir"),
        "missing": ("missing", "falta"),
        "young": ("young", "joven"),
        "post": ("post", "poste"),
        "next_mark": ("Next: {what} at {n}", "Sigue: {what} en {n}"),
        "last_known": ("Last known: {what}", "Último conocido: {what}"),
        "show_last": ("What is known?", "¿Qué se sabe?"),
        "use_place": ("Store where I stand", "Guardar dónde estoy"),
        "lacks": ("This page runs without: {what}. It works all the same.", "Esta página funciona sin: {what}. Funciona igual."),
        "no_storage": ("This page cannot store anything here: send before you close it.", "Esta página no puede guardar aquí: entregue antes de cerrar."),
        "offline_store": ("offline start", "inicio sin red"),
        "wake": ("screen kept awake", "pantalla encendida"),
        "share": ("share sheet", "menú compartir"),
        "persist": ("guarded storage", "almacenamiento protegido"),
        "place": ("your position", "su posición"),
        "vibration": ("vibration", "vibración"),
        "only_here": ("ONLY ON THIS SCREEN:", "SOLO EN ESTA PANTALLA:"),
        "small_store": ("This browser keeps records without a sure write to the disk: send often.", "Este navegador guarda sin escritura segura al disco: entregue a menudo."),
        "other_season": ("This phone says {day}: that is not season {season}. Is the date right, is this the right page?", "Este teléfono dice {day}: no es la temporada {season}. ¿Es correcta la fecha, es esta la página?"),
        "my_count": ("your {n}", "su {n}"),
        "no_such_bay": ("There is no bay {bay} with a vine {n} in this row.", "No hay vano {bay} con cepa {n} en esta fila."),
        "type_bay": ("Type the bay.", "Teclee el vano."),
        "type_vine": ("Type the vine in the bay, then what you see.", "Teclee la cepa en el vano y luego lo que ve."),
        "rub_out": ("Delete digit", "Borrar"),
        "no_condition": ("no season counted yet", "ninguna temporada contada todavía"),
        "leave_row": ("Leave this row: it was not scouted", "Dejar esta fila: no fue caminada"),
        "left_row": ("Left: nothing is said about this row", "Dejada: no se dice nada de esta fila"),
        "beyond": ("Beyond {n} you wrote findings at: {what}.", "Más allá de {n} anotó hallazgos en: {what}."),
        "finish_first": ("Finish or leave the row before you send.", "Termine o deje la fila antes de entregar."),
        "handed": ("(sent)", "(entregado)"),
        "elsewhere": ("Also on this phone, not sent: {what}, {n} records. Send", "También en este teléfono, sin entregar: {what}, {n} registros. Entregar"),
        "work_list": ("Work list", "Lista de trabajo"),
        "work_done": ("Done", "Hecho"),
        "empty_percent": ("Share of this vine's wire that is empty, %", "Parte vacía del alambre de esta cepa, %"),
        "pattern": ("Pattern of the stain", "Forma de la mancha"),
        # One tap each, beside the symptom: words short enough for a row of buttons.
        "share_dead": ("Dead", "Muerto"),
        "percent_dead": ("{n} % dead", "{n} % muerto"),
        "part": ("Part", "Parte"),
        "trunk_short": ("trunk", "tronco"),
        "whole_trunk": ("the trunk", "el tronco"),
        "trunk_n": ("trunk {n}", "tronco {n}"),
        "shoot": ("Shoot", "Brote"),
        "shoot_is": ("It is", "Está"),
        "from.none": ("none", "no hay"),
        "from.trunk": ("trunk", "tronco"),
        "from.above_union": ("above graft", "sobre injerto"),
        "from.below_union": ("below graft", "bajo injerto"),
        "from.own_root": ("own roots", "raíz propia"),
        "is.good": ("good", "bueno"),
        "is.too_vigorous": ("too vigorous", "muy vigoroso"),
        "is.unripe": ("unripe", "sin agostar"),
        "is.thin": ("thin", "delgado"),
        # The walk of the winter's list.
        "left_n": ("{n} of {all} left", "quedan {n} de {all}"),
        "row_left": ("row {label}: {n} left", "fila {label}: quedan {n}"),
        "row_pace": ("{n} vines timed, {minutes} min, {each} min each", "{n} cepas con tiempo, {minutes} min, {each} min cada una"),
        "pace_rule": (
            "Time is kept from vine to vine within a row; more than 10 minutes counts as a pause. It is sent with the records.",
            "Se toma el tiempo de cepa a cepa en la fila; más de 10 minutos cuenta como pausa. Se entrega con los registros.",
        ),
        "winter_work": ("Winter work", "Trabajo de invierno"),
        "all_work": ("Spring and summer too", "También primavera y verano"),
        "bay_vine": ("bay {bay}, vine {vine}", "vano {bay}, cepa {vine}"),
        "hands": ("People", "Gente"),
        "each_from_start": ("Each row from its start", "Cada fila desde su inicio"),
        "there_and_back": ("Up one row, down the next", "Ida por una, vuelta por otra"),
        "whole_list": ("Whole list", "Lista entera"),
        "go_on": ("Go on", "Seguir"),
        "all_decided": ("Nothing is left on the list.", "No queda nada en la lista."),
        "from_ends": ("number {n} from the start, {back} from the far end", "número {n} desde el inicio, {back} desde el final"),
        "planned_cut": ("planned cut at {n} cm", "corte previsto a {n} cm"),
        "seen": ("Seen:", "Visto:"),
        "why": ("Why:", "Por qué:"),
        "planted": ("Planted", "Plantada"),
        "inspected_it": ("Inspected", "Mirada"),
        "not_done": ("Not done", "No hecho"),
        "not_done_because": ("Not done because…", "No hecho porque…"),
        "why.no_shoot": ("No shoot to retrain", "No hay brote para renovar"),
        "why.already_cut": ("Already cut", "Ya estaba cortado"),
        "why.vine_gone": ("The vine is gone", "La cepa ya no está"),
        "why.looks_sound": ("Looks sound", "Parece sana"),
        "why.other": ("Other reason", "Otra razón"),
        "already_cut_note": ("found already cut", "encontrado ya cortado"),
        "vine_gone_note": ("found gone", "encontrada sin cepa"),
        "decided_already": (
            "NOT saved: another window of this page has decided on {what}.", "NO guardado: otra ventana de esta página ya decidió sobre {what}.",
        ),
        "jump": ("Go to a row", "Ir a una fila"),
        "previous": ("Previous", "Anterior"),
        "next": ("Next", "Siguiente"),
        "what_i_see": ("What I see", "Lo que veo"),
        "say_more": ("Say more", "Decir más"),
        "cut_face": ("Face of the cut", "Cara del corte"),
        "face_clean": ("Clean", "Limpia"),
        "face_stained": ("Stained", "Manchada"),
        "stain_down": ("Stain goes down", "Mancha baja"),
        "wound": ("Wound", "Herida"),
        "wound_yes": ("Protected", "Protegida"),
        "wound_no": ("Not protected", "Sin proteger"),
        "inspected_ask": (
            "Did you inspect this part closely, and nothing is to be seen? Only then is it written as a finding.",
            "¿Miró esta parte de cerca y no se ve nada? Solo entonces se anota como hallazgo.",
        ),
        "inspected_yes": ("Inspected closely, nothing seen", "Mirada de cerca, nada"),
        "tap_what": ("Tap what you see.", "Toque lo que ve."),
        "say_of": ("{what}: say more, or tap another symptom.", "{what}: diga más, o toque otro síntoma."),
        # Before a row.
        "settings": ("Settings", "Ajustes"),
        "my_rows": ("Rows I scout", "Mis filas"),
        "of_rows": ("{n} of {all} done", "{n} de {all} hechas"),
        "my_rows_why": (
            "Several people may scout a block in one day: each names the own rows. Only rows that somebody finishes are written as scouted.",
            "Varias personas pueden mirar un bloque en un día: cada una nombra sus filas. Solo se anota como mirada la fila que alguien termina.",
        ),
        "rows_named": ("{n} rows: {what}", "{n} filas: {what}"),
        "no_such_rows": (
            "{text} names no rows. The rows are {first} to {last}: write 1..16, 1..16/2 for every second, or 3; 7; 12.",
            "{text} no nombra filas. Las filas van de {first} a {last}: escriba 1..16, 1..16/2 para una de cada dos, o 3; 7; 12.",
        ),
        "row_from": ("from row", "desde la fila"),
        "row_to": ("to row", "hasta la fila"),
        "every_1": ("Every row", "Todas"),
        "every_2": ("Every second", "Una de dos"),
        "every_3": ("Every third", "Una de tres"),
        "rows_typed": ("Or type the rows: 1..16/2", "O teclee las filas: 1..16/2"),
        "whole_block": ("Whole block", "Bloque entero"),
        # A blind recheck.
        "recheck": ("Blind recheck", "Segunda mirada"),
        "recheck_how": (
            "Inspect each vine as if nobody had before. Do not ask what was seen, and do not choose other vines. Only vines that you answer are written as scouted.",
            "Mire cada cepa como si nadie lo hubiera hecho antes. No pregunte qué se vio ni elija otras cepas. Solo se anotan como miradas las cepas que responde.",
        ),
        "recheck_name": ("Type your name first: two people are compared.", "Teclee antes su nombre: se comparan dos personas."),
        "recheck_other": (
            "{name} made the first inspection: a recheck needs another person.", "{name} hizo la primera mirada: la segunda es de otra persona.",
        ),
        "recheck_new": ("Begin the new list: {n} vines", "Empezar la lista nueva: {n} cepas"),
        "recheck_done": ("Every vine of the list is answered. Send the records.", "Todas las cepas de la lista tienen respuesta. Entregue los registros."),
        "recheck_fresh": ("What do you see? Tap nothing seen, or what you see.", "¿Qué ve? Toque nada visto, o lo que ve."),
        "not_scouted": ("Could not be scouted", "No se pudo mirar"),
        # Where the phone says that one stands.
        "where_am_i": ("Where am I?", "¿Dónde estoy?"),
        "place_waits": ("Waiting for the phone's position…", "Esperando la posición del teléfono…"),
        "place_refused": ("The phone gives no position. Read the label of the row.", "El teléfono no da la posición. Lea la etiqueta de la fila."),
        "place_row": ("Within {n} m: row {row}", "A {n} m o menos: fila {row}"),
        "place_rows": ("Within {n} m: rows {first} to {last}", "A {n} m o menos: filas {first} a {last}"),
        "place_too_wide": (
            "The phone knows its place to {n} m only. Rows are {spacing} m apart: over {most} m it cannot tell them apart. Read the label of the row.",
            "El teléfono sabe su lugar solo a {n} m. Las filas están a {spacing} m: con más de {most} m no las distingue. Lea la etiqueta de la fila.",
        ),
        "place_away": (
            "The phone is {n} m from the nearest vine of this block, give or take {within} m.",
            "El teléfono está a {n} m de la cepa más cercana de este bloque, con {within} m de margen.",
        ),
        "place_take_row": ("Read the label, then tap the row you stand at.", "Lea la etiqueta y toque la fila en la que está."),
        "place_take_position": ("Count, then tap your position in row {row}.", "Cuente y toque su posición en la fila {row}."),
        "place_other_row": ("You scout row {row}. Is that the right row?", "Usted camina la fila {row}. ¿Es la fila correcta?"),
        "place_rule": (
            "A proposal: nothing is set until you tap it. For it the phone is asked only while this screen is open.",
            "Una propuesta: nada se fija hasta que lo toca. Para ella solo se pregunta al teléfono mientras esta pantalla está abierta.",
        ),
        # Cut buds, and rows pruned.
        "bud_counts": ("Bud counts", "Conteo de yemas"),
        "buds_dead": ("{n} of {all} dead", "{n} de {all} muertas"),
        "buds_how": (
            "About {n} buds, {each} from a cane, of canes you would keep. Keep the canes a day or two in a warm room before you cut. Razors cut fingers too.",
            "Unas {n} yemas, {each} por sarmiento, de sarmientos que dejaría. Téngalos uno o dos días en un cuarto caliente antes de cortar. La cuchilla también corta dedos.",
        ),
        "cultivar": ("Cultivar", "Variedad"),
        "part_of_block": ("Part of the block", "Parte del bloque"),
        "other_part": ("Another part", "Otra parte"),
        "canes_from": ("Canes from", "Sarmientos de"),
        "collected": ("Canes collected", "Recogidos"),
        "collected.0": ("today", "hoy"),
        "collected.1": ("yesterday", "ayer"),
        "collected.2": ("2 days ago", "hace 2 días"),
        "collected.3": ("3 days ago", "hace 3 días"),
        "buds_a_cane": ("Buds a cane", "Yemas por sarmiento"),
        "start_count": ("Start a count", "Empezar un conteo"),
        "cane_n": ("Cane {n}", "Sarmiento {n}"),
        "canes_cut": ("canes: {n}", "sarmientos: {n}"),
        "bud_n": ("Bud {n}", "Yema {n}"),
        "next_cane": ("Next cane", "Siguiente"),
        "bud.primary": ("Primary", "Primaria"),
        "bud.secondary": ("Secondary", "Secundaria"),
        "bud.tertiary": ("Tertiary", "Terciaria"),
        "bud.dead": ("dead", "muerta"),
        "bud.alive": ("alive", "viva"),
        "others_dead": ("{kind}: {dead} dead, {alive} alive", "{kind}: {dead} muertas, {alive} vivas"),
        "rows_pruned": ("Rows pruned", "Filas podadas"),
        "pruned_how": (
            "Tap a row when all of it is pruned; the same tap takes it back. Say first how many people worked on it, and how long.",
            "Toque una fila cuando esté podada entera; el mismo toque lo anula. Diga antes cuánta gente trabajó en ella y cuánto tiempo.",
        ),
        "pruned_before": ("pruned before", "ya podada"),
        "final_cut": ("Final cut", "Corte final"),
        "first_cut": ("Long first cut", "Primer corte largo"),
        "hours_each": ("Hours each", "Horas cada uno"),
        "safety": (
            "Symptoms are not a diagnosis. Mind wires, posts, ice and machines; put the phone away while you cut.",
            "Los síntomas no son un diagnóstico. Cuidado con alambres, postes, hielo y máquinas; guarde el teléfono al cortar.",
        ),
    }
)  # fmt: skip

_SPANISH: Mapping[str, str] = MappingProxyType(
    {
        "dead_spurs": "pulgares muertos", "dead_arm": "brazo muerto", "dead_trunk": "tronco muerto", "canker": "chancro",
        "leaf_stripe": "hojas atigradas", "berry_spots": "bayas manchadas", "stunted_shoots": "brotes raquíticos",
        "crowded_shoots": "muchos brotes de un punto", "collapse": "colapso súbito", "dead": "cepa muerta",
        "wood_staining": "madera manchada en un corte", "crown_gall": "agalla", "trunk_split": "tronco rajado",
        "bud_kill": "yemas muertas", "frost_shoots": "brotes quemados por helada", "mechanical_injury": "herida de máquina",
        "wire_girdled": "estrangulada por alambre", "chewed_bark": "corteza roída", "herbicide_injury": "daño de herbicida",
        "water_stress": "sequía o encharcamiento", "virus_suspected": "posible virus", "other": "otro, ver nota",
        "mummies": "racimos secos en la cepa", "old_wood_left": "madera vieja sin retirar", "none": "mirada de cerca, nada",
        "not_seen": "no se pudo mirar", "trunk_disease": "enfermedad de madera", "winter_injury": "daño de invierno",
        "both": "ambas", "unknown": "no se sabe", "trunk": "del tronco", "above_union": "encima del injerto",
        "below_union": "debajo del injerto: portainjerto", "own_root": "de raíz propia",
        "good": "bueno (grueso como un lápiz, pardo)", "too_vigorous": "demasiado vigoroso", "unripe": "sin agostar (pálido)", "thin": "delgado",
        "wedge": "cuña", "central": "central", "spots": "puntos", "diffuse": "difusa",
        "mark": "marcar la cepa", "keep_shoot": "dejar este brote al desbrotar", "renew_arm": "renovar el brazo",
        "renew_trunk": "renovar el tronco", "cut_old_trunk": "cortar el tronco viejo", "train": "formar el brazo o tronco nuevo",
        "train_first": "formar primero un brote, cortar lo viejo el próximo invierno",
        "replant": "replantar", "remove": "arrancar la cepa", "regraft": "reinjertar", "curettage": "limpiar la madera podrida",
        "protect_wound": "proteger la herida", "lab_sample": "enviar muestra al laboratorio",
        "clear_mummies": "retirar racimos secos y madera vieja", "watch": "vigilar",
    }
)  # fmt: skip
_CONDITIONS: Mapping[Condition, str] = MappingProxyType(
    {
        Condition.MISSING: "falta", Condition.DEAD: "muerta", Condition.NOT_SEEN: "no mirada", Condition.YOUNG: "joven",
        Condition.SHOWING: "con síntomas", Condition.RENEWED: "renovada", Condition.HIDDEN: "con síntomas antes, ahora no",
        Condition.SOUND: "sana a la vista",
    }
)  # fmt: skip
_ARM_PARTS = {
    "start": ("toward row start", "hacia el inicio"), "end": ("toward row end", "hacia el final"), "head": ("head", "cabeza"),
    "upper": ("upper wire", "alambre alto"), "lower": ("lower wire", "alambre bajo"),
    "near": ("near curtain", "cortina cercana"), "far": ("far curtain", "cortina lejana"),
}  # fmt: skip


#: The same on a key: what stands before the side, and the side.
_ON_A_KEY = {
    "start": ("to row start", "al inicio"), "end": ("to row end", "al final"), "head": ("head", "cabeza"), "upper": ("upper", "alto"),
    "lower": ("lower", "bajo"), "near": ("near", "cercano"), "far": ("far", "lejano"),
}  # fmt: skip


def arm_on_a_key(arm: str) -> tuple[str, str]:
    """Return an arm in both languages in words that fit on a key, by the row."""
    parts = [_ON_A_KEY[part] for part in arm.split("_")]
    return " ".join(part[0] for part in parts), " ".join(part[1] for part in parts)


def arm_words(arm: str) -> tuple[str, str]:
    """Return an arm in both languages, asked for by the row and never by left and right."""
    parts = [_ARM_PARTS[part] for part in arm.split("_")]
    return ", ".join(part[0] for part in parts), ", ".join(part[1] for part in parts)


def _short(meaning: str) -> str:
    """Return the words of a symptom as they stand on a button: without what explains them; that nothing was seen is the word itself."""
    if (nothing := re.search(r", (nothing seen|nada)$", meaning)) is not None:
        return nothing[1]
    return re.split(r" \(|[:,;]| of an | at a | y | por | en | on the | by ", meaning)[0]


def words_of() -> dict[str, dict[str, str]]:
    """Return all words by language: the page's own, and ``code.<code>``, ``arm.<arm>``, ``condition.<number>``."""
    listed = [
        *(
            (code, code, meaning)
            for told in (codes.SYMPTOMS, codes.CAUSES, codes.WORK_KINDS)
            for code, meaning in told.items()
        ),
        *((f"shoot_{code}", code, meaning) for code, meaning in codes.RENEWAL_SHOOTS.items()),
        *((f"quality_{code}", code, meaning) for code, meaning in codes.SHOOT_QUALITIES.items()),
        *((f"pattern_{code}", code, meaning) for code, meaning in codes.PATTERNS.items()),
    ]
    out: dict[str, dict[str, str]] = {language: {} for language in LANGUAGES}
    for key, (english, spanish) in _WORDS.items():
        out["en"][key], out["es"][key] = english, spanish
    for code, plain, meaning in listed:
        out["en"][f"code.{code}"] = meaning
        out["es"][f"code.{code}"] = "ninguno" if code == "shoot_none" else _SPANISH.get(plain, meaning)
    for code in codes.SYMPTOMS:
        for words in out.values():
            words[f"short.{code}"] = _short(words[f"code.{code}"])
    for condition, spanish in _CONDITIONS.items():
        out["en"][f"condition.{condition:d}"], out["es"][f"condition.{condition:d}"] = SYMBOLS[condition].word, spanish
    for arm in sorted({arm for arms in codes.ARMS.values() for arm in arms}):
        out["en"][f"arm.{arm}"], out["es"][f"arm.{arm}"] = arm_words(arm)
        out["en"][f"key.{arm}"], out["es"][f"key.{arm}"] = arm_on_a_key(arm)
    return out
