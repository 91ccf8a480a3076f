"""Coast-down with open windings: the motor's own drag from the bare rotor, and the air's from a flywheel."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from benchproof.methods.method import Change, Method
from benchproof.methods.records import Reduction
from benchproof.methods.spin.drag import coasts_of, drag_figures
from benchproof.methods.spin.drag_views import drag_views
from benchproof.methods.spin.logs import coast_run

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchproof.methods.bench import Bench
    from benchproof.methods.spin.coasting import CoastRun

METHOD: Final = Method(
    key="coast_down",
    version="1.0",
    title="Coast-down",
    order=61,
    summary=(
        "The shaft is left to itself with open windings. The bare rotor slows down by the motor's own drag: iron, "
        "bearings and air together. With a flywheel on, the flywheel's air comes on top; what the two differ by is its "
        "windage, which a flywheel run adds to its torque. The motor's own drag is never added there."
    ),
    equations=(
        "w = w0 - a0 t - a1 int w dt - a2 int w^2 dt, so |dw/dt| = a0 + a1 w + a2 w^2",
        "bare rotor: T_drag = J_rotor |dw/dt|",
        "with flywheel: T_windage = (J_flywheel + J_rotor) |dw/dt| - T_drag",
    ),
    sources=(
        "Newton's second law for rotation (retardation test of electrical machines)",
        "Schlichting: Boundary-Layer Theory (drag of a rotating disc) [from memory]",
    ),
    history=(Change("1.0", "First version."),),
    cautions=("flywheel", "arming", "guards", "eyes_and_ears"),
)


def gather(test: Any, bench: Bench) -> CoastRun:
    """Return a coast-down of the campaign as typed input.

    Raises
    ------
    InputError
        If the log or the rig cannot give what the test needs.
    MethodError
        If the log holds no speed.
    """
    return coast_run(test, bench)


def reduce(inputs: Sequence[CoastRun], bench: Bench) -> Reduction:
    """Return the drag of each sample, and the windage of the flywheels.

    Parameters
    ----------
    inputs : sequence of CoastRun
        The coast-downs that count.
    bench : Bench
        The lab's speeds, coverage and trials; runs without load and inertias of the campaign.

    Returns
    -------
    Reduction
        ``drag_torque`` at speed for samples whose campaign has no run without load; the drag as a curve; tables of
        coast-downs and of drag beside that of runs without load.
    """
    coasts, remarks = coasts_of(inputs, bench)
    figures, more = drag_figures(coasts, bench, METHOD.label)
    charts, tables, beside = drag_views(coasts, bench)
    return Reduction(figures, charts, tables, (*remarks, *more, *beside))
