"""Heating at a held load: thermal resistance, slow time constant, and the current a winding bears for good."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from benchproof.campaign.units import read_measured
from benchproof.errors import MethodError
from benchproof.methods import no_load, winding_resistance
from benchproof.methods.constants.repeats import figure_of, figures_from, named
from benchproof.methods.method import Change, Method
from benchproof.methods.records import Reduction
from benchproof.methods.soak.figures import figures_of, reduce_run
from benchproof.methods.soak.run import CHANNELS, Constants, SoakRun, load_of
from benchproof.methods.soak.views import views
from benchproof.nomenclature import RPM

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchproof.methods.bench import Bench

METHOD: Final = Method(
    key="heat_soak",
    version="1.0",
    title="Heat soak",
    order=70,
    summary=(
        "The motor is held at one load until it is as warm as it gets. What it loses as heat is copper loss by the "
        "winding's own current, which is not the supply's, and its drag; the drive's losses warm the drive. Two "
        "thermal nodes are fitted to the rise of the winding over the air. A run shorter than three slow time "
        "constants, or one that the nodes do not describe, gives no figure. The continuous current is the winding's, "
        "which is the supply's at full duty; it holds for this airflow, this speed and the air of the run."
    ),
    equations=(
        "U I = k w (1 - s i) i + (R(t) + 2 R_on) i^2 + 4 c D (1 - D) U i gives the winding's current i",
        "P = i^2 R(t) + T_0 w,  R(t) = R_20 (234.5 + t) / 254.5",
        "rise = R_1 (P * h_1) + R_2 (P * h_2),  h = exp(-t/tau) / tau",
        "R_th = R_1 + R_2,  I_cont = sqrt(((t_max - t_air) / R_th - T_0 w) / R(t_max))",
    ),
    sources=(
        "Lumped thermal model of two nodes, textbook knowledge [from memory]",
        "IEC 60228 (resistance of annealed copper over temperature, 234.5) [secondary source]",
        "JCGM 101:2008 (propagation by trials)",
    ),
    history=(Change("1.0", "First version."),),
    cautions=("propeller", "arming", "guards", "eyes_and_ears", "hot_parts", "high_current", "lithium"),
)


def gather(test: Any, bench: Bench) -> SoakRun:
    """Return a heat soak as typed input, with what other tests of its sample came to.

    Raises
    ------
    InputError
        If the log or the rig cannot give what the test needs.
    MethodError
        If the log lacks a channel, or holds no load.
    """
    log, occasion = bench.read_log(test), bench.occasion(test)
    if missing := [name for name in CHANNELS if name not in log.channels]:
        message = f"the log's layout maps no {', no '.join(missing)}; add it to logs: heat_soak: of the rig file"
        raise MethodError(occasion.run, message)
    channels = {name: log.channels[name] for name in CHANNELS}
    instruments = {name: bench.channel_instrument(name, test) for name in CHANNELS}
    rows = load_of(channels["current"], occasion.run)
    speed = float(np.mean(channels["speed"][rows]))
    drive = bench.rig.drives[bench.campaign.drive] if bench.campaign.drive else None
    stated = drive.on_resistance if drive is not None else None
    return SoakRun(
        sample=test.sample,
        airflow=test.airflow,
        propeller=test.propeller or "",
        limit=test.limit.si if test.limit is not None else None,
        limit_words=test.limit.text if test.limit is not None else "",
        time=log.channels["time"],
        channels=channels,
        instruments=instruments,
        occasion=occasion,
        constants=_constants(test.sample, speed, bench),
        drive=bench.campaign.drive or "",
        on_resistance=2 * stated.si if stated is not None else 0.0,
    )


def _constants(sample: str, speed: float, bench: Bench) -> Constants:
    """Return resistance, torque constant and the drag at the speed of the soak, as the other tests publish them.

    The test without load is asked as if the lab quoted that very speed.
    """
    words = f"{speed / RPM:.4f} rpm"
    points = bench.lab.operating_points.model_copy(update={"speed": (read_measured(words, "speed"),)})
    there = replace(bench, lab=bench.lab.model_copy(update={"operating_points": points}))
    resistance = figure_of(winding_resistance, "winding_resistance_20c", sample, bench)
    unloaded = figures_from(no_load, sample, there)
    constant, drag = named(unloaded, "kt"), named(unloaded, "drag_torque", {"speed": words})
    return Constants(*(each.quantity if each is not None else None for each in (resistance, constant, drag)))


def reduce(inputs: Sequence[SoakRun], bench: Bench) -> Reduction:
    """Return thermal resistance, slow time constant and continuous current of every sample.

    Parameters
    ----------
    inputs : sequence of SoakRun
        The soaks that count.
    bench : Bench
        Trials and coverage.

    Returns
    -------
    Reduction
        The figures; heating with its fit, what is left over, losses; tables.

    Raises
    ------
    MethodError
        If a log holds no load.
    """
    runs = [reduce_run(run, bench.trials) for run in inputs]
    found, remarks = figures_of(runs, METHOD.label)
    charts, tables = views(runs, bench.lab.coverage)
    return Reduction(found, charts, tables, (*(r for run in runs for r in run.remarks), *remarks))
