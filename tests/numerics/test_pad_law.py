"""The pad's force law: slopes, energies, loops."""

import math

import numpy as np
import pytest
from scipy.integrate import quad

from quintain.numerics._pad_kernel import elastic_kernel, energy_kernel, pack_pad
from quintain.numerics.pad_law import (
    INVENTED_PADS,
    PadLaw,
    elastic_energy,
    elastic_force,
    loop_force,
    pad_force,
)

ODD = PadLaw(3e5, 1.37, 0.04, 5.5, rate_loss=0.05, friction_loss=0.3)


@pytest.mark.parametrize("law", [*INVENTED_PADS.values(), ODD, PadLaw(1e4), PadLaw(1e6, 2.0, 0.02, 2.0)])
def test_energy_is_the_integral_of_force(law):
    for x in (1e-6, 0.01, 0.04):
        work, _ = quad(lambda u: float(elastic_force(law, u)), 0, x, epsabs=0, epsrel=1e-11)
        assert float(elastic_energy(law, x)) == pytest.approx(work, rel=1e-9)


@pytest.mark.parametrize("law", [*INVENTED_PADS.values(), ODD])
def test_kernels_agree_with_the_arrays(law):
    packed = pack_pad(law)
    for x in (1e-5, 0.013, 0.05):
        force, slope = elastic_kernel(x, packed)
        assert force == pytest.approx(float(elastic_force(law, x)), rel=1e-12)
        assert energy_kernel(x, packed) == pytest.approx(float(elastic_energy(law, x)), rel=1e-12)
        step = 1e-6 * x
        secant = (float(elastic_force(law, x + step)) - float(elastic_force(law, x - step))) / (2 * step)
        # Rounding of a difference of 1e-6 leaves 1e-10 of it.
        assert slope == pytest.approx(secant, rel=1e-8)
        assert elastic_kernel(-x, packed) == (-force, slope)
        assert elastic_kernel.py_func(x, packed)[0] == pytest.approx(force, rel=1e-14)
    assert energy_kernel(-0.01, packed) == 0.0


def test_a_pad_does_not_pull():
    assert float(pad_force(ODD, -0.01, -3.0)) == 0.0
    assert float(pad_force(PadLaw(1e4, dashpot=1e3), 0.001, -5.0)) == 0.0
    assert float(pad_force(PadLaw(1e4, branch_stiffness=1e5), 0.001, 0.0, branch=-0.01)) == 0.0


@pytest.mark.parametrize("law", [*INVENTED_PADS.values(), ODD])
def test_a_loop_only_loses(law):
    time = np.arange(4001) / 100e3
    x = 0.02 * np.sin(np.pi * time / 0.04) ** 2
    force = loop_force(law, x, 100e3)
    # Work in minus work out of a closed loop; the trapezoid rule at 100 kHz errs by far less than 1 %.
    assert np.trapezoid(force, x) > 0.01 * float(elastic_energy(law, 0.02))


def test_lossless_loop_closes():
    x = 0.02 * np.sin(np.linspace(0, np.pi, 2001)) ** 2
    force = loop_force(PadLaw(8e5, 1.5, 0.03), x, 1e5)
    assert np.trapezoid(force, x) == pytest.approx(0.0, abs=1e-9)


def test_branch_creeps_with_its_own_time():
    # Step held: the branch's share decays as exp(-t / tau); Maxwell's element, any text.
    law = PadLaw(1.0, branch_stiffness=1000.0, branch_time=0.05)
    x = np.concatenate([np.linspace(0, 0.01, 11), np.full(2000, 0.01)])
    force = loop_force(law, x, 10e3) - elastic_force(law, x)
    assert force[1010] / force[10] == pytest.approx(math.exp(-0.1 / 0.05), rel=1e-9)


def test_loop_needs_a_path():
    with pytest.raises(ValueError, match="at least 2 samples"):
        loop_force(ODD, [0.0], 1e3)


@pytest.mark.parametrize(
    ("constants", "message"),
    [
        ({"stiffness": 0.0}, "stiffness of a pad must be above 0"),
        ({"stiffness": math.nan}, "stiffness of a pad must be a number"),
        ({"stiffness": 1.0, "exponent": 0.8}, "exponent of a pad must be at least 1, got 0.8"),
        ({"stiffness": 1.0, "friction_loss": 1.0}, "friction_loss of a pad must be below 1"),
        ({"stiffness": 1.0, "rate_loss": -0.1}, "rate_loss of a pad must be a number, 0 or above, got -0.1"),
        ({"stiffness": 1.0, "branch_time": 0.0}, "branch_time of a pad must be above 0"),
        ({"stiffness": 1.0, "dashpot": math.inf}, "dashpot of a pad"),
    ],
)
def test_senseless_constants(constants, message):
    with pytest.raises(ValueError, match=message):
        PadLaw(**constants)
