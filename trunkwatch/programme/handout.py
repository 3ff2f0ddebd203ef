"""One page for a grower: five sentences, one map, a hundred vines; and who to call and who sees it."""

from dataclasses import dataclass, replace
from typing import Literal, get_args

from markupsafe import Markup

from trunkwatch.answer.five import answer_of
from trunkwatch.block import BlockSeason
from trunkwatch.charts import of_100_svg
from trunkwatch.maps import strip_svg
from trunkwatch.pattern import pattern_of
from trunkwatch.programme.handout_words import NOT_WRITTEN, PICKED, handout_sentences
from trunkwatch.programme.like_words import LIKE_CAPTION
from trunkwatch.report.deciding import Decided, by_rule_alone
from trunkwatch.report.environment import environment
from trunkwatch.report.pictures import map_forms, picture_css
from trunkwatch.vineyard.tables import number_or_none

__all__ = ["PAPERS", "About", "Paper", "handout_html"]

Paper = Literal["A4", "Letter"]
PAPERS: tuple[str, ...] = get_args(Paper)


@dataclass(frozen=True, slots=True)
class About:
    """What the page says beside the block.

    Attributes
    ----------
    grower : str
        The pseudonym.
    call, sees : str
        Who to call and who sees the page; "not written down yet" where empty.
    like : str
        What blocks like this one show, in a sentence; the place stays empty where nothing is given.
    picked : bool
        Whether the block was picked as the one that showed most.
    like_picture : str
        How blocks like it are spread, as SVG; nothing is drawn where empty.
    """

    grower: str
    call: str = ""
    sees: str = ""
    like: str = ""
    picked: bool = False
    like_picture: str = ""


def handout_html(
    season: BlockSeason,
    decided: Decided | None,
    about: About,
    *,
    unscouted: int,
    size: Paper = "A4",
    permutations: int = 999,
    seed: int = 1,
) -> str:
    """Write the page of a block.

    Parameters
    ----------
    season : BlockSeason
        The block up to the season.
    decided : Decided or None
        The plan with prices; by the rules of the work alone where None.
    about : About
        What it says beside the block.
    unscouted : int
        Vines that nobody scouted in the season.
    size : {"A4", "Letter"}
        Paper.
    permutations, seed : int
        As in `pattern_of`.

    Returns
    -------
    str
        One HTML page that needs nothing else; same input, same bytes.

    Raises
    ------
    ValueError
        If there is no such paper.
    """
    if size not in PAPERS:
        raise ValueError(f"size is {size!r}: one of {', '.join(PAPERS)} is needed")
    plan = decided or by_rule_alone(season)
    answer = answer_of(
        season, pattern_of(season, permutations=permutations, seed=seed), plan.decision if plan is not None else None
    )
    rate, limits = answer.now.rates["annual"], answer.now.limits["annual"]
    hundred = (
        "" if rate.reason else of_100_svg(limits.share, limits.low, limits.high, what="show symptoms", name="hundred")
    )
    shown = replace(about, call=about.call or NOT_WRITTEN, sees=about.sees or NOT_WRITTEN)
    return (
        environment()
        .get_template("handout.html")
        .render(
            about=shown,
            block=season.history.block,
            season=season.season,
            size=size,
            says=handout_sentences(answer, unscouted),
            picked=PICKED if about.picked else "",
            map=Markup(_map(season)),  # noqa: S704 - as `spread`
            hundred=Markup(hundred),  # noqa: S704 - as `spread`
            spread=Markup(about.like_picture),  # noqa: S704 - our own SVG, text escaped
            picture_css=picture_css(),
            spread_caption=LIKE_CAPTION,
        )
    )


def _map(season: BlockSeason) -> str:
    block = season.block
    return map_forms(
        strip_svg,
        season.history,
        season.season,
        name="map",
        placed=season.placed or None,
        bearing_deg=number_or_none(block.get("row_bearing_deg")),
        rows_go=str(block.get("rows_go") or "right"),
    )
