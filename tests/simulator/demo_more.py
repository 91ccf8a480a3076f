"""The demo's comparisons, and the two campaigns they need beside the four motors: a later batch and a design pair.

Everything here is invented, like the rest of the demo lab.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from simulator.campaigns import Spread, SweepPlan
from simulator.demo import PLAIN, STORIES, Run, Story, bench_of, campaign_files, motor
from simulator.physics import Air

if TYPE_CHECKING:
    from simulator.campaigns import Bench
    from simulator.instruments import Rig

SHORT = SweepPlan(levels=(0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0), dwell=3.0, interval=0.04)

_CUSHIONED = """\
kind: motor
campaign: 2026-06-tansy-2207-cushioned
title: Tansy 2207 with a cushioned bearing
dates: {received: 2026-06-01, tested: 2026-06-09}
rig: hawkrigg-stand
drive: drive-1
specimen:
  maker: Quenby Coilworks (invented)
  model: Tansy 2207 C
  label: {kv: {value: "1850 rpm/V", tolerance: "5 %"}, mass: "34 g", cells: 6}
  price: {amount: 25.50, currency: EUR, channel: retail, seen: 2026-05-28, shipping: 3.90}
  source: bought
  pole_pairs: 7
  connection: wye
  design: {bell: one-piece, conductor: copper, magnets: "N52 arc", bearing_cushion: present}
  samples: [{id: C1, batch: "2026-05"}, {id: C2, batch: "2026-05"}]
tests:
  - {test: inspection, sample: C1, about: bearing, finding: "A ring of soft rubber under the lower bearing; everything else as on the plain Tansy."}
  - {test: weighing, date: 2026-06-08, sample: C1, part: motor, readings: [@motor_C1@]}
  - {test: weighing, date: 2026-06-08, sample: C1, part: bell, readings: [@bell_C1@]}
  - {test: weighing, date: 2026-06-08, sample: C2, part: motor, readings: [@motor_C2@]}
  - {test: weighing, date: 2026-06-08, sample: C2, part: bell, readings: [@bell_C2@]}
  - {test: thrust_sweep, sample: C1, log: raw/c1-sweep-1.csv, propeller: oar-51x45, air: @c1_sweep_1@}
  - {test: thrust_sweep, sample: C2, log: raw/c2-sweep-1.csv, propeller: oar-51x45, air: @c2_sweep_1@}
claims:
  - {say: "Makes the plain Tansy's thrust at 200 W, to 3 %", quantity: thrust, at: {electrical_power: "200 W"}, relation: equal, within: "3 %", than: 2026-03-tansy-2207}
  - {say: "Weighs more than the plain Tansy", quantity: mass, relation: more, than: 2026-03-tansy-2207, scope: samples}
text: |
  **The plain Tansy with rubber under one bearing.** It weighs {{ quote("mass") }}, {{ quote("mass", than="2026-03-tansy-2207") }} than
  the plain one. At 200 W it makes {{ quote("thrust", electrical_power="200 W") }}; against the plain one that is
  {{ quote("thrust", electrical_power="200 W", than="2026-03-tansy-2207") }}. If there is a cost in thrust, it is smaller than we can see.
"""

_BATCH = """\
kind: motor
campaign: 2026-07-tansy-2207-batch-2
title: Tansy 2207, the June batch
dates: {received: 2026-07-03, tested: 2026-07-10}
rig: hawkrigg-stand
drive: drive-1
specimen:
  maker: Quenby Coilworks (invented)
  model: Tansy 2207
  label: {kv: {value: "1850 rpm/V", tolerance: "5 %"}, mass: "33.5 g", cells: 6}
  price: {amount: 23.50, currency: EUR, channel: retail, seen: 2026-07-01, shipping: 3.90}
  source: bought
  pole_pairs: 7
  connection: wye
  design: {bell: one-piece, conductor: copper, magnets: "N52 arc", bearing_cushion: absent}
  samples: [{id: T3, batch: "2026-06"}, {id: T4, batch: "2026-06"}, {id: T1, batch: "2026-01", golden: true}]
tests:
  - {test: inspection, sample: T3, about: bell, finding: "The bell's rim is thicker than on the January pieces; nobody told us."}
  - {test: weighing, date: 2026-07-09, sample: T3, part: motor, readings: [@motor_T3@]}
  - {test: weighing, date: 2026-07-09, sample: T3, part: bell, readings: [@bell_T3@]}
  - {test: weighing, date: 2026-07-09, sample: T4, part: motor, readings: [@motor_T4@]}
  - {test: weighing, date: 2026-07-09, sample: T4, part: bell, readings: [@bell_T4@]}
  - {test: weighing, date: 2026-07-09, sample: T1, part: motor, readings: [@motor_T1@]}
  - {test: weighing, date: 2026-07-09, sample: T1, part: bell, readings: [@bell_T1@]}
  - {test: thrust_sweep, sample: T3, log: raw/t3-sweep-1.csv, propeller: oar-51x45, air: @t3_sweep_1@}
  - {test: thrust_sweep, sample: T1, log: raw/t1-sweep-3.csv, propeller: oar-51x45, air: @t1_sweep_3@}
  - {test: thrust_sweep, sample: T4, log: raw/t4-sweep-1.csv, propeller: oar-51x45, air: @t4_sweep_1@}
claims:
  - {say: "Still weighs what the January batch did", quantity: mass, relation: equal, within: "1 %", than: 2026-03-tansy-2207, scope: samples}
  - {say: "Makes the January batch's thrust at 200 W to 3 %", quantity: thrust, at: {electrical_power: "200 W"}, relation: equal, within: "3 %", than: 2026-03-tansy-2207}
text: |
  **Same thrust, more metal.** Two pieces of the June batch, and beside them T1 from January, which has lain in a drawer since. The new
  ones weigh {{ quote("mass") }}, {{ quote("mass", than="2026-03-tansy-2207") }} than the January pieces; T1 weighs what it always did. Their
  thrust at 200 W is {{ quote("thrust", electrical_power="200 W") }}.
"""

_FOUR = """\
kind: comparison
campaign: 2026-06-four-motors
title: Four motors on one propeller
campaigns: [2026-03-tansy-2207, 2026-03-burdock-2208, 2026-04-teasel-2206, 2026-05-bistort-2207]
airframes:
  quad-5in: {mass: "520 g", motors: 4, pack_energy: "24 W*h", pack_voltage: "18.5 V", hover_share: "85 %", full_throttle_share: "15 %", needs: {thrust_to_weight: 8.5, flight_time: "150 s"}}
text: |
  **For most people, the Tansy.** At 200 W it makes {{ quote("thrust", of="2026-03-tansy-2207", electrical_power="200 W") }}, and that is
  {{ quote("thrust", of="2026-03-tansy-2207", electrical_power="200 W", than="2026-04-teasel-2206") }} than the Teasel makes. The Teasel is the
  light one and the cheap one; what it saves in weight, it takes back in watts.

  The Burdock weighs {{ quote("mass", of="2026-03-burdock-2208", than="2026-03-tansy-2207") }} than the Tansy and needs
  {{ quote("electrical_power", of="2026-03-burdock-2208", thrust="8 N", than="2026-03-tansy-2207") }} power to hold 8 N. The Bistort's samples were
  supplied to us, the only ones that were; at 400 W it makes
  {{ quote("thrust", of="2026-05-bistort-2207", electrical_power="400 W", than="2026-03-tansy-2207") }} thrust than the Tansy.

  All four turned the same propeller on the same stand with the same drive, so most of what our instruments may get wrong is wrong for all
  of them alike, and cancels below.
"""

_PAIR = """\
kind: comparison
campaign: 2026-06-bearing-cushion
title: What a cushioned bearing costs
campaigns: [2026-03-tansy-2207, 2026-06-tansy-2207-cushioned]
text: |
  **A little weight, and no thrust that we could find.** Same maker, same winding, same magnets, same bell: the two Tansys differ by the rubber
  under one bearing. The cushioned one weighs {{ quote("mass", of="2026-06-tansy-2207-cushioned", than="2026-03-tansy-2207") }}.
"""

_RETEST = """\
kind: comparison
campaign: 2026-07-tansy-retest
title: Is the June Tansy still the January Tansy?
campaigns: [2026-03-tansy-2207, 2026-07-tansy-2207-batch-2]
text: |
  **Heavier, and otherwise the same.** The June pieces weigh {{ quote("mass", of="2026-07-tansy-2207-batch-2", than="2026-03-tansy-2207") }} than
  those of January. T1, kept from January, stood on the bench both times, so what changed is the motor and not the balance. Where no drift shows,
  the two batches are merged.
"""

MORE = (
    Story(
        "2026-06-tansy-2207-cushioned",
        motor(1850, 1.75e5, 0.80, 33.95, 15.9),
        Spread(),
        ("C1", "C2"),
        (
            Run("C1", "c1-sweep-1", "2026-06-09", Air(22.1, 100910.0, 0.51), plan=SHORT),
            Run("C2", "c2-sweep-1", "2026-06-09", Air(22.4, 100890.0, 0.51), plan=SHORT),
        ),
        PLAIN,
        "2026-06-08",
        {},
        words=_CUSHIONED,
    ),
    Story(
        "2026-07-tansy-2207-batch-2",
        motor(1850, 1.75e5, 0.80, 34.4, 16.7),
        Spread(),
        ("T3", "T4", "T1"),
        (
            Run("T3", "t3-sweep-1", "2026-07-10", Air(24.6, 100250.0, 0.55), plan=SHORT),
            Run("T1", "t1-sweep-3", "2026-07-10", Air(24.8, 100240.0, 0.55), plan=SHORT),
            Run("T4", "t4-sweep-1", "2026-07-10", Air(24.9, 100240.0, 0.54), plan=SHORT),
        ),
        PLAIN,
        "2026-07-09",
        {},
        words=_BATCH,
    ),
)
COMPARISONS = {
    "2026-06-four-motors": _FOUR,
    "2026-06-bearing-cushion": _PAIR,
    "2026-07-tansy-retest": _RETEST,
}


def more_files(made: Rig) -> dict[str, bytes]:
    """Return the files of the later campaigns and of the comparisons."""
    found = {f"{name}/campaign.yaml": text.encode() for name, text in COMPARISONS.items()}
    for story in MORE:
        found |= campaign_files(_with_golden(bench_of(story, made), made), story)
    return found


def _with_golden(bench: Bench, made: Rig) -> Bench:
    """Return a bench whose T1 is the very piece of January."""
    if "T1" not in bench.samples:
        return bench
    january = bench_of(next(story for story in STORIES if story.campaign == "2026-03-tansy-2207"), made)
    return replace(bench, samples={**bench.samples, "T1": january.samples["T1"]})
