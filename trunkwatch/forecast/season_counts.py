"""One season of a block as counts: what forecasts of other blocks need of it, and all that is kept or passed on of it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from trunkwatch.forecast.growth import Growth
from trunkwatch.forecast.priors import PRIORS
from trunkwatch.forecast.vine_years import SeasonStep

__all__ = ["COUNTED", "SeasonCounts", "season_counts", "up_to"]

#: Chances whose events and vines at risk are counted season by season; first symptoms are counted apart.
COUNTED = tuple(name for name in PRIORS if name != "first")


@dataclass(frozen=True, slots=True)
class SeasonCounts:
    """Counts of one counted season of a block.

    Attributes
    ----------
    season, span : int
        The season, and years since the counted one before.
    events, vines : dict
        Events and vines at risk by chance.
    new, at_risk : int
        First cases, and vines at risk of one.
    again, again_risk : int
        Vines that showed the season before and show again, of those.
    written, written_risk : int
        The same of damage written again.
    growth : Growth
        What was written of how much is dead.
    gone : bool
        Whether a death, a removal or a gap is on record by this season.
    """

    season: int
    span: int
    events: Mapping[str, int]
    vines: Mapping[str, int]
    new: int
    at_risk: int
    again: int
    again_risk: int
    written: int
    written_risk: int
    growth: Growth = field(default_factory=Growth, compare=False)
    gone: bool = False

    def as_data(self) -> dict[str, Any]:
        """Return it as JSON has it; what is zero is left out."""
        plain = {
            name: getattr(self, name)
            for name in ("season", "span", "new", "at_risk", "again", "again_risk", "written", "written_risk", "gone")
        }
        chances = {name: [self.events[name], self.vines[name]] for name in COUNTED if self.vines[name]}
        return plain | {"chances": chances, "growth": self.growth.as_data()}

    @classmethod
    def of_data(cls, data: Mapping[str, Any]) -> "SeasonCounts":
        """Read what `as_data` gives."""
        chances = data["chances"]
        return cls(
            events={name: int(chances.get(name, (0, 0))[0]) for name in COUNTED},
            vines={name: int(chances.get(name, (0, 0))[1]) for name in COUNTED},
            growth=Growth.of_data(data["growth"]),
            gone=bool(data["gone"]),
            **{
                name: int(data[name])
                for name in ("season", "span", "new", "at_risk", "again", "again_risk", "written", "written_risk")
            },
        )


def up_to(others: Sequence[Sequence[SeasonCounts]], season: int) -> list[list[SeasonCounts]]:
    """Return of each of some blocks the seasons up to one: later ones were not known then."""
    return [[one for one in listed if one.season <= season] for listed in others]


def season_counts(step: SeasonStep) -> SeasonCounts:
    """Count events and vines at risk of one season."""
    events, vines = dict.fromkeys(COUNTED, 0), dict.fromkeys(COUNTED, 0)
    before = step.before
    shown = (before.since == 1) & step.looked & ~step.cut
    standing = (before.unseen == 1) & step.looked & ~step.cut & ~step.worked
    for k in range(1, 5):
        again = (before.since == k) & step.looked & ~step.cut
        cut = step.relapse == k
        written = (before.unseen == k) & step.looked & ~step.cut & ~step.worked
        for name, at_risk, came in (
            (f"rewritten_{k}", written, step.seen),
            (f"again_{k}", again, step.showing),
            (f"relapse_{k}", cut, step.relapsed),
        ):
            vines[name], events[name] = int(at_risk.sum()), int((at_risk & came).sum())
    for name, at_risk, lost in (
        ("death_case", step.death_risk & ((before.since > 0) | before.damaged) & ~step.worked, step.died),
        ("death_sound", step.death_risk & before.never & ~step.worked, step.died),
        ("replant_first", step.planted, step.planted_died),
        ("replant_later", step.death_risk & before.young, step.died),
        ("renewal_fails", step.renewal_risk, step.renewal_failed),
        ("lasting", step.looked & step.showing & ~before.damaged & ~step.worked, step.damaged),
    ):
        years = step.span if name in ("death_case", "death_sound", "replant_later") else 1
        vines[name], events[name] = years * int(at_risk.sum()), int((at_risk & lost).sum())
    return SeasonCounts(
        step.season,
        step.span,
        events,
        vines,
        int(step.new.sum()),
        int(step.at_risk.sum()),
        int((shown & step.showing).sum()),
        int(shown.sum()),
        int((standing & step.seen).sum()),
        int(standing.sum()),
        step.growth,
        bool(step.gone or step.died.any()),
    )
