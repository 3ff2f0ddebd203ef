"""The measures that a grower writes prices in: sums are metric, pages speak as the prices do."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from trunkwatch.errors import RecordError

__all__ = ["METRIC", "Measures", "to_metric"]

#: The international acre in hectares and the short ton in tonnes, exact by definition.
ACRE, SHORT_TON = 0.40468564224, 0.90718474
_TONS = ("short ton", "short tons", "us ton", "us tons")
_ACRES = ("ac", "acre", "acres")
#: Ways to write a unit, and how many of ours it is. A bare "ton" is refused: it may be short, long or metric.
_WRITTEN: Mapping[str, Mapping[str, float]] = MappingProxyType({
    "t": {**dict.fromkeys(("t", "tonne", "tonnes", "metric ton", "metric tons"), 1.0), **dict.fromkeys(_TONS, SHORT_TON)},
    "ha": {**dict.fromkeys(("ha", "hectare", "hectares"), 1.0), **dict.fromkeys(_ACRES, ACRE)},
    "h": dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), 1.0),
    "min": dict.fromkeys(("min", "minute", "minutes"), 1.0),
    "vine": dict.fromkeys(("vine", "vines"), 1.0),
    "years": dict.fromkeys(("years", "year", "yr", "yrs", "a"), 1.0),
    "%": dict.fromkeys(("%", "percent", "per cent"), 1.0),
    "cm": {"cm": 1.0},
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class Measures:
    """What area and what weight the pages speak of."""

    acre: bool = False
    short_ton: bool = False

    @property
    def area(self) -> str:
        """An area with its article."""
        return "an acre" if self.acre else "a hectare"

    @property
    def area_short(self) -> str:
        """The sign of the area."""
        return "ac" if self.acre else "ha"

    @property
    def hectares(self) -> float:
        """Hectares in one area."""
        return ACRE if self.acre else 1.0

    @property
    def weight(self) -> str:
        """A weight with its article."""
        return "a short ton" if self.short_ton else "a metric ton"

    @property
    def tonnes(self) -> float:
        """Tonnes in one weight."""
        return SHORT_TON if self.short_ton else 1.0


METRIC = Measures()


def to_metric(name: str, value: float, written: str, expected: str) -> tuple[float, Measures]:
    """Turn a value into the assumption's own unit; nothing written is no contradiction, the currency is the user's.

    Parameters
    ----------
    name : str
        Of the assumption, for the message.
    value : float
        As written.
    written, expected : str
        Unit as written, and the assumption's.

    Raises
    ------
    RecordError
        If the unit is another, or could be two.
    """
    text = " ".join(written.casefold().split())
    if not text:
        return value, METRIC
    parts = [part.strip() for part in ("%" if text.startswith("per cent") else text.replace(" per ", "/")).split("/")]
    wanted = expected.split("/")
    known = [
        (want, 1.0 if want == "money" else _WRITTEN[want].get(part)) for part, want in zip(parts, wanted, strict=False)
    ]
    if len(parts) != len(wanted) or any(size is None for _, size in known):
        raise RecordError(
            f"costs: {name} is in {written!r}; expected: {expected}, money being your currency; acre and short ton are "
            "understood too, a bare ton is not (1 short ton is 0.9072 t, 1 lb 0.0004536 t)"
        )
    sizes = [size or 1.0 for _, size in known]
    found = Measures(ACRE in sizes, SHORT_TON in sizes)
    return value * sizes[0] / (sizes[1] if len(sizes) > 1 else 1.0), found
