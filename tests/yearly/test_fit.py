"""The hazard model, against other programs and against what made the data. trunkwatch.yearly: fit, penalized, surface."""

import warnings

import numpy as np
import pytest
from yearly import simulated

from trunkwatch.yearly.exposure import Exposure, ring_exposure, sources
from trunkwatch.yearly.fit import Weak, fit_hazard
from trunkwatch.yearly.penalized import Block, Design, log_likelihood, solve
from trunkwatch.yearly.steps import Intervals, first_cases
from trunkwatch.yearly.surface import make_surface

FLAT = Weak(height=np.inf, trend=np.inf, age=np.inf, gamma=np.inf, tilt=np.inf)


def _lines(event, *, season=None, span=None, age=None, strata=None, cell=None, along=None, across=None, shape=None):
    n = len(event)
    zeros = np.zeros(n, dtype=np.int64)
    season = zeros + 1 if season is None else np.asarray(season)
    return Intervals(
        shape or (1, n),
        np.arange(n) if cell is None else cell,
        season,
        season - 1,
        season + 2000,
        zeros + 1 if span is None else span,
        np.asarray(event, dtype=bool),
        np.full(n, np.nan) if age is None else age,
        np.zeros(n) if along is None else along,
        np.zeros(n) if across is None else across,
        strata or {},
        zeros,
        zeros,
    )


def _world(make, seed=1, rows=12, stations=50, seasons=10, **given):
    world = make(np.random.default_rng(seed), seasons, rows, stations, **given)
    along, across = np.meshgrid(np.arange(stations) * 1.1, np.arange(rows) * 2.4)
    plant = np.ones(world.case.shape, dtype=int)
    steps = first_cases(world.case, world.looked_at, plant, np.arange(seasons) + 2001, along_m=along, across_m=across)
    return steps, ring_exposure(steps, sources(world.case, plant))


def test_without_priors_it_is_the_glm_of_statsmodels():
    """Outside: statsmodels 0.14 and later, GLM with a binomial family and cloglog link, offset log of the span."""
    import statsmodels.api as sm

    rng = np.random.default_rng(11)
    n = 3000
    season, span, age = rng.integers(1, 9, n), rng.integers(1, 4, n), rng.integers(4, 30, n).astype(float)
    x = rng.poisson(0.7, (n, 2)).astype(float)
    eta = np.log(span) - 3 + 0.1 * (season - 4) - 0.03 * age + x @ [0.5, -0.2]
    event = rng.random(n) < -np.expm1(-np.exp(eta))
    steps = _lines(event, season=season, span=span, age=age)
    ours = fit_hazard(steps, Exposure(("a", "b"), x), season=False, surface=False, weak=FLAT)
    design = np.column_stack([np.ones(n), steps.year - steps.year.mean(), age - age.mean(), x])
    family = sm.families.Binomial(link=sm.families.links.CLogLog())
    glm = sm.GLM(event.astype(float), design, family=family, offset=np.log(span)).fit(tol=1e-14, maxiter=200)
    theirs = np.concatenate([[glm.params[0] - ours.recipe.weak.middle], glm.params[1:]])
    assert ours.converged
    assert ours.solution.beta == pytest.approx(theirs, abs=1e-6)
    assert ours.log_likelihood == pytest.approx(glm.llf, abs=1e-6)
    observed = np.linalg.inv(-glm.model.hessian(glm.params, observed=True))
    assert ours.solution.covariance == pytest.approx(observed, rel=1e-4, abs=1e-8)


def test_a_smooth_curve_is_that_of_statsmodels():
    """Outside: statsmodels GLMGam with cubic B-splines; its penalty is alpha times the mean squared second derivative."""
    import statsmodels.api as sm
    from statsmodels.gam.api import BSplines, GLMGam

    rng = np.random.default_rng(5)
    x = np.linspace(0, 1, 400)
    y = (rng.random(400) < -np.expm1(-np.exp(np.sin(6 * x) - 1))).astype(float)
    alpha = 0.01
    family = sm.families.Binomial(link=sm.families.links.CLogLog())
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        splines = BSplines(x, df=[24], degree=[3])
        gam = GLMGam(y, exog=np.ones((400, 1)), smoother=splines, alpha=[alpha], family=family).fit()
    curve = make_surface(x, knots=40)
    columns = np.column_stack([np.ones(400), curve.scaled(x), curve.bending(x)])
    design = Design(columns[:, :2], columns[:, 2:], np.arange(400), np.zeros(400))
    blocks = (Block("line", 0, 2, 0.0, False), Block("curve", 2, columns.shape[1], 2 * alpha / curve.scale**3, False))
    ours = solve(design, y, np.ones(400), blocks)
    theirs = np.log(-np.log1p(-np.asarray(gam.fittedvalues)))
    assert design.log_hazard(ours.beta) == pytest.approx(theirs, abs=0.01)
    assert sum(ours.freedom) == pytest.approx(float(np.sum(gam.edf)), abs=0.05)


def test_weeks_to_arrest_are_those_of_a_cox_model():
    """Outside: lifelines, CoxPHFitter (Efron) on its data set `rossi`; a cloglog model of weeks is Cox's model in weeks."""
    lifelines = pytest.importorskip("lifelines")
    from lifelines.datasets import load_rossi

    data = load_rossi()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        cox = lifelines.CoxPHFitter().fit(data, "week", "arrest")
    names = tuple(cox.params_.index)
    weeks = data["week"].to_numpy()
    man = np.repeat(np.arange(len(data)), weeks)
    week = np.concatenate([np.arange(1, w + 1) for w in weeks])
    event = (week == weeks[man]) & (data["arrest"].to_numpy()[man] == 1)
    steps = _lines(event, season=week, cell=man, shape=(1, len(data)))
    values = data[list(names)].to_numpy(dtype=float)[man]
    ours = fit_hazard(steps, Exposure(names, values), trend=True, surface=False, weak=FLAT)
    effect = ours.effect("exposure")
    assert ours.events == 114
    assert effect.estimate == pytest.approx(cox.params_.to_numpy(), abs=0.01)
    assert effect.error == pytest.approx(cox.standard_errors_.to_numpy(), abs=0.005)


def test_marginal_likelihood_is_at_its_top():
    """The estimated precisions leave nothing to gain, tried one by one."""
    steps, near = _world(simulated.smooth_risk)
    ours = fit_hazard(steps, near)
    recipe, blocks = ours.recipe, ours.blocks
    places, place = recipe.places(steps)
    design = Design(recipe.lines(steps, near.values), places, place, recipe.weak.middle + np.log(steps.span))
    event, ones = steps.event.astype(float), np.ones(len(steps))

    def marginal(factor, name):
        fixed = tuple(
            Block(b.name, b.start, b.stop, value * (factor if b.name == name else 1.0), False)
            for b, value in zip(blocks, ours.solution.precision, strict=True)
        )
        return solve(design, event, ones, fixed).log_marginal

    assert marginal(1.0, "season") == pytest.approx(ours.log_marginal, abs=1e-6)
    for name in ("season", "ground"):
        assert max(marginal(0.5, name), marginal(2.0, name)) < ours.log_marginal + 0.01


def test_marginal_likelihood_of_one_effect_by_quadrature():
    """One season effect with a known spread: the integral over it, by adding up, and Laplace's approximation."""
    events, vines = np.array([30.0]), np.array([200.0])
    design = Design(np.ones((1, 1)), np.empty((1, 0)), np.zeros(1, dtype=int), np.array([-2.0]))
    ours = solve(design, events, vines, (Block("season", 0, 1, 4.0, False),))
    grid = np.linspace(-4, 4, 8001)
    prior = np.exp(-0.5 * 4 * grid**2) * np.sqrt(4 / (2 * np.pi))
    height = np.array([log_likelihood(np.array([-2.0 + b]), events, vines) for b in grid])
    integral = np.log((np.exp(height - height.max()) * prior).sum() * (grid[1] - grid[0])) + height.max()
    assert ours.log_marginal == pytest.approx(integral, abs=0.01)


def test_it_finds_what_made_the_data():
    rng = np.random.default_rng(8)
    n, per = 2000, 8
    cell, season = np.repeat(np.arange(n), per), np.tile(np.arange(1, per + 1), n)
    along, across = (cell % 100) * 1.1, (cell // 100) * 2.4
    ground = 0.8 * np.sin(along / 18) * np.cos(across / 12)
    swing, crew = rng.normal(0, 0.5, per + 1), np.array([-0.5, 0.0, 0.5])
    x = rng.poisson(0.3, n * per).astype(float)
    code = rng.integers(0, 3, n)[cell]
    eta = -3.2 + swing[season] + crew[code] + ground + 0.6 * x
    steps = _lines(
        rng.random(n * per) < -np.expm1(-np.exp(eta)),
        season=season,
        cell=cell,
        along=along,
        across=across,
        shape=(20, 100),
        strata={"crew": code},
    )
    ours = fit_hazard(steps, Exposure(("beside",), x[:, None]))
    gamma, covariance = ours.gamma()
    assert abs(gamma[0] - 0.6) < 3 * np.sqrt(covariance[0, 0]) < 0.3
    assert 0.25 < ours.effect("season").spread < 0.9
    assert ours.effect("crew").labels == (0, 1, 2)
    assert ours.effect("crew").estimate[2] - ours.effect("crew").estimate[0] == pytest.approx(1.0, abs=0.3)
    logs = ours.log_hazards(steps, Exposure(("beside",), x[:, None]))
    assert np.corrcoef(logs - np.log(steps.span), eta)[0, 1] > 0.93


def test_posterior_limits_hold_their_level():
    """Of 60 made-up blocks, 95 % limits of gamma hold the truth in at least 51 (the binomial's 1 % point)."""
    held = 0
    for seed in range(60):
        rng = np.random.default_rng(seed)
        season = np.repeat(np.arange(1, 7), 300)
        x = rng.poisson(0.5, season.size).astype(float)
        eta = -3 + rng.normal(0, 0.4, 7)[season] + 0.4 * x
        steps = _lines(rng.random(season.size) < -np.expm1(-np.exp(eta)), season=season)
        gamma, covariance = fit_hazard(steps, Exposure(("x",), x[:, None]), surface=False).gamma()
        held += abs(gamma[0] - 0.4) < 1.96 * np.sqrt(covariance[0, 0])
    assert held >= 51


def test_limits_of_a_coming_season_hold_their_level():
    """Of 60 made-up blocks, 90 % limits of the coming season's new cases hold them in at least 47 (the binomial's 1 % point)."""
    held = 0
    for seed in range(60):
        rng = np.random.default_rng(900 + seed)
        season = np.repeat(np.arange(1, 9), 400)
        swing = rng.normal(0, 0.5, 10)
        event = rng.random(season.size) < -np.expm1(-np.exp(-3 + swing[season]))
        ours = fit_hazard(_lines(event, season=season), surface=False, trend=False)
        coming = _lines(np.zeros(1, dtype=bool), season=[9])
        drawn = rng.binomial(400, ours.chances(coming, draws=1000, rng=rng)[:, 0])
        low, high = np.quantile(drawn, [0.05, 0.95])
        held += low <= rng.binomial(400, -np.expm1(-np.exp(-3 + swing[9]))) <= high
    assert held >= 47


def test_no_event_and_nothing_but_events_are_safe():
    for event in (np.zeros(200, dtype=bool), np.ones(200, dtype=bool)):
        steps = _lines(event, season=np.repeat(np.arange(1, 5), 50), strata={"crew": np.arange(200) % 3})
        ours = fit_hazard(steps, Exposure(("x",), np.ones((200, 1))))
        assert ours.converged
        assert np.isfinite(ours.solution.beta).all()
        assert np.isfinite(ours.solution.covariance).all()
        chance = ours.chances(steps, Exposure(("x",), np.ones((200, 1))), draws=50, rng=1)
        assert (chance.mean() > 0.5) == event.all()


def test_a_season_and_a_stratum_without_events_do_not_run_off():
    season = np.repeat(np.arange(1, 6), 200)
    event = np.random.default_rng(2).random(1000) < 0.1
    event[season == 3] = False
    code = np.where(np.arange(1000) % 10 == 0, 1, 0)
    event[code == 1] = False
    ours = fit_hazard(_lines(event, season=season, strata={"batch": code}), surface=False)
    assert ours.converged
    assert np.abs(ours.effect("season").estimate).max() < 4
    assert ours.effect("season").estimate.argmin() == 2
    assert ours.effect("batch").estimate[1] < 0


def test_chances_are_not_capped_and_new_seasons_are_wider():
    rng = np.random.default_rng(4)
    season = np.repeat(np.arange(1, 9), 100)
    rate = np.exp(-1 + rng.normal(0, 0.6, 9))[season]
    steps = _lines(rng.random(800) < -np.expm1(-rate), season=season, strata={"crew": np.zeros(800, dtype=int)})
    ours = fit_hazard(steps, surface=False, trend=False)
    known = steps.take(np.array([0]))
    fresh = _lines([False], season=[20], strata={"crew": np.array([5])}, shape=steps.shape)
    logs = [np.log(-np.log1p(-ours.chances(one, draws=2000, rng=7)[:, 0])) for one in (known, fresh)]
    assert logs[1].std() > 1.5 * logs[0].std()
    long = _lines([False], season=[3], span=np.array([12]), strata={"crew": np.array([0])}, shape=steps.shape)
    assert ours.chances(long, draws=200, rng=1).mean() > 0.9


def test_a_chance_of_a_longer_interval_is_that_of_its_years():
    ours = fit_hazard(_lines(np.arange(400) % 10 == 0), surface=False)
    one, three = (1 - ours.chances(_lines([False], span=np.array([k])), draws=300, rng=2)[:, 0] for k in (1, 3))
    assert three == pytest.approx(one**3)


def test_an_effect_below_zero_can_be_held_at_zero():
    rng = np.random.default_rng(1)
    x = rng.integers(0, 3, (3000, 2)).astype(float)
    eta = -2 + x @ [-0.6, 0.4]
    steps = _lines(rng.random(3000) < -np.expm1(-np.exp(eta)))
    free = fit_hazard(steps, Exposure(("a", "b"), x), surface=False)
    assert free.gamma()[0][0] < 0
    held = fit_hazard(steps, Exposure(("a", "b"), x), surface=False, nonnegative=True)
    assert held.effect("exposure").labels == ("b",)
    assert held.gamma()[0][0] > 0


def test_lines_that_are_alike_are_one():
    rng = np.random.default_rng(9)
    event = rng.random(600) < 0.2
    steps = _lines(event, season=np.repeat(np.arange(1, 4), 200), cell=np.arange(600) % 5, shape=(1, 5))
    ours = fit_hazard(steps, surface=False)
    design = Design(
        ours.recipe.lines(steps, np.empty((600, 0))),
        np.empty((1, 0)),
        np.zeros(600, dtype=int),
        np.full(600, ours.recipe.weak.middle),
    )
    assert solve(design, event.astype(float), np.ones(600), ours.blocks).beta == pytest.approx(
        ours.solution.beta, abs=1e-5
    )


def test_a_surface_bends_only_as_far_as_asked():
    points = np.random.default_rng(0).uniform(0, 50, (300, 2))
    surface = make_surface(points, knots=40)
    assert surface.bending(points).mean(axis=0) == pytest.approx(0, abs=1e-9)
    columns = surface.bending(points)
    # A plane is not among the bending columns: fitting one takes far more bending than fitting a hill.
    hill = np.exp(-((points - 25) ** 2).sum(axis=1) / 200)
    hill = hill - hill.mean()
    full = np.column_stack([surface.scaled(points), columns])
    assert np.linalg.norm(full @ np.linalg.lstsq(full, hill, rcond=None)[0] - hill) < 0.1 * np.linalg.norm(hill)
    assert make_surface(np.zeros((5, 2))).columns == 0
    assert make_surface(np.column_stack([np.arange(20.0), np.zeros(20)])).columns == 0
    with pytest.raises(ValueError, match="1 point"):
        make_surface([[0.0, np.nan]])
    with pytest.raises(ValueError, match="points are"):
        make_surface(np.zeros((4, 3)))


def test_a_straight_line_costs_no_bending():
    x = np.linspace(0, 30, 60)
    curve = make_surface(x)
    fitted = np.linalg.lstsq(
        np.column_stack([np.ones(60), curve.scaled(x), curve.bending(x)]), 2 + 0.1 * x, rcond=None
    )[0]
    assert fitted[2:] == pytest.approx(0, abs=1e-6)


def test_wrong_arguments_name_the_value():
    steps = _lines([True, False], strata={"crew": np.array([1, 2])})
    with pytest.raises(ValueError, match="no stratum 'clone'"):
        fit_hazard(steps, strata=["clone"])
    with pytest.raises(ValueError, match="0 intervals"):
        fit_hazard(steps.take(np.zeros(2, dtype=bool)))
    with pytest.raises(ValueError, match="exposures of 3 lines"):
        fit_hazard(steps, Exposure(("x",), np.ones((3, 1))))
    ours = fit_hazard(steps, Exposure(("x",), np.ones((2, 1))))
    with pytest.raises(ValueError, match="fitted with exposures x"):
        ours.log_hazards(steps)
    with pytest.raises(ValueError, match="no effect 'clone'"):
        ours.effect("clone")


def test_a_large_block_is_fitted_whole():
    steps, near = _world(simulated.spreading, rows=24, stations=100, seasons=14)
    ours = fit_hazard(steps, near)
    assert ours.converged
    along = ours.effect("exposure").estimate[0]
    assert along > 3 * ours.effect("exposure").error[0]
