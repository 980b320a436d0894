#!/usr/bin/env python3
"""Makes examples/teardowns.jsonl: units that "Harrow Lane Drive Works" inspected, then opened.

    examples/make_teardowns.py > examples/teardowns.jsonl

All data are invented: the workshop, the families, every unit, every chance below. They show how the
program is used and say nothing about any real drive unit. Two chances are unlike the shipped rules
on purpose: in this workshop a leak leaves more rust on the tip, and sound units more fine debris.

Each unit gets a truth, then somebody writes down what shows, and the record of the opening says what
was found. The draws are integers from SplitMix64 (Steele, Lea, Flood 2014; constants from memory)
with a fixed seed, so that the same bytes come out on every machine.
"""
import datetime
import json

SEED = 601
UNITS = 52
FIRST_NUMBER = 601  # HL-0601
FIRST_DAY = datetime.date(2024, 2, 5)
MASK = (1 << 64) - 1


class Draw:
    def __init__(self, seed):
        self.state = seed

    def below(self, count):
        self.state = (self.state + 0x9E3779B97F4A7C15) & MASK
        z = self.state
        z = ((z ^ (z >> 30)) * 0xBF58476D1CE4E5B9) & MASK
        z = ((z ^ (z >> 27)) * 0x94D049BB133111EB) & MASK
        return (z ^ (z >> 31)) % count

    def percent(self, chance):
        return self.below(100) < chance

    def between(self, low, high):
        return low + self.below(high - low + 1)


def truth_of(draw):
    """What is wrong with a unit that a workshop opens: more than with one that drives past."""
    leak = draw.percent(45)
    steel = draw.percent(35)
    return {
        "steel": steel,
        "seal-leak": leak,
        "rotor-bearing-corrosion": draw.percent(45) if leak else draw.percent(3),
        "rotor-bearing-erosion": steel and draw.percent(45),
        "gear-bearing-erosion": draw.percent(35),
        "insulation-loss": draw.percent(18) if leak else draw.percent(2),
        "outside-noise": draw.percent(10),
    }


def port_of(truth, early, draw):
    """`early`: an inspection long before the opening, when a leak had hardly begun."""
    port = {"checked": True, "fluid": "none"}
    if truth["seal-leak"] and draw.percent(30 if early else 75):
        port["fluid"] = "film" if early or draw.percent(45) else "droplets"
        port["fluid_kind"] = "coolant" if draw.percent(90) else "unknown"
    elif draw.percent(5):
        port.update(fluid="film", fluid_kind="gear-oil")
    port["dried_residue"] = draw.percent(40 if truth["seal-leak"] else 3)
    rusty = truth["rotor-bearing-corrosion"] and draw.percent(70)
    rusty = rusty or (truth["seal-leak"] and draw.percent(40)) or draw.percent(4)
    port["corrosion"] = ("heavy" if draw.percent(30) else "light") if rusty and not early else "none"
    port["debris"] = "fine" if draw.percent(60 if truth["rotor-bearing-corrosion"] else 35) else "none"
    return port


def noise_of(truth, draw):
    eroded = truth["rotor-bearing-erosion"] or truth["gear-bearing-erosion"]
    heard = (eroded and draw.percent(75)) or (truth["rotor-bearing-corrosion"] and draw.percent(50))
    heard = heard or (truth["outside-noise"] and draw.percent(60)) or draw.percent(5)
    if not heard:
        return {"present": False}
    noise = {"present": True, "pitch_follows_speed": draw.percent(90 if eroded else 45)}
    if draw.percent(70):
        under_load = draw.percent(60 if eroded else 20)
        noise["when"] = ["accelerating"] if under_load else ["accelerating", "steady", "coasting"]
    if truth["outside-noise"] and draw.percent(60):
        noise["changes_with_steering_or_surface"] = True
    return noise


def inspection_of(truth, day, odometer, early, draw):
    seen = {"date": day.isoformat(), "odometer_km": odometer,
            "by": "technician" if draw.percent(60) else "intake",
            "port": port_of(truth, early, draw)}
    if draw.percent(75):
        seen["noise"] = noise_of(truth, draw)
    if not early and draw.percent(80):
        stiff = truth["rotor-bearing-corrosion"] and draw.percent(25)
        seen["rotation"] = "stiff" if stiff else "free"
        stored = truth["insulation-loss"] and draw.percent(75)
        seen["faults"] = {"isolation": "stored" if stored else "none"}
    return seen


def teardown_of(truth, day, draw):
    found = {"date": day.isoformat()}
    # The gearbox is not always opened, and a noise is seldom traced outside on a bench.
    examined = {"gear-bearing-erosion": 70, "insulation-loss": 85, "outside-noise": 25}
    for cause, there in truth.items():
        if cause != "steel":
            looked = draw.percent(examined.get(cause, 100))
            found[cause] = ("present" if there else "absent") if looked else "not-examined"
    return found


def records_of(number, draw):
    truth = truth_of(draw)
    unit = {"id": f"HL-{number:04d}", "family": "plover-2",
            "built": f"{draw.between(2014, 2015) if truth['steel'] else draw.between(2017, 2020)}",
            "rotor_bearings": "steel" if truth["steel"] else "hybrid", "gear_bearings": "steel"}
    seen_on = FIRST_DAY + datetime.timedelta(days=draw.below(760))
    odometer = draw.between(70, 240) * 1000 + draw.below(1000)
    opened_on = seen_on + datetime.timedelta(days=draw.between(1, 25))
    if draw.percent(35):  # a look some time before, when the leak had hardly begun
        earlier = seen_on - datetime.timedelta(days=draw.between(150, 400))
        km = odometer - draw.between(8, 25) * 1000
        yield {"format": "dryshaft-record/1", "unit": unit,
               "inspection": inspection_of(truth, earlier, km, True, draw)}
    record = {"format": "dryshaft-record/1", "unit": dict(unit),
              "inspection": inspection_of(truth, seen_on, odometer, False, draw),
              "teardown": teardown_of(truth, opened_on, draw)}
    if truth["seal-leak"]:  # put together again with a new seal
        record["unit"]["seal_renewed_odometer_km"] = odometer
        record["note"] = "Resealed at this opening."
    yield record


def main():
    draw = Draw(SEED)
    for number in range(FIRST_NUMBER, FIRST_NUMBER + UNITS):
        for record in records_of(number, draw):
            print(json.dumps(record, separators=(",", ":")))


if __name__ == "__main__":
    main()
