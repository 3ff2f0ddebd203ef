"""The words of the field page, in one table that a translator can extend.

Add a language: a code in `LANGUAGES` and a word in every line. A translation that nobody of the trade has read is
marked unchecked, and the page says so.
"""

from collections.abc import Mapping
from types import MappingProxyType

from trunkwatch.history.condition import Condition
from trunkwatch.maps.symbols import SYMBOLS
from trunkwatch.vineyard import codes

__all__ = ["LANGUAGES", "arm_words", "words_of"]

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
        "again": ("Same again", "Lo mismo otra vez"),
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
        "short.shoot_none": ("none", "no hay"),
        "short.shoot_trunk": ("from trunk", "del tronco"),
        "short.shoot_above_union": ("above graft", "sobre injerto"),
        "short.shoot_below_union": ("below graft", "bajo injerto"),
        "short.shoot_own_root": ("own root", "de raíz"),
        "short.quality_good": ("good", "bueno"),
        "short.quality_too_vigorous": ("vigorous", "vigoroso"),
        "short.quality_unripe": ("unripe", "sin agostar"),
        "short.quality_thin": ("thin", "delgado"),
        "photo": ("Photo number", "Número de foto"),
        "note": ("Note", "Nota"),
        "save": ("Save", "Guardar"),
        "leave": ("Leave open", "Dejar sin decir"),
        "missing": ("missing", "falta"),
        "young": ("young", "joven"),
        "post": ("post", "poste"),
        "next_mark": ("Next: {what} at {n}", "Sigue: {what} en {n}"),
        "last_known": ("Last known: {what}", "Último conocido: {what}"),
        "short.show_last": ("known so far", "lo sabido"),
        "show_last": ("Show what is known of this vine", "Mostrar lo que se sabe de esta cepa"),
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
        "winter_walk": ("Walk the winter's list", "Recorrer la lista de invierno"),
        "summer_walk": ("Walk the summer's list", "Recorrer la lista de verano"),
        "not_done": ("Not done…", "Sin hacer…"),
        "why_not": ("Why not?", "¿Por qué no?"),
        "hindered.no_shoot": ("not done: no shoot to retrain from", "sin hacer: no hay brote para renovar"),
        "hindered.gone": ("not done: the vine is gone", "sin hacer: la cepa ya no está"),
        "hindered.sound": ("not done: inspected closely, nothing seen", "sin hacer: mirada de cerca, nada visto"),
        "hindered.other": ("not done: another reason", "sin hacer: otro motivo"),
        "seen_there": ("Seen", "Visto"),
        "last_seen": ("last seen", "visto por última vez"),
        "before": ("Before", "Anterior"),
        "next": ("Next", "Siguiente"),
        "next_vine": ("Next vine", "Siguiente cepa"),
        "left_to_do": (
            "{n} left, {row} in this row. The time from vine to vine is saved with the work; pauses over 15 minutes are left out.",
            "Quedan {n}, {row} en esta fila. El tiempo de cepa a cepa se guarda con el trabajo; no cuentan pausas de más de 15 minutos.",
        ),
        "answered_elsewhere": ("Another window of this page has answered this vine.", "Otra ventana de esta página ya contestó esta cepa."),
        "all_done": ("Every vine of the list is answered.", "Toda la lista está contestada."),
        "face": ("Cut face: clean, or stained how far down", "Cara del corte: limpia, o mancha hasta dónde"),
        "face_clean": ("clean", "limpia"),
        "wound_protected": ("Wound protected", "Herida protegida"),
        "empty_percent": ("Share of this vine's wire that is empty, %", "Parte vacía del alambre de esta cepa, %"),
        "pattern": ("Pattern of the stain", "Forma de la mancha"),
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


def arm_words(arm: str) -> tuple[str, str]:
    """Return an arm in both languages, asked for by the row and never by left and right."""
    parts = [_ARM_PARTS[part] for part in arm.split("_")]
    return ", ".join(part[0] for part in parts), ", ".join(part[1] for part in parts)


def words_of() -> dict[str, dict[str, str]]:
    """Return all words by language: the page's own, and ``code.<code>``, ``arm.<arm>``, ``condition.<number>``."""
    listed = [
        *((code, code, meaning) for told in (codes.SYMPTOMS, codes.CAUSES, codes.WORK_KINDS) for code, meaning in told.items()),
        *((f"shoot_{code}", code, meaning) for code, meaning in codes.RENEWAL_SHOOTS.items()),
        *((f"quality_{code}", code, meaning) for code, meaning in codes.SHOOT_QUALITIES.items()),
        *((f"pattern_{code}", code, meaning) for code, meaning in codes.PATTERNS.items()),
    ]  # fmt: skip
    out: dict[str, dict[str, str]] = {language: {} for language in LANGUAGES}
    for key, (english, spanish) in _WORDS.items():
        out["en"][key], out["es"][key] = english, spanish
    for code, plain, meaning in listed:
        out["en"][f"code.{code}"] = meaning
        out["es"][f"code.{code}"] = "ninguno" if code == "shoot_none" else _SPANISH.get(plain, meaning)
    for condition, spanish in _CONDITIONS.items():
        out["en"][f"condition.{condition:d}"], out["es"][f"condition.{condition:d}"] = SYMBOLS[condition].word, spanish
    for arm in sorted({arm for arms in codes.ARMS.values() for arm in arms}):
        out["en"][f"arm.{arm}"], out["es"][f"arm.{arm}"] = arm_words(arm)
    return out
