"""The words of the lists for the crew, in one table that a translator can extend; languages are those of the phone page."""

from collections.abc import Mapping
from types import MappingProxyType

from trunkwatch.answer.part_names import arm_name, arm_pieces
from trunkwatch.block.vine_now import VineNow
from trunkwatch.history.words import damage_words, end_words, short_symptom
from trunkwatch.history.written import Finding
from trunkwatch.sheets.field_words import LANGUAGES, words_of
from trunkwatch.vineyard import codes

__all__ = ["part_in", "says_in", "seen_in", "shoot_in", "words_in"]

_WORDS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        # Names of the lists, and when each is walked (common practice, no source).
        "list.Cut": ("Cut", "Cortar"),
        "list.Replant": ("Replant", "Replantar"),
        "list.Train first": ("Train first", "Formar primero"),
        "list.Finish training": ("Finish training", "Terminar la formación"),
        "list.Look again": ("Look again", "Mirar otra vez"),
        "list.Clean up": ("Clean up", "Limpiar"),
        "list.Leave this shoot": ("Leave this shoot", "Dejar este brote"),
        "list.Mark": ("Mark", "Marcar"),
        "when.Cut": ("in winter, dry weather ahead", "en invierno, con tiempo seco por delante"),
        "when.Replant": ("when the ground allows", "cuando el suelo lo permita"),
        "when.Train first": ("from suckering on; the old part is cut next winter", "desde el desbrote; lo viejo se corta el próximo invierno"),
        "when.Finish training": ("in the next two years", "en los próximos dos años"),
        "when.Look again": ("before anything is cut", "antes de cortar nada"),
        "when.Clean up": ("in winter, with the cutting or after it", "en invierno, con la poda o después"),
        "when.Leave this shoot": ("at suckering: these shoots are the next trunks", "al desbrotar: estos brotes son los próximos troncos"),
        "when.Mark": ("in summer, while symptoms show", "en verano, mientras se ven los síntomas"),
        "wood_of": ("The wood cut this winter is to go out of the block too: {where}.", "También debe salir de la parcela la madera cortada este invierno: {where}."),
        "not_a_diagnosis": ("Symptoms are not a diagnosis.", "Los síntomas no son un diagnóstico."),
        "unchecked": ("", "Traducción sin revisar por gente del oficio."),
        "title": ("Lists for the crew", "Listas para la cuadrilla"),
        "block": ("block", "parcela"),
        "season": ("season", "temporada"),
        "vines": ("{n} vines", "{n} cepas"),
        "vine_alone": ("1 vine", "1 cepa"),
        "date": ("date", "fecha"),
        "crew": ("crew", "cuadrilla"),
        "hours": ("hours", "horas"),
        "done": ("done", "hecho"),
        "row": ("row", "fila"),
        "row_n": ("row {n}", "fila {n}"),
        "vine": ("vine", "cepa"),
        "bay": ("bay, vine", "vano, cepa"),
        "what": ("what to do", "qué hacer"),
        "seen": ("seen", "visto"),
        "last_seen": ("last seen", "visto por última vez"),
        "shoot": ("shoot", "brote"),
        "note": ("note", "nota"),
        "nothing_planned": (
            "No work is planned. \u201ctrunkwatch plan ... --write\u201d puts its proposals here; \u201ctrunkwatch log ... work --status planned\u201d writes your own.",
            "No hay trabajo planeado. \u201ctrunkwatch plan ... --write\u201d pone aquí sus propuestas; \u201ctrunkwatch log ... work --status planned\u201d escribe las suyas.",
        ),
        "cut_at": ("cut at {height}", "cortar a {height}"),
        "look_again": ("look again", "mirar otra vez"),
        "long_ago": ("not seen since {year}: look first", "no visto desde {year}: mire primero"),
        "look_first": ("the records disagree: look again before you cut", "los registros no coinciden: mire otra vez antes de cortar"),
        "disagree": ("the records disagree", "los registros no coinciden"),
        "trunk_n": ("trunk {n}", "tronco {n}"),
        "head": ("head", "cabeza"),
        "no_shoot": ("none noted", "ninguno anotado"),
        "check_shoot": ("check the shoot", "revisar el brote"),
        "no_use": ("rootstock, no use", "portainjerto, no sirve"),
    }
)  # fmt: skip

#: What is said at the head of a list, by paragraphs (common practice, no source).
_SAYS: Mapping[str, tuple[tuple[str, str], ...]] = MappingProxyType(
    {
        "Cut": (
            (
                (
                    "A good shoot to retrain comes from the head or the trunk, above the graft union; its wood is ripe and brown; it is as thick as a "
                    "pencil. Not the thick, fast one; not pale, unripe wood; not a thin one. (Common practice, no source.)"
                ),
                (
                    "Un buen brote para renovar sale de la cabeza o del tronco, encima del injerto; su madera está agostada y parda; es grueso como un "
                    "lápiz. No el grueso y rápido; no el de madera pálida, sin agostar; no el delgado. (Práctica común, sin fuente.)"
                ),
            ),
            (
                (
                    "\u201cCheck the shoot\u201d: nobody wrote whether it is good. If it is not, do not cut this winter: shorten one that is too vigorous, "
                    "leave one that is pale or thin, and write it in the last column."
                ),
                (
                    "\u201cRevisar el brote\u201d: nadie anotó si es bueno. Si no lo es, no corte este invierno: acorte el demasiado vigoroso, deje el "
                    "pálido o delgado, y anótelo en la última columna."
                ),
            ),
            (
                (
                    "No shoot noted: look for one first. Where there is none, cut to clean wood, look at the cut face and cut lower until it is "
                    "clean; leave every shoot that comes above the graft union."
                ),
                (
                    "Sin brote anotado: busque uno primero. Si no hay, corte hasta madera sana, mire la cara del corte y corte más abajo hasta que "
                    "esté limpia; deje todo brote que salga encima del injerto."
                ),
            ),
            (
                (
                    "Saws: trained people, eye protection, gloves, two of you. Wires are under tension and hide in old wood. Dry weather, "
                    "clean cuts. Local rules decide whether wood may be burned; wound protectants by their label."
                ),
                (
                    "Sierras: gente formada, protección de ojos, guantes, de dos en dos. Los alambres están tensos y se esconden en la madera vieja. "
                    "Tiempo seco, cortes limpios. Las normas locales deciden si se puede quemar la madera; protectores de heridas según su etiqueta."
                ),
            ),
        ),
        "Train first": (
            (
                (
                    "Nothing is cut yet: the old part bears one more year. Shorten a shoot that is too vigorous; leave one that is pale or thin; tie "
                    "it up. Next winter look whether it is good, then cut. (Common practice, no source.)"
                ),
                (
                    "Todavía no se corta nada: lo viejo da un año más. Acorte el brote demasiado vigoroso; deje el pálido o delgado; átelo. "
                    "El próximo invierno mire si es bueno, y entonces corte. (Práctica común, sin fuente.)"
                ),
            ),
            (
                "No shoot noted: choose one at suckering, from below the damage and above the graft union.",
                "Sin brote anotado: elija uno al desbrotar, debajo del daño y encima del injerto.",
            ),
        ),
        "Look again": (
            (
                "The records disagree on these vines. Look at the wood and write what you see; cut nothing here.",
                "Los registros no coinciden en estas cepas. Mire la madera y anote lo que ve; no corte nada aquí.",
            ),
        ),
        "Clean up": (
            (
                "Take dried clusters off the vine, and old wood out of the block. Local rules decide whether wood may be burned.",
                "Retire los racimos secos de la cepa y la madera vieja de la parcela. Las normas locales deciden si se puede quemar la madera.",
            ),
        ),
        "Leave this shoot": (
            (
                "A shoot from below the graft union is rootstock: ask before you leave it.",
                "Un brote debajo del injerto es portainjerto: pregunte antes de dejarlo.",
            ),
        ),
    }
)

_POINTS = ("norte", "noreste", "este", "sureste", "sur", "suroeste", "oeste", "noroeste")
_PLACES = {"upper": " superior", "lower": " inferior", "near": " del lado cercano", "far": " del lado lejano"}
#: Number of each language in the table.
_AT = {language: number for number, language in enumerate(LANGUAGES)}


def words_in(language: str) -> dict[str, str]:
    """Return the words of the lists in a language, with those of the phone page that they do not say otherwise.

    Raises
    ------
    ValueError
        If there is no such language.
    """
    if language not in LANGUAGES:
        raise ValueError(f"language {language!r}: one of {', '.join(LANGUAGES)}")
    return words_of()[language] | {key: words[_AT[language]] for key, words in _WORDS.items()}


def says_in(name: str, language: str) -> list[str]:
    """Return the paragraphs at the head of a list; none for most."""
    return [words[_AT[language]] for words in _SAYS.get(name, ())]


def part_in(words: Mapping[str, str], trunk: int, arm: str, bearing_deg: float | None, *, language: str) -> str:
    """Name trunk and arm as people point at them; empty where neither was named."""
    parts = [words["trunk_n"].format(n=trunk)] if trunk else []
    if arm:
        parts.append(arm_name(arm, bearing_deg) if language == "en" else _arm(words, arm, bearing_deg))
    return ", ".join(parts)


def _arm(words: Mapping[str, str], arm: str, bearing_deg: float | None) -> str:
    if arm == "head":
        return words["head"]
    place, side, point = arm_pieces(arm, bearing_deg)
    where = f"brazo{_PLACES.get(place, '')}"
    if point is None:
        return f"{where} {'que se aleja de' if side == 'end' else 'hacia'} la cepa 1"
    return f"{where} {_POINTS[point]}"


def seen_in(words: Mapping[str, str], now: VineNow, bearing_deg: float | None, *, language: str) -> str:
    """Say what stands on a vine, the newest first, and how much of the worst part is dead; where all is in doubt, that."""
    if not now.open:
        told = [
            f"{damage_words(one)}, {end_words(one)}"
            if language == "en"
            else f"{_seen(words, one.finding, bearing_deg, language)}: {words['disagree']}"
            for one in now.doubted
        ]
        return "; ".join(dict.fromkeys(told))
    newest = sorted(now.open, key=lambda finding: finding.date, reverse=True)
    told = list(dict.fromkeys(_seen(words, one, bearing_deg, language) for one in newest))
    return "; ".join(told) + ("" if now.percent is None else f", {now.percent:.0f}\u00a0%")


def _seen(words: Mapping[str, str], finding: Finding, bearing_deg: float | None, language: str) -> str:
    named = part_in(words, finding.part.trunk, finding.part.arm, bearing_deg, language=language)
    plain = (
        short_symptom(finding.symptom, finding.part._replace(trunk=0, arm=""))
        if language == "en"
        else words[f"code.{finding.symptom}"]
    )
    return f"{plain} ({named})" if named else plain


def shoot_in(words: Mapping[str, str], now: VineNow | None) -> str:
    """Name the shoot to renew from with its quality; where nobody wrote one, that it is to be checked."""
    if now is None or not now.shoot:
        return words["no_shoot"]
    shoot = words[f"code.shoot_{now.shoot}"].split(":")[0]
    if not now.shoot_placed:
        return f"{shoot}: {words['no_use']}"
    quality = words[f"code.quality_{now.shoot_quality}"] if now.shoot_quality in codes.SHOOT_QUALITIES else ""
    return f"{shoot}, {quality}" if quality else f"{shoot}: {words['check_shoot']}"
