"""What is believed of a vine's chances before its own block has spoken, and where each belief comes from."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

__all__ = ["PRIORS", "SEASON_SCALE", "TREND_SCALE", "Prior"]


@dataclass(frozen=True, slots=True)
class Prior:
    """One chance: its middle, how many vines it weighs, and its source.

    A prior with a published source weighs more; one from memory or without source is wide and labelled so. Wide is mean
    times weight of about a half, the shape of Jeffreys' prior near zero: less would put nearly all belief on no event at
    all, which is not wide.
    """

    what: str
    mean: float
    weight: float
    source: str


#: Every chance a year. Weights are the numbers of vines that the prior stands for (our own convention).
PRIORS: Mapping[str, Prior] = MappingProxyType(
    {
        "first": Prior("first symptoms of a sound mature vine", 0.02, 2.0, "wide; national means of 2 to 3 % showing (Fussler et al. 2008, Phytopathology 98:571)"),
        "again_1": Prior("showing again, one season after it showed", 0.45, 2.0, "wide; from memory, values between 0.2 and 0.7"),
        "again_2": Prior("showing again, two seasons after", 0.35, 2.0, "wide; from memory"),
        "again_3": Prior("showing again, three seasons after", 0.30, 2.0, "wide; from memory"),
        "again_4": Prior("showing again, four seasons or more after", 0.25, 2.0, "wide; from memory"),
        "death_sound": Prior("death of a vine that never was a case", 0.005, 100.0, "wide; common practice, no source"),
        "death_case": Prior("death of a vine that has been a case", 0.04, 12.5, "higher than of vines without symptoms (Guérin-Dubrana et al. 2013, Phytopathol. Mediterr. 52:276); the size from memory"),
        "relapse_1": Prior("a retrained vine shows again, first or second season", 0.05, 10.0, "wide; common practice, no source"),
        "relapse_2": Prior("the same, third season", 0.08, 6.0, "wide; common practice, no source"),
        "relapse_3": Prior("the same, fourth season", 0.10, 5.0, "wide; common practice, no source"),
        "relapse_4": Prior("the same, later", 0.12, 4.0, "wide; common practice, no source"),
        "rewritten_1": Prior("damage on record is recorded again, one season after it was", 0.50, 2.0, "wide; no source: it is a habit of the scouts"),
        "rewritten_2": Prior("the same, two seasons after", 0.40, 2.0, "wide; no source"),
        "rewritten_3": Prior("the same, three seasons after", 0.30, 2.0, "wide; no source"),
        "rewritten_4": Prior("the same, four seasons or more after", 0.25, 2.0, "wide; no source"),
        "renewal_fails": Prior("a retrained trunk gives no bearing vine", 0.20, 6.0, "watershoots on 42 to 100 % of cut vines (Sosnowski, Wicks and Scott 2011, Phytopathol. Mediterr. 50:277)"),
        "replant_first": Prior("a single replant dies in its first season", 0.097, 30.0, "16.1 % dead by year 3, 60 % of deaths in the first (French replanting study, read in summary)"),
        "lasting": Prior("symptoms leave lasting damage (dead spurs, arms)", 0.20, 5.0, "wide; from memory, low confidence"),
        "replant_later": Prior("a single replant dies in its second or third season", 0.034, 30.0, "the same"),
    }
)  # fmt: skip
#: Spread of the seasons on the log-odds of symptoms, before the record speaks: half-normal of this scale (wide; no source).
SEASON_SCALE = 0.6
#: Spread of the prior of the yearly change of the log-odds of first symptoms, about no change: wide; a region's blocks rose
#: by about 0.21 a year from 2013 to 2018 (worked out from 8 % and 20 % of vines with dieback, New Zealand, second-hand).
TREND_SCALE = 0.2
