"""Static thrust sweep of a motor with a propeller: plateaus, curves, figures at operating points."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from benchproof.campaign.models.base import required
from benchproof.methods.method import Change, Choice, Method
from benchproof.methods.records import Reduction
from benchproof.methods.sweep.figures import figures_of
from benchproof.methods.sweep.points import CHANNELS, SweepRun
from benchproof.methods.sweep.run import reduce_run
from benchproof.methods.sweep.views import views

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchproof.methods.bench import Bench

SETTLE: Final = Choice("settle", "0.5 s", "least time left out after a throttle command", dimension="time")

METHOD: Final = Method(
    key="thrust_sweep",
    version="1.0",
    title="Thrust sweep",
    order=50,
    summary=(
        "The motor turns a propeller at rest while the throttle goes up and down in steps. Each step counts from the "
        "moment speed and thrust have settled. A smooth curve through the steps gives every figure at the stated "
        "operating points, and nothing is read beyond the outermost steps."
    ),
    equations=(
        "P = mean(U I) of simultaneous readings",
        "[T; Q] = M^-1 [T; Q] as shown, where the rig's file brings loadings of both cells",
        "ln(figure) = s(ln(axis)) + scatter, s a natural cubic spline, its stiffness from the data",
        "C_T = T / (rho n^2 D^4),  C_P = 2 pi n Q / (rho n^3 D^5),  n in revolutions a second",
        "FM = T^1.5 / (sqrt(2 rho A) P_shaft),  A = pi D^2 / 4",
        (
            "to reference air: T x (rho_0/rho)^0.32 at constant electrical power, (rho_0/rho) at constant speed, "
            "(rho_0/rho)^0.80 at constant throttle and supply voltage"
        ),
    ),
    sources=(
        "Deters, Ananda, Selig: AIAA 2014-2151, equations 3 and 4 (coefficients)",
        "JCGM 101:2008 (propagation by trials)",
        "Picard et al.: Metrologia 45 (2008) 149 (density of moist air)",
        "Wahba: Annals of Statistics 13 (1985) 1378 (smoothing by maximum likelihood) [from memory]",
        "Momentum theory of the actuator disc, textbook knowledge [from memory]",
    ),
    history=(Change("1.0", "First version."),),
    choices=(
        Choice(
            "air",
            "reference",
            "refer figures to the lab's reference air, or leave them as tested",
            ("reference", "as_tested"),
        ),
        SETTLE,
    ),
    cautions=("propeller", "arming", "guards", "eyes_and_ears", "high_current", "lithium"),
)


def gather(test: Any, bench: Bench) -> SweepRun:
    """Return a thrust sweep of the campaign as typed input.

    Raises
    ------
    InputError
        If the log or the rig cannot give what the test needs.
    """
    log = bench.read_log(test)
    propeller = bench.rig.propellers[test.propeller]
    channels = {name: log.channels[name] for name in CHANNELS if name in log.channels}
    density = bench.air_density(test)
    referred = bench.choice("air", "reference") == "reference" and density is not None
    return SweepRun(
        sample=test.sample,
        propeller=test.propeller,
        diameter=propeller.diameter.si,
        reseat=propeller.reseat.si if propeller.reseat is not None else 0.0,
        time=log.channels["time"],
        throttle=log.channels["throttle"],
        channels=channels,
        instruments={name: bench.channel_instrument(name, test) for name in channels},
        occasion=bench.occasion(test),
        density=density,
        reference_density=bench.reference_density() if referred else None,
        pole_pairs=required(bench.campaign.specimen).pole_pairs or 0,
        settle=bench.quantity_choice(SETTLE),
        cross_talk=bench.cross_talk(test),
    )


def reduce(inputs: Sequence[SweepRun], bench: Bench) -> Reduction:
    """Return the figures of all sweeps of a campaign.

    Parameters
    ----------
    inputs : sequence of SweepRun
        The runs that count.
    bench : Bench
        Operating points, coverage and trials.

    Returns
    -------
    Reduction
        Figures for each sample, curves, the table of plateaus, remarks.
    """
    runs = [reduce_run(run, bench.trials) for run in inputs]
    figures, remarks = figures_of(runs, bench, METHOD.label)
    charts, tables = views(runs, bench)
    remarks = (*(remark for run in runs for remark in run.remarks), *remarks)
    return Reduction(figures, charts, tables, remarks)
