"""The demo lab's files as a lab would write them; ``@name@`` stands where the simulator's readings go.

Lab, makers, models, people and figures are invented.
"""

from __future__ import annotations

LAB = """\
# The demo lab. Everything here is invented: the lab, the motors, their makers, the readings and the logs.
lab:
  name: Hawkrigg Rotor Bench
  currency: EUR
  disclosure: >-
    This lab does not exist. Its motors and their makers are invented, and every reading and log was written by a
    simulator, to show what a report looks like. Nothing here says anything about a real product.
  data_license: CC0-1.0
  invented: true
operating_points:
  electrical_power: ["100 W", "200 W", "400 W"]
  thrust: ["5 N", "8 N"]
  speed: ["10000 rpm", "20000 rpm"]
  voltage: ["10 V"]
  throttle: ["50 %", "100 %"]
reference_air: {temperature: "15 degC", pressure: "1013.25 hPa", humidity: "0 %"}
coverage: 0.95
seed: 20260101
trials: 20000
"""

RIG = """\
# Side-on stand with a thrust cell, and a torque cell behind the motor for runs that log it. Invented, like the lab.
rig: hawkrigg-stand
location: {latitude: "54.4 deg", elevation: "190 m"}
instruments:
  thrust_cell:
    measures: thrust
    full_scale: "30 N"
    calibrations:
      - {file: calibration/thrust-2025-08.csv, dated: 2025-08-14, expires: 2026-02-14, applied_unit: kg, indicated_unit: gf}
      - {file: calibration/thrust-2026-02.csv, dated: 2026-02-20, expires: 2026-08-20, applied_unit: kg, indicated_unit: gf}
    errors:
      - {scale: "0.15 %"}
      - {offset: "0.02 N", per: run}
      - {linearity: "0.008 N"}
      - {resolution: "0.1 gf"}
      - {repeatability: "0.01 N"}
  torque_cell:
    measures: torque
    full_scale: "0.5 N*m"
    calibrations:
      - {file: calibration/torque-2026-02.csv, dated: 2026-02-20, expires: 2026-08-20, applied_unit: "N*m", indicated_unit: "N*m"}
    errors:
      - {scale: "0.4 %"}
      - {offset: "0.0005 N*m", per: run}
      - {resolution: "0.00001 N*m"}
      - {repeatability: "0.0004 N*m"}
  supply_volts: {measures: voltage, errors: [{scale: "0.05 %"}, {offset: "5 mV"}]}
  supply_amps: {measures: current, errors: [{scale: "0.4 %"}, {offset: "20 mA"}]}
  milliohmmeter: {measures: resistance, errors: [{scale: "0.2 %"}, {offset: "0.02 mohm"}, {repeatability: "0.02 mohm"}]}
  balance: {measures: mass, errors: [{scale: "0.01 %"}, {resolution: "0.01 g"}, {repeatability: "0.006 g"}]}
  tachometer: {measures: speed, errors: [{scale: "20 ppm"}], lag: "2 ms"}
  thermometer: {measures: temperature, errors: [{offset: "0.5 degC"}]}
  barometer: {measures: pressure, errors: [{offset: "1 hPa"}]}
  hygrometer: {measures: humidity, errors: [{offset: "3 %"}]}
  caliper: {measures: length, errors: [{offset: "0.03 mm"}, {resolution: "0.01 mm"}]}
  accelerometer: {measures: acceleration, errors: [{scale: "3 %", shape: normal, k: 2}]}
flywheels:
  disc-60: {inertia: {value: "5.0e-5 kg*m**2", standard: "0.3 %"}, diameter: "60 mm", thickness: "5 mm", material: steel, rated_speed: "45000 rpm"}
propellers:
  oar-51x45: {serial: P3, diameter: "129.5 mm", blades: 3, pitch: "114 mm", reseat: "0.4 %"}
  oar-49x43: {serial: P8, diameter: "124.5 mm", blades: 3, pitch: "109 mm", reseat: "0.4 %"}
drives:
  drive-1: {model: "Slatewing 60 (invented)", firmware: "2.1", timing: "16 deg", pwm: "48 kHz", on_resistance: "2 mohm"}
logs:
  thrust_sweep:
    time: {column: "t_ms", unit: ms}
    throttle: {column: "throttle", unit: "%"}
    thrust: {column: "thrust_gf", unit: gf, instrument: thrust_cell}
    voltage: {column: "volts", unit: V, instrument: supply_volts}
    current: {column: "amps", unit: A, instrument: supply_amps}
    speed: {column: "erpm", unit: rpm, instrument: tachometer, divide_by: pole_pairs}
  flywheel_run: &electrical
    time: {column: "t_ms", unit: ms}
    throttle: {column: "throttle", unit: "%"}
    voltage: {column: "volts", unit: V, instrument: supply_volts}
    current: {column: "amps", unit: A, instrument: supply_amps}
    speed: {column: "erpm", unit: rpm, instrument: tachometer, divide_by: pole_pairs}
  throttle_step: *electrical
  coast_down:
    time: {column: "t_ms", unit: ms}
    speed: {column: "rpm", unit: rpm, instrument: tachometer}
  heat_soak:
    time: {column: "t_s", unit: s}
    throttle: {column: "throttle", unit: "%"}
    voltage: {column: "volts", unit: V, instrument: supply_volts}
    current: {column: "amps", unit: A, instrument: supply_amps}
    speed: {column: "erpm", unit: rpm, instrument: tachometer, divide_by: pole_pairs}
    winding_temperature: {column: "winding_C", unit: degC, instrument: thermometer}
    air_temperature: {column: "air_C", unit: degC, instrument: thermometer}
  vibration:
    time: {column: "t_us", unit: us}
    once_per_turn: {column: "mark", unit: "1"}
    acceleration: {column: "acc", unit: "m/s**2", instrument: accelerometer}
"""

_TORQUE_LAYOUT = """\
    layout: &torque_stand
      time: {column: "t_ms", unit: ms}
      throttle: {column: "throttle", unit: "%"}
      thrust: {column: "thrust_gf", unit: gf, instrument: thrust_cell}
      torque: {column: "torque_Nm", unit: "N*m", instrument: torque_cell}
      voltage: {column: "volts", unit: V, instrument: supply_volts}
      current: {column: "amps", unit: A, instrument: supply_amps}
      speed: {column: "erpm", unit: rpm, instrument: tachometer, divide_by: pole_pairs}
"""

_TURNS_LAYOUT = """\
    layout: &turns
      time: {column: "t_us", unit: us}
      throttle: {column: "throttle", unit: "%"}
      voltage: {column: "volts", unit: V, instrument: supply_volts}
      current: {column: "amps", unit: A, instrument: supply_amps}
      once_per_turn: {column: "mark", unit: "1"}
"""

_COMMA_LAYOUT = """\
    layout: &logger_2
      time: {column: "Zeit_ms", unit: ms}
      throttle: {column: "Gas_Prozent", unit: "%"}
      thrust: {column: "Schub_N", unit: N, instrument: thrust_cell}
      voltage: {column: "U_Volt", unit: V, instrument: supply_volts}
      current: {column: "I_Ampere", unit: A, instrument: supply_amps}
      speed: {column: "el_Drehzahl", unit: rpm, instrument: tachometer, divide_by: pole_pairs}
"""

_TANSY = """\
kind: motor
campaign: 2026-03-tansy-2207
title: Tansy 2207, 1850 rpm/V
dates: {received: 2026-02-25, tested: 2026-03-04}
rig: hawkrigg-stand
drive: drive-1
specimen:
  maker: Quenby Coilworks (invented)
  model: Tansy 2207
  label: {kv: {value: "1850 rpm/V", tolerance: "5 %"}, mass: "33.5 g", cells: 6}
  price: {amount: 23.50, currency: EUR, channel: retail, seen: 2026-02-18, shipping: 3.90}
  source: bought
  pole_pairs: 7
  connection: wye
  design: {bell: one-piece, conductor: copper, magnets: "N52 arc", bearing_cushion: absent}
  samples: [{id: T1, batch: "2026-01"}, {id: T2, batch: "2026-01"}]
tests:
  - {test: inspection, sample: T1, about: bell, photo: photos/t1-bell.png, finding: "Magnets evenly spaced, no loose glue, bell runs true by eye."}
  - {test: inspection, sample: T2, about: bearing, finding: "A trace of axial play, less than a sheet of paper; smooth when turned by hand."}
  - {test: weighing, date: 2026-03-03, sample: T1, part: motor, readings: [@motor_T1@]}
  - {test: weighing, date: 2026-03-03, sample: T1, part: bell, readings: [@bell_T1@]}
  - {test: weighing, date: 2026-03-03, sample: T2, part: motor, readings: [@motor_T2@]}
  - {test: weighing, date: 2026-03-03, sample: T2, part: bell, readings: [@bell_T2@]}
  - {test: thrust_sweep, sample: T1, log: raw/t1-sweep-1.csv, propeller: oar-51x45, air: @t1_sweep_1@}
  - {test: thrust_sweep, sample: T1, log: raw/t1-sweep-2.csv, propeller: oar-51x45, air: @t1_sweep_2@}
  - {test: thrust_sweep, sample: T2, log: raw/t2-sweep-1.csv, propeller: oar-51x45, air: @t2_sweep_1@}
  - {test: thrust_sweep, sample: T2, log: raw/t2-sweep-2.csv, propeller: oar-51x45, air: @t2_sweep_2@}
  - {test: winding_resistance, date: 2026-03-05, sample: T1, @resistance_T1@}
  - {test: back_emf, date: 2026-03-05, sample: T1, @back_emf_T1@}
  - {test: no_load, date: 2026-03-05, sample: T1, @no_load_T1@}
  - {test: winding_resistance, date: 2026-03-05, sample: T2, @resistance_T2@}
  - {test: back_emf, date: 2026-03-05, sample: T2, @back_emf_T2@}
  - {test: no_load, date: 2026-03-05, sample: T2, @no_load_T2@}
  - {test: flywheel_run, date: 2026-03-05, sample: T1, log: raw/t1-spin-1.csv, flywheel: disc-60, rotor_inertia: @rotor_T1@, winding_temperature: "22 degC"}
  - {test: flywheel_run, date: 2026-03-05, sample: T1, log: raw/t1-spin-2.csv, flywheel: disc-60, rotor_inertia: @rotor_T1@, winding_temperature: "22 degC"}
  - {test: flywheel_run, date: 2026-03-05, sample: T2, log: raw/t2-spin-1.csv, flywheel: disc-60, rotor_inertia: @rotor_T2@, winding_temperature: "22 degC"}
  - {test: flywheel_run, date: 2026-03-05, sample: T2, log: raw/t2-spin-2.csv, flywheel: disc-60, rotor_inertia: @rotor_T2@, winding_temperature: "22 degC"}
  - {test: coast_down, date: 2026-03-05, sample: T1, log: raw/t1-coast-disc.csv, flywheel: disc-60, windings: open, rotor_inertia: @rotor_T1@}
  - {test: coast_down, date: 2026-03-05, sample: T1, log: raw/t1-coast-bare.csv, flywheel: none, windings: open, rotor_inertia: @rotor_T1@}
  - {test: throttle_step, date: 2026-03-05, sample: T1, log: raw/t1-steps.csv, from: "30 %", to: "70 %", propeller: oar-51x45}
  - {test: heat_soak, date: 2026-03-05, sample: T1, log: raw/t1-soak.csv, airflow: propwash, limit: "100 degC", propeller: oar-51x45}
  - test: vibration
    date: 2026-03-05
    sample: T1
    log: raw/t1-vib-0.csv
    trial_masses:
      - {mass: {value: "50 mg", standard: "0.3 mg"}, radius: "12 mm", angle: "0 deg", log: raw/t1-vib-1.csv}
      - {mass: {value: "50 mg", standard: "0.3 mg"}, radius: "12 mm", angle: "120 deg", log: raw/t1-vib-2.csv}
      - {mass: {value: "50 mg", standard: "0.3 mg"}, radius: "12 mm", angle: "240 deg", log: raw/t1-vib-3.csv}
claims:
  - {say: "Weighs what the label says", quantity: mass, relation: equal, within: "2 %", than: label}
  - {say: "Makes more thrust at 200 W than the Teasel", quantity: thrust, at: {electrical_power: "200 W"}, relation: more, than: 2026-04-teasel-2206}
  - {say: "Lifts 6 N at 200 W", quantity: thrust, at: {electrical_power: "200 W"}, relation: at_least, than: "6 N", scope: samples}
text: |
  **Buy it if you want one motor for everything.** The Tansy is the one we would put on our own craft: it weighs
  {{ quote("mass") }}, makes {{ quote("thrust", electrical_power="200 W") }} at 200 W, and neither of the two we bought gave
  us any trouble.

  What you feel in the air is thrust for the power you draw. At 100 W it gives {{ quote("thrust_per_power", electrical_power="100 W") }};
  at 400 W it still gives {{ quote("thrust_per_power", electrical_power="400 W") }}, which is where the falling curve starts to
  cost flight time. To hold 8 N it needs {{ quote("electrical_power", thrust="8 N") }}.

  The two samples differ by no more than the bench can tell: {{ quote("thrust", sample="T1", electrical_power="200 W") }} for T1 and
  {{ quote("thrust", sample="T2", electrical_power="200 W") }} for T2. Two motors are not a production run, so read the wider
  interval of the model, not that of a sample, before you order a set.

  What we do not know: how the bearings last. T2 left the box with a trace of play. It did not show on the bench, and we will say
  so here if it grows.
"""

_BURDOCK = """\
kind: motor
campaign: 2026-03-burdock-2208
title: Burdock 2208, 1700 rpm/V
dates: {received: 2026-03-09, tested: 2026-03-18}
rig: hawkrigg-stand
drive: drive-1
specimen:
  maker: Fellgate Winding (invented)
  model: Burdock 2208
  label: {kv: "1700 rpm/V", mass: "36.8 g", cells: 6}
  price: {amount: 27.90, currency: EUR, channel: direct, seen: 2026-03-02, shipping: 6.50}
  source: bought
  pole_pairs: 7
  connection: wye
  design: {bell: two-piece, conductor: copper, magnets: "N52 arc", bearing_cushion: present}
  samples: [{id: B1, batch: "2025-11"}, {id: B2, batch: "2025-11"}]
tests:
  - {test: inspection, sample: B1, about: winding, finding: "Thick wire, tidy turns, no bare spots under the glass."}
  - {test: inspection, sample: B2, about: nut, photo: photos/b2-nut.png, finding: "The nylon of the supplied nut was cut on one side; it slipped on the third run and was replaced."}
  - {test: weighing, date: 2026-03-17, sample: B1, part: motor, readings: [@motor_B1@]}
  - {test: weighing, date: 2026-03-17, sample: B1, part: bell, readings: [@bell_B1@]}
  - {test: weighing, date: 2026-03-17, sample: B2, part: motor, readings: [@motor_B2@]}
  - {test: weighing, date: 2026-03-17, sample: B2, part: bell, readings: [@bell_B2@]}
  - test: thrust_sweep
    sample: B1
    log: raw/b1-sweep-1.csv
    propeller: oar-51x45
    air: @b1_sweep_1@
@torque_layout@\
  - {test: thrust_sweep, sample: B1, log: raw/b1-sweep-2.csv, propeller: oar-51x45, air: @b1_sweep_2@, layout: *torque_stand}
  - {test: thrust_sweep, sample: B2, log: raw/b2-sweep-1.csv, propeller: oar-51x45, air: @b2_sweep_1@, layout: *torque_stand}
  - {test: thrust_sweep, sample: B2, log: raw/b2-sweep-2.csv, propeller: oar-51x45, air: @b2_sweep_2@, layout: *torque_stand}
  - {test: thrust_sweep, sample: B2, log: raw/b2-sweep-3.csv, propeller: oar-51x45, air: @b2_sweep_3@, layout: *torque_stand, exclude: "nut slipped at 60 %"}
  - {test: winding_resistance, date: 2026-03-19, sample: B1, @resistance_B1@}
  - {test: no_load, date: 2026-03-19, sample: B1, @no_load_B1@}
  - {test: winding_resistance, date: 2026-03-19, sample: B2, @resistance_B2@}
  - {test: no_load, date: 2026-03-19, sample: B2, @no_load_B2@}
  - test: flywheel_run
    date: 2026-03-19
    sample: B1
    log: raw/b1-turns-1.csv
    flywheel: disc-60
    rotor_inertia: @rotor_B1@
    winding_temperature: "22 degC"
@turns_layout@\
  - {test: flywheel_run, date: 2026-03-19, sample: B2, log: raw/b2-turns-1.csv, flywheel: disc-60, rotor_inertia: @rotor_B2@, winding_temperature: "22 degC", layout: *turns}
claims:
  - {say: "Weighs what the label says", quantity: mass, relation: equal, within: "2 %", than: label}
  - {say: "Needs less power for 8 N than the Tansy", quantity: electrical_power, at: {thrust: "8 N"}, relation: less, than: 2026-03-tansy-2207}
  - {say: "Turns more than 82 % of 400 W into shaft power", quantity: motor_efficiency, at: {electrical_power: "400 W"}, relation: at_least, than: "82 %"}
text: |
  **A heavy motor that gives nothing back for its weight.** At 400 W the Burdock makes {{ quote("thrust", electrical_power="400 W") }},
  and to hold 8 N it needs {{ quote("electrical_power", thrust="8 N") }}. It weighs {{ quote("mass") }}, and four of them carry that
  weight four times. Lighter motors on these pages do the same work.

  This campaign ran on the stand with a torque cell, so we can say where the watts go. At 400 W the shaft delivers
  {{ quote("shaft_power", electrical_power="400 W") }}, an efficiency of {{ quote("motor_efficiency", electrical_power="400 W") }} for motor and
  drive together. The propeller turns that into thrust with a figure of merit of {{ quote("figure_of_merit", electrical_power="400 W") }}; that
  figure belongs to the propeller, not to the motor, and should be the same whatever turns it.

  One run is left out. On its third run the nut of B2 slipped at 60 % throttle; you can see the thrust fall off in the log, which is
  attached like the others. The two good runs of B2 differ by more than the propeller usually scatters from one mounting to the next;
  both count, and the nut may have begun to give before it let go. We would throw the supplied nuts away.

  What speaks for it is the work: thick wire, a cushioned bearing, nothing loose. If you break motors, that may be worth the weight. We
  did not test how they break.
"""

_TEASEL = """\
kind: motor
campaign: 2026-04-teasel-2206
title: Teasel 2206, 1950 rpm/V
dates: {received: 2026-03-27, tested: 2026-04-08}
rig: hawkrigg-stand
drive: drive-1
specimen:
  maker: Ostrel Motors (invented)
  model: Teasel 2206
  label: {kv: {value: "1950 rpm/V", tolerance: "5 %"}, mass: "31 g", cells: 6}
  price: {amount: 15.90, currency: EUR, channel: retail, seen: 2026-03-20, shipping: 3.90}
  source: bought
  pole_pairs: 7
  connection: wye
  design: {bell: one-piece, conductor: copper, magnets: "N50 flat", bearing_cushion: absent}
  samples: [{id: K1, batch: "2026-02"}, {id: K2, batch: unknown}]
tests:
  - {test: inspection, sample: K1, about: magnets, finding: "Flat magnets; two sit a little proud of the ring, none touches."}
  - {test: inspection, sample: K2, about: stator, photo: photos/k2-stator.png, finding: "One tooth carries a crossed turn. K1 has none."}
  - {test: weighing, date: 2026-04-07, sample: K1, part: motor, readings: [@motor_K1@]}
  - {test: weighing, date: 2026-04-07, sample: K1, part: bell, readings: [@bell_K1@]}
  - {test: weighing, date: 2026-04-07, sample: K2, part: motor, readings: [@motor_K2@]}
  - {test: weighing, date: 2026-04-07, sample: K2, part: bell, readings: [@bell_K2@]}
  - test: thrust_sweep
    sample: K1
    log: raw/k1-sweep-1.csv
    propeller: oar-51x45
    air: @k1_sweep_1@
@comma_layout@\
  - {test: thrust_sweep, sample: K1, log: raw/k1-sweep-2.csv, propeller: oar-51x45, air: @k1_sweep_2@, layout: *logger_2}
  - {test: thrust_sweep, date: 2026-04-09, sample: K2, log: raw/k2-sweep-1.csv, propeller: oar-51x45, air: @k2_sweep_1@, layout: *logger_2}
  - {test: thrust_sweep, date: 2026-04-09, sample: K2, log: raw/k2-sweep-2.csv, propeller: oar-51x45, air: @k2_sweep_2@, layout: *logger_2}
  - {test: winding_resistance, date: 2026-04-10, sample: K1, @resistance_K1@}
  - {test: back_emf, date: 2026-04-10, sample: K1, @back_emf_K1@}
  - {test: no_load, date: 2026-04-10, sample: K1, @no_load_K1@}
  - {test: winding_resistance, date: 2026-04-10, sample: K2, @resistance_K2@}
  - {test: back_emf, date: 2026-04-10, sample: K2, @back_emf_K2@}
  - {test: no_load, date: 2026-04-10, sample: K2, @no_load_K2@}
  - {test: throttle_step, date: 2026-04-10, sample: K1, log: raw/k1-steps.csv, from: "30 %", to: "70 %", propeller: oar-51x45}
  - {test: throttle_step, date: 2026-04-10, sample: K2, log: raw/k2-steps.csv, from: "30 %", to: "70 %", propeller: oar-51x45}
claims:
  - {say: "Weighs what the label says", quantity: mass, relation: equal, within: "2 %", than: label}
  - {say: "As good as the Tansy at 200 W", quantity: thrust, at: {electrical_power: "200 W"}, relation: equal, within: "2 %", than: 2026-03-tansy-2207}
text: |
  **Cheap, light, and a lottery.** The Teasel costs little and weighs {{ quote("mass") }}. Whether you get a good one is another
  matter: the two we bought, from one shop in one order, are not the same motor. K2 came without a batch mark.

  At full throttle on our supply K1 draws {{ quote("current", sample="K1", throttle="100 %") }} and makes
  {{ quote("thrust", sample="K1", throttle="100 %") }}; K2 draws {{ quote("current", sample="K2", throttle="100 %") }} and makes
  {{ quote("thrust", sample="K2", throttle="100 %") }}. At equal power the gap is smaller, {{ quote("thrust", sample="K1", electrical_power="200 W") }} against
  {{ quote("thrust", sample="K2", electrical_power="200 W") }} at 200 W, because power already pays for the difference in winding.

  With two samples that disagree, the model's figure at full throttle is wide: {{ quote("thrust", throttle="100 %") }}. That is not a fault of
  the bench; it is what two motors can say about all the others. If you need four that match, buy six.
"""

_BISTORT = """\
kind: motor
campaign: 2026-05-bistort-2207
title: Bistort 2207, 1950 rpm/V
dates: {received: 2026-05-11, tested: 2026-05-20}
rig: hawkrigg-stand
drive: drive-1
specimen:
  maker: Marrowick Works (invented)
  model: Bistort 2207
  label: {kv: {value: "1950 rpm/V", tolerance: "3 %"}, mass: "32.5 g", cells: 6}
  price: {amount: 29.00, currency: EUR, channel: direct, seen: 2026-05-12, shipping: 5.00}
  source: supplied
  pole_pairs: 7
  connection: wye
  design: {bell: one-piece, conductor: "silver-plated copper", magnets: "N52SH arc", bearing_cushion: present}
  samples: [{id: S1, batch: "pre-series"}, {id: S2, batch: "pre-series"}]
tests:
  - {test: inspection, sample: S1, about: shaft, photo: photos/s1-shaft.jpg, finding: "Hollow shaft, clean grooves, clip fully home."}
  - {test: inspection, sample: S2, about: winding, finding: "Bright wire, as the maker says of the plating; the plating itself was not analysed."}
  - {test: weighing, date: 2026-05-19, sample: S1, part: motor, readings: [@motor_S1@]}
  - {test: weighing, date: 2026-05-19, sample: S1, part: bell, readings: [@bell_S1@]}
  - {test: weighing, date: 2026-05-19, sample: S2, part: motor, readings: [@motor_S2@]}
  - {test: weighing, date: 2026-05-19, sample: S2, part: bell, readings: [@bell_S2@]}
  - {test: thrust_sweep, sample: S1, log: raw/s1-sweep-1.csv, propeller: oar-51x45, air: @s1_sweep_1@}
  - {test: thrust_sweep, sample: S1, log: raw/s1-sweep-2.csv, propeller: oar-51x45, air: @s1_sweep_2@}
  - {test: thrust_sweep, sample: S2, log: raw/s2-sweep-1.csv, propeller: oar-51x45, air: @s2_sweep_1@}
  - {test: thrust_sweep, sample: S2, log: raw/s2-sweep-2.csv, propeller: oar-51x45, air: @s2_sweep_2@}
  - {test: winding_resistance, date: 2026-05-21, sample: S1, @resistance_S1@}
  - {test: no_load, date: 2026-05-21, sample: S1, @no_load_S1@}
  - {test: winding_resistance, date: 2026-05-21, sample: S2, @resistance_S2@}
  - {test: no_load, date: 2026-05-21, sample: S2, @no_load_S2@}
  - {test: flywheel_run, date: 2026-05-21, sample: S1, log: raw/s1-spin-1.csv, flywheel: disc-60, rotor_inertia: @rotor_S1@, winding_temperature: "22 degC"}
  - {test: flywheel_run, date: 2026-05-21, sample: S1, log: raw/s1-spin-2.csv, flywheel: disc-60, rotor_inertia: @rotor_S1@, winding_temperature: "22 degC"}
  - {test: flywheel_run, date: 2026-05-21, sample: S2, log: raw/s2-spin-1.csv, flywheel: disc-60, rotor_inertia: @rotor_S2@, winding_temperature: "22 degC"}
  - {test: flywheel_run, date: 2026-05-21, sample: S2, log: raw/s2-spin-2.csv, flywheel: disc-60, rotor_inertia: @rotor_S2@, winding_temperature: "22 degC"}
  - {test: heat_soak, date: 2026-05-21, sample: S1, log: raw/s1-soak.csv, airflow: propwash, limit: "100 degC", propeller: oar-51x45}
claims:
  - {say: "Weighs what the label says", quantity: mass, relation: equal, within: "2 %", than: label}
  - {say: "Makes more thrust at 400 W than the Tansy", quantity: thrust, at: {electrical_power: "400 W"}, relation: more, than: 2026-03-tansy-2207}
  - {say: "Makes at least 3 % more thrust at 100 W than the Teasel", quantity: thrust, at: {electrical_power: "100 W"}, relation: more, by: "3 %", than: 2026-04-teasel-2206}
reply: |
  Thank you for the careful work. We agree with the weights. Our own stand reads a little more thrust at 400 W; we run it with the
  drive at 22 degrees of advance, which may explain it. Series motors will carry a batch mark on the base.
  A. Nobody, Marrowick Works (an invented person at an invented firm)
text: |
  **A good motor at a price that asks for more than good.** These two samples came from the maker, picked by the maker, before the
  series began. We say so first because it bears on everything below: they may be better than what the shops get.

  They weigh {{ quote("mass") }} and make {{ quote("thrust", electrical_power="400 W") }} at 400 W. At 100 W, where most of a flight is spent, the Bistort
  gives {{ quote("thrust_per_power", electrical_power="100 W") }}.

  The maker points to plated wire. Nothing on our bench so far can tell plated wire from plain, and a difference this small would have other
  explanations first. We asked the maker for an answer before publishing; it is printed below, word for word.
"""

CAMPAIGNS = {
    "2026-03-tansy-2207": _TANSY,
    "2026-03-burdock-2208": _BURDOCK.replace("@torque_layout@", _TORQUE_LAYOUT).replace(
        "@turns_layout@", _TURNS_LAYOUT
    ),
    "2026-04-teasel-2206": _TEASEL.replace("@comma_layout@", _COMMA_LAYOUT),
    "2026-05-bistort-2207": _BISTORT,
}
"""Campaign name to its parameter file."""
