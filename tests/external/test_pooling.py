"""Pooling of takes against published tables and against statsmodels."""

from __future__ import annotations

import numpy as np
import pytest

from bite.stats.pooling import Spread, pool


@pytest.fixture
def kacker(reference):
    return reference("kacker_2004")


@pytest.fixture
def bcg(reference):
    table = reference("bcg").array("table")
    ill, well, control_ill, control_well = table.T
    values = np.log(ill / (ill + well) / (control_ill / (control_ill + control_well)))
    variances = 1 / ill - 1 / (ill + well) + 1 / control_ill - 1 / (control_ill + control_well)
    return values, np.sqrt(variances)


def test_kacker(kacker) -> None:
    y, sd = kacker.array("values"), np.sqrt(kacker.array("variances"))
    fixed = pool(y, sd, spread=Spread.FIXED)
    laird = pool(y, sd, spread=Spread.DERSIMONIAN_LAIRD)
    paule = pool(y, sd, spread=Spread.PAULE_MANDEL)
    for found, name in ((fixed, "fixed"), (laird, "dersimonian_laird"), (paule, "paule_mandel")):
        assert found.mean == pytest.approx(kacker.value(f"{name}_mean"), abs=1e-9)
        assert found.se == pytest.approx(kacker.value(f"{name}_se"), abs=1e-9)
        assert (found.q, found.dof) == (pytest.approx(kacker.value("q"), abs=1e-9), 8)
        assert found.q_p == pytest.approx(kacker.value("q_p"), rel=1e-9)
        assert found.i2 == pytest.approx(kacker.value("i2"), abs=1e-9)
        assert found.h2 == pytest.approx(kacker.value("h2"), abs=1e-9)
    assert fixed.tau == 0.0
    assert laird.tau**2 == pytest.approx(kacker.value("dersimonian_laird_tau2"), abs=1e-9)
    assert laird.tau == pytest.approx(kacker.value("dersimonian_laird_tau_printed"), abs=1e-3)
    assert paule.tau**2 == pytest.approx(kacker.value("paule_mandel_tau2"), abs=1e-9)
    np.testing.assert_allclose(laird.interval, kacker.value("dersimonian_laird_interval"), atol=1e-9)


def test_kacker_hartung_knapp(kacker) -> None:
    y, sd = kacker.array("values"), np.sqrt(kacker.array("variances"))
    found = pool(y, sd, spread=Spread.DERSIMONIAN_LAIRD, hartung_knapp=True)
    assert found.se == pytest.approx(kacker.value("hartung_knapp_se"), abs=1e-9)
    np.testing.assert_allclose(found.interval, kacker.value("hartung_knapp_interval"), atol=5.1e-8)


def test_bcg(reference, bcg) -> None:
    table = reference("bcg")
    found = pool(*bcg, spread=Spread.DERSIMONIAN_LAIRD)
    assert found.q == pytest.approx(table.value("q"), abs=5e-5)
    assert found.tau**2 == pytest.approx(table.value("dersimonian_laird_tau2_printed"), abs=5e-5)
    assert found.tau**2 == pytest.approx(table.value("dersimonian_laird_tau2"), abs=1e-9)
    assert found.mean == pytest.approx(table.value("dersimonian_laird_mean"), abs=1e-9)
    assert found.se == pytest.approx(table.value("dersimonian_laird_se"), abs=1e-9)
    np.testing.assert_allclose(found.interval, table.value("dersimonian_laird_interval"), atol=1e-9)
    scatter = pool(*bcg, spread=Spread.DERSIMONIAN_LAIRD, hartung_knapp=True)
    np.testing.assert_allclose(scatter.interval, table.value("hartung_knapp_interval"), atol=5.1e-7)


def test_paule_mandel_solves_its_own_equation(bcg) -> None:
    y, sd = bcg
    found = pool(y, sd, spread=Spread.PAULE_MANDEL)
    scatter = ((y - found.mean) ** 2 / (sd**2 + found.tau**2)).sum()
    assert scatter == pytest.approx(12.0, abs=1e-9)


@pytest.mark.filterwarnings("ignore:invalid value:RuntimeWarning")  # the oracle, at tau^2 < 0
@pytest.mark.parametrize("seed", range(8))
def test_against_statsmodels(seed) -> None:
    meta = pytest.importorskip("statsmodels.stats.meta_analysis", reason="statsmodels is the oracle here")
    rng = np.random.default_rng(seed)
    k = int(rng.integers(2, 15))
    sd = rng.uniform(0.05, 0.6, k)
    y = rng.normal(1.0, 0.4 * (seed % 3), k) + rng.normal(0, sd)
    # its Paule-Mandel stops at 1e-5 by default
    for spread, method, near in (
        (Spread.DERSIMONIAN_LAIRD, "dl", 1e-9),
        (Spread.PAULE_MANDEL, "pm", 2e-4),
    ):
        oracle = meta.combine_effects(y, sd**2, method_re=method)
        plain, scatter = pool(y, sd, spread=spread), pool(y, sd, spread=spread, hartung_knapp=True)
        assert plain.q == pytest.approx(float(oracle.q), rel=1e-6)
        assert plain.tau**2 == pytest.approx(max(0.0, float(oracle.tau2)), abs=near)
        if oracle.tau2 >= 0:
            assert plain.mean == pytest.approx(float(oracle.mean_effect_re), abs=near)
            assert plain.se == pytest.approx(float(oracle.sd_eff_w_re), abs=near)
            assert scatter.se == pytest.approx(float(oracle.sd_eff_w_re_hksj), abs=near)
    fixed = pool(y, sd, spread=Spread.FIXED)
    assert fixed.mean == pytest.approx(float(oracle.mean_effect_fe), abs=1e-12)
    assert fixed.se == pytest.approx(float(oracle.sd_eff_w_fe), abs=1e-12)


def test_two_known_gaussians(reference) -> None:
    constants = reference("robust_constants")
    found = pool(np.array([3.0, 2.0]), np.array([1.0, 0.5]), spread=Spread.FIXED)
    np.testing.assert_allclose((found.mean, found.se), constants.value("fused"), atol=1e-12)
    found = pool(np.array([2.8, 4.0]), np.array([1.7, 0.5]), spread=Spread.FIXED)
    np.testing.assert_allclose((found.mean, found.se), constants.value("prior_and_data"), atol=5.1e-7)
