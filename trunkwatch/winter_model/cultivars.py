"""The cultivars that the hardiness models know, each number with what it stands on.

The daily model's numbers are those of the published sets for 23 genotypes (Ferguson et al. 2014, AJEV 65:59-71) and for five hybrids
(North et al. 2021, AJEV), as parameter files of research groups that cite these papers give them; the papers' own tables were not
seen. A name that is not here is never guessed by likeness: a group of cultivars may stand in for it, and is called that.
"""

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from types import MappingProxyType
from typing import NamedTuple

__all__ = ["CULTIVARS", "Basis", "Cultivar", "Group", "Kind", "ModelError", "Spread", "cultivar_named", "members"]


class Basis(Enum):
    """What a number stands on."""

    TEXT = "read in the source itself"
    ABSTRACT = "read in the abstract"
    CODE = "read in public research code or parameter files that cite the source"
    MEASURED = "measured by setting the model beside a public record"
    OWN = "our own convention, no source"


class Kind(Enum):
    """What vines a cultivar is of."""

    VINIFERA = 1
    LABRUSCA = 2
    HYBRID = 3


class Group(Enum):
    """Cultivars that stand in together for one that no model knows (our own convention)."""

    TENDER = "tender"
    MEDIUM = "medium"
    LABRUSCA = "labrusca"
    HYBRID = "hybrid"


class Spread(NamedTuple):
    """Straight lines from the temperature that kills half of the buds to those that kill 10 % and 90 %: start and slope."""

    start_10: float
    slope_10: float
    start_90: float
    slope_90: float


class ModelError(NamedTuple):
    """How far the model lay off measured hardiness: mean (negative: it said hardier) and standard deviation, C."""

    bias_c: float
    sd_c: float
    basis: Basis


@dataclass(frozen=True, slots=True)
class Cultivar:
    """One cultivar of the daily model.

    Attributes
    ----------
    name : str
    kind : Kind
    start_c, softest_c, hardiest_c : float
        Hardiness at the start of the season, and its limits. More negative is hardier.
    threshold_c, gain, loss : tuple of float
        Of the first and of the second phase: the mean temperature that parts cold from heat, and the rates per degree and day.
    second_phase_at : float
        Sum of cold below 10 C from which the second phase begins.
    theta : float
        Shape of the loss in the second phase.
    spread : Spread or None
        None where no lines were published.
    error : ModelError
    basis : Basis
        Of all but the error.
    """

    name: str
    kind: Kind
    start_c: float
    softest_c: float
    hardiest_c: float
    threshold_c: tuple[float, float]
    second_phase_at: float
    gain: tuple[float, float]
    loss: tuple[float, float]
    theta: float
    spread: Spread | None
    error: ModelError
    basis: Basis = Basis.CODE

    @property
    def budbreak_c(self) -> float | None:
        """Hardiness at which buds break; None where the model cannot reach it."""
        return {Kind.VINIFERA: -2.2, Kind.LABRUSCA: -6.4}.get(self.kind)

    @property
    def group(self) -> Group:
        """The group that the cultivar is a member of."""
        if self.kind is Kind.VINIFERA:
            return Group.TENDER if self.hardiest_c > TENDER_ABOVE_C else Group.MEDIUM
        return Group.LABRUSCA if self.kind is Kind.LABRUSCA else Group.HYBRID


#: Vinifera whose hardiest state is softer than this are called tender.
TENDER_ABOVE_C = -24.5
#: Error of cultivars whose own was not measured.
UNMEASURED = ModelError(-0.5, 2.0, Basis.OWN)
#: Root mean square error and bias, C, against measured hardiness at one site in Washington, 1988 to 2022.
_MEASURED = {
    "Merlot": (1.79, -0.53), "Cabernet Sauvignon": (1.98, -0.82), "Chardonnay": (2.32, -0.61), "Riesling": (1.84, -0.70),
    "Syrah": (1.64, -0.08), "Concord": (2.46, -0.87), "Semillon": (1.96, 0.13), "Zinfandel": (1.97, -0.73),
}  # fmt: skip
#: name: start, softest, hardiest, threshold 1 2, second phase at, gain 1 2, loss 1 2, theta, lines to 10 % and 90 %.
_TABLE = """
Barbera            -10.1 -1.2  -23.5 15  3 -700 .06 .02 .10 .08 7   1.2269 .9855  -1.2063 1.0060
Cabernet franc      -9.9 -1.2  -25.4 13  4 -500 .12 .10 .04 .10 7   1.1548 .9813  -2.3070 .9614
Cabernet Sauvignon -10.3 -1.2  -25.1 13  5 -700 .12 .10 .08 .10 7   1.4694 .9995  -2.2381 .9476
Chardonnay         -11.8 -1.2  -25.7 14  3 -600 .10 .02 .10 .08 7   1.3825 1.0115 -2.1321 .9464
Chenin blanc       -12.1 -1.2  -24.1 14  4 -700 .10 .02 .04 .10 7   .2927  .8745  -2.2548 .9807
Concord            -12.8 -2.5  -29.5 13  3 -600 .12 .10 .02 .10 3   .6229  .9269  -2.0214 .9893
Dolcetto           -10.1 -1.2  -23.2 12  4 -600 .16 .10 .10 .12 3   .7249  .9755  -1.2485 .9958
Gewurztraminer     -11.6 -1.2  -24.9 13  6 -400 .12 .02 .06 .18 5   2.1672 1.0180 -1.6626 .9844
Grenache           -10.0 -1.2  -22.7 12  3 -500 .16 .10 .02 .06 5   .1108  .9262  -.3219  1.0490
Lemberger          -13.0 -1.2  -25.6 13  5 -800 .10 .10 .02 .18 7   1.8783 .9980  -1.1037 1.0127
Malbec             -11.5 -1.2  -25.1 14  4 -400 .10 .08 .06 .08 7   1.3315 .9829  -2.1737 .9665
Merlot             -10.3 -1.2  -25.0 13  5 -500 .10 .02 .04 .10 7   1.0291 .9780  -1.6352 .9813
Mourvedre           -9.5 -1.2  -22.1 13  6 -600 .12 .06 .08 .14 5   1.7603 1.0008 -1.9913 .9693
Nebbiolo           -11.1 -1.2  -24.4 11  3 -700 .16 .02 .02 .10 3   1.1312 .9646  -1.6663 .9827
Pinot gris         -12.0 -1.2  -24.1 13  6 -400 .12 .02 .02 .20 3   1.5830 .9888  -2.2190 .9619
Riesling           -12.6 -1.2  -26.1 12  5 -700 .14 .10 .02 .12 7   1.0481 .9807  -1.6964 .9711
Sangiovese         -10.7 -1.2  -21.9 11  3 -700 .14 .02 .02 .06 7   .8038  .9556  -.9922  1.0167
Sauvignon blanc    -10.6 -1.2  -24.9 14  5 -300 .08 .10 .06 .12 7   .7645  .9439  -1.5164 .9920
Semillon           -10.4 -1.2  -22.4 13  7 -300 .10 .02 .08 .20 5   .6246  .9257  -1.0754 1.0288
Sunbelt            -11.8 -2.5  -29.1 14  3 -400 .10 .10 .06 .12 1.5 .8216  .9389  -1.6544 .9991
Syrah              -10.3 -1.2  -24.2 14  4 -700 .08 .04 .06 .08 7   .9095  .9657  -1.5650 .9833
Viognier           -11.2 -1.2  -24.0 14  5 -300 .10 .10 .08 .10 7   1.2533 .9732  -1.6235 .9937
Zinfandel          -10.4 -1.2  -24.4 12  3 -500 .16 .10 .02 .06 7   .8998  .9651  -.9739  1.0150
Brianna            -11.0 -9.0  -29.9  9  1 -600 .10 .02 .10 .18 3
Frontenac          -10.5 -10.5 -30.6 10  1 -300 .10 .06 .02 .18 1.5
La Crescent         -9.6 -9.6  -30.3 11 -1 -600 .08 .04 .08 .08 7
Marquette          -11.5 -10.2 -29.3 13 -1 -600 .06 .06 .10 .10 5
Petite Pearl       -11.4 -11.4 -28.9 15  0 -600 .04 .06 .02 .18 1
"""
_LABRUSCA = frozenset({"Concord", "Sunbelt"})


def _error(name: str) -> ModelError:
    if name not in _MEASURED:
        return UNMEASURED
    rmse, bias = _MEASURED[name]
    return ModelError(bias, round((rmse**2 - bias**2) ** 0.5, 2), Basis.MEASURED)


def _read(line: str) -> Cultivar:
    words = line.split()
    first = next(place for place, word in enumerate(words) if word[0] in "-.0123456789")
    name = " ".join(words[:first])
    start, softest, hardiest, hot1, hot2, second, gain1, gain2, loss1, loss2, theta, *lines = map(float, words[first:])
    kind = Kind.LABRUSCA if name in _LABRUSCA else Kind.VINIFERA if lines else Kind.HYBRID
    return Cultivar(
        name,
        kind,
        start,
        softest,
        hardiest,
        (hot1, hot2),
        second,
        (gain1, gain2),
        (loss1, loss2),
        theta,
        Spread(*lines) if lines else None,
        _error(name),
    )


CULTIVARS: Mapping[str, Cultivar] = MappingProxyType({one.name: one for one in map(_read, _TABLE.strip().splitlines())})


def _spelt(name: str) -> str:
    """Return a name without accents, capitals, hyphens and double spaces: the same name, however it is spelt."""
    bare = "".join(sign for sign in unicodedata.normalize("NFKD", name) if not unicodedata.combining(sign))
    return " ".join(bare.casefold().replace("-", " ").split())


_BY_SPELLING = {_spelt(name): cultivar for name, cultivar in CULTIVARS.items()}


def cultivar_named(name: str) -> Cultivar | None:
    """Return the cultivar of that name, None where the models know none; accents and capitals make no difference."""
    return _BY_SPELLING.get(_spelt(name))


def members(group: Group) -> tuple[Cultivar, ...]:
    """Return the cultivars that stand in together for an unknown one."""
    return tuple(one for one in CULTIVARS.values() if one.group is group)
