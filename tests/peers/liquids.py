"""Prints first ice by CoolProp (INCOMP, Melinder 2010) and gsw (TEOS-10), one value a line: name x celsius."""
import CoolProp.CoolProp as cp
import gsw

FLUIDS = {
    "propylene-glycol": "MPG",
    "ethylene-glycol": "MEG",
    "ethanol": "MEA",
    "methanol": "MMA",
    "glycerol": "MGL",
}
for name, code in FLUIDS.items():
    for step in range(0, 121):
        x = step * 0.005
        kelvin = cp.PropsSI("T_freeze", "T", 300, "P", 101325, f"INCOMP::{code}[{x}]")
        print(name, x, kelvin - 273.15)
for salinity in range(0, 43):
    absolute = salinity * 35.16504 / 35
    print("sea-water", salinity, gsw.t_freezing(absolute, 0, 1))
for tenths in range(5, 75, 5):
    celsius = -tenths / 10
    # Brine in balance with ice: bisection on the absolute salinity.
    low, high = 0.0, 120.0
    for _ in range(60):
        middle = (low + high) / 2
        if gsw.t_freezing(middle, 0, 1) > celsius:
            low = middle
        else:
            high = middle
    print("brine", celsius, low * 35 / 35.16504)
