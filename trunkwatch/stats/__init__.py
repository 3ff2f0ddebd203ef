"""Statistics of plant-by-plant disease maps: pure functions on (rows, stations) arrays.

Every public name can be taken from here; its module is loaded when it is first asked for.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from trunkwatch.stats.beta_binomial import BetaBinomial as BetaBinomial
    from trunkwatch.stats.beta_binomial import fit_beta_binomial as fit_beta_binomial
    from trunkwatch.stats.clark_evans_index import ClarkEvans as ClarkEvans
    from trunkwatch.stats.clark_evans_index import clark_evans as clark_evans
    from trunkwatch.stats.dispersion_indices import (
        Dispersion as Dispersion,
    )
    from trunkwatch.stats.dispersion_indices import (
        dispersion as dispersion,
    )
    from trunkwatch.stats.dispersion_indices import (
        dispersion_by_size as dispersion_by_size,
    )
    from trunkwatch.stats.dispersion_indices import (
        quadrat_counts as quadrat_counts,
    )
    from trunkwatch.stats.drift import ObserverDrift as ObserverDrift
    from trunkwatch.stats.drift import observer_drift as observer_drift
    from trunkwatch.stats.edges import (
        DistanceModel as DistanceModel,
    )
    from trunkwatch.stats.edges import (
        Edge as Edge,
    )
    from trunkwatch.stats.edges import (
        distance_line as distance_line,
    )
    from trunkwatch.stats.edges import (
        distance_logit as distance_logit,
    )
    from trunkwatch.stats.edges import (
        edge as edge,
    )
    from trunkwatch.stats.false_positive import (
        FalsePositive as FalsePositive,
    )
    from trunkwatch.stats.false_positive import (
        false_positive_share as false_positive_share,
    )
    from trunkwatch.stats.focus_sizes import Foci as Foci
    from trunkwatch.stats.focus_sizes import Focus as Focus
    from trunkwatch.stats.focus_sizes import foci as foci
    from trunkwatch.stats.gradients import (
        FocusGradient as FocusGradient,
    )
    from trunkwatch.stats.gradients import (
        Gradient as Gradient,
    )
    from trunkwatch.stats.gradients import (
        focus_gradient as focus_gradient,
    )
    from trunkwatch.stats.gradients import (
        gradient as gradient,
    )
    from trunkwatch.stats.hazard import (
        Hazard as Hazard,
    )
    from trunkwatch.stats.hazard import (
        HazardTrend as HazardTrend,
    )
    from trunkwatch.stats.hazard import (
        PoissonLine as PoissonLine,
    )
    from trunkwatch.stats.hazard import (
        hazard_by_age as hazard_by_age,
    )
    from trunkwatch.stats.hazard import (
        hazard_trend as hazard_trend,
    )
    from trunkwatch.stats.hazard import (
        poisson_line as poisson_line,
    )
    from trunkwatch.stats.history_shuffle import AllSeasons as AllSeasons
    from trunkwatch.stats.history_shuffle import all_seasons as all_seasons
    from trunkwatch.stats.join_counts import (
        JoinCount as JoinCount,
    )
    from trunkwatch.stats.join_counts import (
        JoinOrders as JoinOrders,
    )
    from trunkwatch.stats.join_counts import (
        join_count as join_count,
    )
    from trunkwatch.stats.join_counts import (
        join_orders as join_orders,
    )
    from trunkwatch.stats.lags import LagPairs as LagPairs
    from trunkwatch.stats.lags import lag_pairs as lag_pairs
    from trunkwatch.stats.local_counts import LocalCount as LocalCount
    from trunkwatch.stats.local_counts import local_count as local_count
    from trunkwatch.stats.moments import (
        Moments as Moments,
    )
    from trunkwatch.stats.moments import (
        free_sampling as free_sampling,
    )
    from trunkwatch.stats.moments import (
        random_labelling as random_labelling,
    )
    from trunkwatch.stats.near_old import (
        NewNearOld as NewNearOld,
    )
    from trunkwatch.stats.near_old import (
        near_old_orders as near_old_orders,
    )
    from trunkwatch.stats.near_old import (
        new_near_old as new_near_old,
    )
    from trunkwatch.stats.near_old import (
        shifted_near_old as shifted_near_old,
    )
    from trunkwatch.stats.nearest import NearestNeighbour as NearestNeighbour
    from trunkwatch.stats.nearest import nearest_neighbour as nearest_neighbour
    from trunkwatch.stats.nearest_kinds import (
        NearestKind as NearestKind,
    )
    from trunkwatch.stats.nearest_kinds import (
        nearest_kind as nearest_kind,
    )
    from trunkwatch.stats.nearest_kinds import (
        segregation as segregation,
    )
    from trunkwatch.stats.power_law import PowerLaw as PowerLaw
    from trunkwatch.stats.power_law import binary_power_law as binary_power_law
    from trunkwatch.stats.progress import Progress as Progress
    from trunkwatch.stats.progress import audpc as audpc
    from trunkwatch.stats.progress import fit_progress as fit_progress
    from trunkwatch.stats.rechecks import Recheck as Recheck
    from trunkwatch.stats.rechecks import recheck as recheck
    from trunkwatch.stats.row_runs import RowRuns as RowRuns
    from trunkwatch.stats.row_runs import Runs as Runs
    from trunkwatch.stats.row_runs import runs as runs
    from trunkwatch.stats.row_sample import (
        RowsAlike as RowsAlike,
    )
    from trunkwatch.stats.row_sample import (
        rows_alike as rows_alike,
    )
    from trunkwatch.stats.row_sample import (
        rows_for_doubling as rows_for_doubling,
    )
    from trunkwatch.stats.row_sample import (
        rows_for_margin as rows_for_margin,
    )
    from trunkwatch.stats.scan_statistic import (
        Scan as Scan,
    )
    from trunkwatch.stats.scan_statistic import (
        Window as Window,
    )
    from trunkwatch.stats.scan_statistic import (
        log_likelihood_ratio as log_likelihood_ratio,
    )
    from trunkwatch.stats.scan_statistic import (
        scan as scan,
    )
    from trunkwatch.stats.shares import (
        Incidence as Incidence,
    )
    from trunkwatch.stats.shares import (
        RowClusters as RowClusters,
    )
    from trunkwatch.stats.shares import (
        clopper_pearson as clopper_pearson,
    )
    from trunkwatch.stats.shares import (
        incidence as incidence,
    )
    from trunkwatch.stats.shares import (
        incidence_of_rows as incidence_of_rows,
    )
    from trunkwatch.stats.shares import (
        wilson as wilson,
    )
    from trunkwatch.stats.shares_by_group import GroupShares as GroupShares
    from trunkwatch.stats.shares_by_group import group_shares as group_shares
    from trunkwatch.stats.shift import Shifted as Shifted
    from trunkwatch.stats.shift import shifted_mean as shifted_mean
    from trunkwatch.stats.step import (
        AgainstOthers as AgainstOthers,
    )
    from trunkwatch.stats.step import (
        Step as Step,
    )
    from trunkwatch.stats.step import (
        one_season_step as one_season_step,
    )
    from trunkwatch.stats.step import (
        season_against_others as season_against_others,
    )
    from trunkwatch.stats.survival import (
        CumulativeIncidence as CumulativeIncidence,
    )
    from trunkwatch.stats.survival import (
        LogRank as LogRank,
    )
    from trunkwatch.stats.survival import (
        Survival as Survival,
    )
    from trunkwatch.stats.survival import (
        cumulative_incidence as cumulative_incidence,
    )
    from trunkwatch.stats.survival import (
        kaplan_meier as kaplan_meier,
    )
    from trunkwatch.stats.survival import (
        log_rank as log_rank,
    )
    from trunkwatch.stats.trend import Change as Change
    from trunkwatch.stats.trend import Swing as Swing
    from trunkwatch.stats.trend import change as change
    from trunkwatch.stats.trend import usual_swing as usual_swing
    from trunkwatch.stats.two_shares import chance_to_show as chance_to_show
    from trunkwatch.stats.two_shares import needed_to_show as needed_to_show
    from trunkwatch.stats.years_trend import LongTrend as LongTrend
    from trunkwatch.stats.years_trend import long_trend as long_trend

#: Module -> the public names in it.
_PUBLIC: dict[str, tuple[str, ...]] = {
    "beta_binomial": (
        "BetaBinomial",
        "fit_beta_binomial",
    ),
    "clark_evans_index": (
        "ClarkEvans",
        "clark_evans",
    ),
    "dispersion_indices": (
        "Dispersion",
        "dispersion",
        "dispersion_by_size",
        "quadrat_counts",
    ),
    "drift": (
        "ObserverDrift",
        "observer_drift",
    ),
    "edges": (
        "DistanceModel",
        "Edge",
        "distance_line",
        "distance_logit",
        "edge",
    ),
    "false_positive": (
        "FalsePositive",
        "false_positive_share",
    ),
    "focus_sizes": (
        "Foci",
        "Focus",
        "foci",
    ),
    "gradients": (
        "FocusGradient",
        "Gradient",
        "focus_gradient",
        "gradient",
    ),
    "hazard": (
        "Hazard",
        "HazardTrend",
        "PoissonLine",
        "hazard_by_age",
        "hazard_trend",
        "poisson_line",
    ),
    "history_shuffle": (
        "AllSeasons",
        "all_seasons",
    ),
    "join_counts": (
        "JoinCount",
        "JoinOrders",
        "join_count",
        "join_orders",
    ),
    "lags": (
        "LagPairs",
        "lag_pairs",
    ),
    "local_counts": (
        "LocalCount",
        "local_count",
    ),
    "moments": (
        "Moments",
        "free_sampling",
        "random_labelling",
    ),
    "near_old": (
        "NewNearOld",
        "near_old_orders",
        "new_near_old",
        "shifted_near_old",
    ),
    "nearest": (
        "NearestNeighbour",
        "nearest_neighbour",
    ),
    "nearest_kinds": (
        "NearestKind",
        "nearest_kind",
        "segregation",
    ),
    "power_law": (
        "PowerLaw",
        "binary_power_law",
    ),
    "progress": (
        "Progress",
        "audpc",
        "fit_progress",
    ),
    "rechecks": (
        "Recheck",
        "recheck",
    ),
    "row_runs": (
        "RowRuns",
        "Runs",
        "runs",
    ),
    "row_sample": (
        "RowsAlike",
        "rows_alike",
        "rows_for_doubling",
        "rows_for_margin",
    ),
    "scan_statistic": (
        "Scan",
        "Window",
        "log_likelihood_ratio",
        "scan",
    ),
    "shares": (
        "Incidence",
        "RowClusters",
        "clopper_pearson",
        "incidence",
        "incidence_of_rows",
        "wilson",
    ),
    "shares_by_group": (
        "GroupShares",
        "group_shares",
    ),
    "shift": (
        "Shifted",
        "shifted_mean",
    ),
    "step": (
        "AgainstOthers",
        "Step",
        "one_season_step",
        "season_against_others",
    ),
    "survival": (
        "CumulativeIncidence",
        "LogRank",
        "Survival",
        "cumulative_incidence",
        "kaplan_meier",
        "log_rank",
    ),
    "trend": (
        "Change",
        "Swing",
        "change",
        "usual_swing",
    ),
    "two_shares": (
        "chance_to_show",
        "needed_to_show",
    ),
    "years_trend": (
        "LongTrend",
        "long_trend",
    ),
}
_HOME = {name: module for module, names in _PUBLIC.items() for name in names}

__all__ = [
    "AgainstOthers",
    "AllSeasons",
    "BetaBinomial",
    "Change",
    "ClarkEvans",
    "CumulativeIncidence",
    "Dispersion",
    "DistanceModel",
    "Edge",
    "FalsePositive",
    "Foci",
    "Focus",
    "FocusGradient",
    "Gradient",
    "GroupShares",
    "Hazard",
    "HazardTrend",
    "Incidence",
    "JoinCount",
    "JoinOrders",
    "LagPairs",
    "LocalCount",
    "LogRank",
    "LongTrend",
    "Moments",
    "NearestKind",
    "NearestNeighbour",
    "NewNearOld",
    "ObserverDrift",
    "PoissonLine",
    "PowerLaw",
    "Progress",
    "Recheck",
    "RowClusters",
    "RowRuns",
    "RowsAlike",
    "Runs",
    "Scan",
    "Shifted",
    "Step",
    "Survival",
    "Swing",
    "Window",
    "all_seasons",
    "audpc",
    "binary_power_law",
    "chance_to_show",
    "change",
    "clark_evans",
    "clopper_pearson",
    "cumulative_incidence",
    "dispersion",
    "dispersion_by_size",
    "distance_line",
    "distance_logit",
    "edge",
    "false_positive_share",
    "fit_beta_binomial",
    "fit_progress",
    "foci",
    "focus_gradient",
    "free_sampling",
    "gradient",
    "group_shares",
    "hazard_by_age",
    "hazard_trend",
    "incidence",
    "incidence_of_rows",
    "join_count",
    "join_orders",
    "kaplan_meier",
    "lag_pairs",
    "local_count",
    "log_likelihood_ratio",
    "log_rank",
    "long_trend",
    "near_old_orders",
    "nearest_kind",
    "nearest_neighbour",
    "needed_to_show",
    "new_near_old",
    "observer_drift",
    "one_season_step",
    "poisson_line",
    "quadrat_counts",
    "random_labelling",
    "recheck",
    "rows_alike",
    "rows_for_doubling",
    "rows_for_margin",
    "runs",
    "scan",
    "season_against_others",
    "segregation",
    "shifted_mean",
    "shifted_near_old",
    "usual_swing",
    "wilson",
]


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(import_module(f"trunkwatch.stats.{_HOME[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
