"""A seeded bench: motors, propellers and instruments whose true figures are known.

It stands apart from the library on purpose: it imports none of it, repeats no formula by import, and draws its random
numbers from its own generators. What it writes looks like a lab's logs; what it knows is the truth behind them.

Modules
-------
physics      motor, drive, propeller, supply and air; steady states solved exactly
instruments  instruments that err exactly as a rig file says
loggers      how a logger writes: columns, units, decimals, faults
campaigns    a bench, its thrust sweeps and its weighings
readings     what is typed by hand: winding resistance, back-emf, runs without load
spins        flywheel spin-ups and coast-downs
steps        throttle steps
thermal      heat soaks
shaking      vibration with trial masses
truth        the true figure at any operating point
demo         writes the demo lab into ``runs/``
"""
