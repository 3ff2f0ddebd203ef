"""Did the work of the last years hold? All that the record says of it, in sentences."""

from collections.abc import Sequence

from trunkwatch.block.opening import BlockSeason
from trunkwatch.follow_up.cut_faces import relapse_by_cut
from trunkwatch.follow_up.without_work import without_work
from trunkwatch.follow_up.words import cut_face_sentences, without_work_sentence, worked_sentences
from trunkwatch.follow_up.worked import worked
from trunkwatch.forecast.season_counts import SeasonCounts
from trunkwatch.forecast.vine_years import steps_of
from trunkwatch.vineyard.codes import CLEARING

__all__ = ["did_it_work"]


def did_it_work(season: BlockSeason, others: Sequence[Sequence[SeasonCounts]], *, seed: int = 1) -> tuple[str, ...]:
    """Say whether renewed vines held, what the block would be without the work, and relapses by kind of cut.

    Parameters
    ----------
    season : BlockSeason
        The block up to its last season.
    others : sequence of sequences of SeasonCounts
        Of the vineyard's other blocks.
    seed : int
        Of all chance.
    """
    told = worked_sentences(worked(season))
    if not any(work.done and work.kind in CLEARING for work in season.reading.work):
        return told
    faces = relapse_by_cut(season, steps_of(season.history, season.season))
    return (
        *told,
        without_work_sentence(without_work(season, others, seed=seed)),
        *cut_face_sentences(faces),
    )
