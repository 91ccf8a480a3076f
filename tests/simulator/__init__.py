"""A seeded bench: motors, propellers and instruments whose true figures are known.

It stands apart from the library on purpose: it imports none of it, repeats no formula by import, and draws its random
numbers from its own generators. What it writes looks like a lab's logs; what it knows is the truth behind them.

Modules
-------
physics      motor, drive, propeller, supply and air; steady states solved exactly
instruments  instruments that err exactly as a rig file says
loggers      how a logger writes: columns, units, decimals, faults
campaigns    a bench and its runs: thrust sweeps, weighings, readings
spins        flywheel spin-ups, coast-downs, throttle steps, vibration
thermal      heat soaks
truth        the true figure at any operating point
demo         writes the demo lab into ``runs/``
"""
